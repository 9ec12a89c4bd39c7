"""How a keeper likes it: what `etholog.toml` of a workspace says, and how one session was begun, for its resume."""

import contextlib
import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from etholog.base import files
from etholog.base.refusal import Finding, Refusal
from etholog.base.text import nearest

NAME = "etholog.toml"
CHOICES = {"hand": ("left", "right"), "theme": ("day", "night", "mono")}


class Settings(NamedTuple):
    """What is taken where no option says otherwise; '' where nothing was said. `keyboard` is as `--map` takes it."""

    hand: str = ""
    keyboard: str = ""
    theme: str = ""
    observer: str = ""
    place: str = ""

    def before(self, other: "Settings") -> "Settings":
        """Return these, and the other's where these say nothing."""
        return Settings(*(own or others for own, others in zip(self, other, strict=True)))


def read(workspace: Path) -> tuple[Settings, list[Finding]]:
    """Return what `etholog.toml` of a workspace says, and a finding for each line that says nothing that is known."""
    path = workspace / NAME
    if not path.is_file():
        return Settings(), []
    try:
        text = files.read(path).decode("utf-8-sig")
        told = tomllib.loads(text)
    except Refusal as refusal:
        return Settings(), list(refusal.findings)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        return Settings(), [Finding(f"is not TOML: {error}", "mend that place; it is left out", path)]
    usable, findings = {}, []
    for name, value in told.items():
        remedy = _fault(name, value)
        if remedy:
            findings.append(Finding(f"{name} = {value!r} is left out", remedy, path, line=_line(text, name)))
        else:
            usable[name] = value
    return Settings(**usable), findings


def _fault(name: str, value: object) -> str:
    if name not in Settings._fields:
        return f"no setting {name!r}{nearest(name, Settings._fields)}"
    if not isinstance(value, str) or len(value) > 200:
        return 'write it as a text: "..."'
    if name in CHOICES and value not in CHOICES[name]:
        return f"it takes {' or '.join(CHOICES[name])}"
    return ""


def _line(text: str, name: str) -> int | None:
    return next(
        (at for at, line in enumerate(text.splitlines(), 1) if re.match(rf"\W*{re.escape(name)}\b", line)), None
    )


def _beside(session: Path) -> Path:
    return session.with_name(f".{session.name}.settings")


def keep(session: Path, settings: Settings) -> None:
    """Keep how a session was begun, so that it can be gone on with in the same way. Losing it loses no mark."""
    said = {name: value for name, value in settings._asdict().items() if value}
    if not said:
        return
    with contextlib.suppress(OSError):
        files.write_anew(_beside(session), json.dumps(said))


def kept(session: Path) -> Settings:
    """Return how a session was begun, as far as that is known."""
    try:
        said: Mapping[str, object] = json.loads(files.read(_beside(session)))
        return Settings(**{name: str(value) for name, value in said.items() if not _fault(name, value)})
    except (ValueError, AttributeError, RecursionError):
        return Settings()


def forget(session: Path) -> None:
    """It has ended."""
    with contextlib.suppress(OSError):
        _beside(session).unlink()
