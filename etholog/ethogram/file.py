"""An ethogram read from its TOML file, with the line of every fault."""

import json
import re
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from etholog.base import files
from etholog.base.refusal import Finding, Refusal
from etholog.base.shipped import folder as shipped_folder
from etholog.base.text import nearest
from etholog.base.workspace import root_of
from etholog.ethogram import known
from etholog.ethogram.roles import NEEDED
from etholog.ethogram.schema import Ethogram


def shipped() -> Path:
    """Return the folder of the ethograms that come with etholog."""
    return shipped_folder("ethograms")


def find(name: str, workspace: Path | None = None) -> Path:
    """Return the file of an ethogram given by name or path; the workspace's own come before the shipped ones."""
    direct = Path(name)
    if direct.suffix == ".toml":
        return direct
    folders = [*([workspace / "ethograms"] if workspace else []), shipped()]
    for folder in folders:
        if re.fullmatch(r"[a-z][a-z0-9-]*", name) and (folder / f"{name}.toml").is_file():
            return folder / f"{name}.toml"
    known = (Path(file).stem for folder in folders for file in files.listed(folder, ".toml")[0])
    raise Refusal(f"no ethogram {name!r}{nearest(name, known)}")


def read(path: Path) -> Ethogram:
    """Read an ethogram. Refusal tells all that is wrong with it, a line each."""
    try:
        text = files.read(path).decode("utf-8")
    except UnicodeDecodeError as error:
        raise Refusal(Finding("is not UTF-8 text", "save it as UTF-8", path)) from error
    return _parsed(path, text)


@cache  # a screen asks for its ethogram again and again, and parsing it takes longer than all else it asks
def _parsed(path: Path, text: str) -> Ethogram:
    try:
        values = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        what = f"is not TOML: {str(error) or 'nested too deep'}"
        raise Refusal(Finding(what, "mend that place first", path)) from error
    if known.is_shipped(text):
        return known.built(values)
    from etholog.ethogram import checking

    return checking.from_table(path, text, values)


def at_hand(workspace: Path) -> list[Ethogram]:
    """Return the workspace's own ethograms, then the shipped ones, the terrestrial first: its general windows serve
    where a genus has none."""
    own = [workspace / "ethograms" / name for name in files.listed(workspace / "ethograms", ".toml")[0]]
    ours = sorted(shipped().glob("*.toml"), key=lambda file: (file.stem != "terrestrial", file.stem))
    seen: dict[str, Path] = {}
    for file in [*own, *ours]:
        seen.setdefault(file.stem, file)
    return [read(file) for file in seen.values()]


def from_plain(values: Mapping[str, Any]) -> Ethogram:
    """Read back what `plain` gave. Raises pydantic's ValidationError, or Refusal for a contradiction."""
    if known.was_shipped(values):
        return known.built(values)
    from etholog.ethogram import checking

    return checking.from_values(values)


def with_roles(kept: Ethogram, sessions: Path) -> Ethogram:
    """Return the ethogram of a session in this folder, with the roles that it lacks and that the workspace's own of
    its name has been given since."""
    if not kept.missing(*NEEDED):
        return kept
    own = root_of(sessions) / "ethograms" / f"{kept.name}.toml"
    try:
        return _told_by(kept.plain_json(), own, own.stat().st_mtime_ns)
    except (OSError, Refusal):
        return kept  # `etholog check` tells what is wrong with the file


@cache  # one object for all sessions that share it
def _told_by(plain: str, own: Path, _changed: int) -> Ethogram:
    return from_plain(json.loads(plain)).told_by(read(own))
