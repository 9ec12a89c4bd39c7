"""What somebody was typing: kept beside the session at each key, so that it can be offered again after a break."""

import contextlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

from etholog.base import files
from etholog.recording.corrector import NOTE_LENGTH

What = Literal["note", "outcome", "form"]


class Begun:
    """A small hidden file. Losing it loses no more than a line that was not finished, so its errors are passed over."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @classmethod
    def of_session(cls, session: Path) -> "Begun":
        """Return where a session's unfinished note, or answers about its end, are kept."""
        return cls(session.with_name(f".{session.name}.begun"))

    @classmethod
    def of_folder(cls, folder: Path) -> "Begun":
        """Return where the form of a session that has no file yet is kept."""
        return cls(folder / ".new.begun")

    def keep(self, what: What, typed: Mapping[str, str]) -> None:
        """Keep what stands in each line by now; with nothing in any, keep nothing."""
        if not any(typed.values()):
            self.forget()
            return
        new = self.path.with_name(f"{self.path.name}.new")
        with contextlib.suppress(OSError):
            files.write_anew(new, json.dumps({"what": what, "typed": dict(typed)}))
            new.replace(self.path)

    def typed(self, what: What) -> dict[str, str]:
        """Return what stood in each line; nothing where another thing was being typed, or none."""
        try:
            kept = json.loads(files.read(self.path))
            if kept["what"] != what:
                return {}
            return {str(name): str(text)[:NOTE_LENGTH] for name, text in kept["typed"].items()}
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            return {}

    def forget(self) -> None:
        """It was finished, or given up."""
        with contextlib.suppress(OSError):
            self.path.unlink()
