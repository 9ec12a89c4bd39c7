"""Where a workspace keeps its sessions, and to which workspace a folder of sessions belongs.

Version 0.1 let sessions lie in any folder, so one that holds sessions and no `sessions/` is taken for what it is.
"""

from pathlib import Path
from typing import NamedTuple

from etholog.base import files
from etholog.base.refusal import Refusal

SESSIONS, PARTS = "sessions", ("animals", "ethograms")
_MARKED = b'"format":"etholog-session/'


class Workspace(NamedTuple):
    """A workspace's own folder, that of its sessions, and what is to be said of how it was found, or ''."""

    root: Path
    sessions: Path
    remark: str = ""


def workspace(path: Path) -> Workspace:
    """Return the workspace that a folder is meant to be: with `sessions/` in it, or to be made in it."""
    inner = path / SESSIONS
    if is_folder(inner):
        return Workspace(path, inner)
    if path.absolute().name == SESSIONS:
        remark = f"{path}: a folder of sessions; its workspace is {path.absolute().parent}"
        return Workspace(root_of(path), path, remark)
    if _holds_sessions(path):
        remark = f"{path}: taken as a folder of sessions, as in version 0.1; a workspace keeps them in {inner}"
        return Workspace(root_of(path), path, remark)
    return Workspace(path, inner)


def root_of(sessions: Path) -> Path:
    """Return the workspace to which a folder of sessions belongs: the folder around `sessions`; of any other, the
    folder itself, or the one around it where the cards and ethograms lie there."""
    around = sessions.absolute().parent
    if sessions.absolute().name == SESSIONS:
        # `.` has no folder around it by its words alone.
        return sessions.parent if sessions.name == SESSIONS else around
    alone = not any(is_folder(sessions / part) for part in PARTS)
    return around if alone and any(is_folder(around / part) for part in PARTS) else sessions


def workspace_of(session: Path) -> Path:
    """Return the workspace in which a session's file lies."""
    return root_of(session.absolute().parent)


def is_folder(path: Path) -> bool:
    """Tell whether there is a folder of that name."""
    try:
        return path.is_dir()
    except (OSError, ValueError):  # a name that no folder can have
        return False


def _holds_sessions(path: Path) -> bool:
    if not is_folder(path):
        return False
    try:
        for name in files.listed(path, ".jsonl")[0]:
            if _MARKED in files.read_line(path / name)[:400]:
                return True
    except Refusal:
        return False
    return False
