"""An ethogram read from its TOML file, with the line of every fault."""

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from etholog.base import files
from etholog.base.refusal import Finding, Refusal
from etholog.base.shipped import folder as shipped_folder
from etholog.base.text import nearest
from etholog.base.workspace import root_of
from etholog.ethogram.contradictions import Where, contradictions
from etholog.ethogram.roles import NEEDED
from etholog.ethogram.schema import (
    Aftercare,
    Behaviour,
    Choice,
    Ethogram,
    Interval,
    Limit,
    Prompt,
)


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
    lines = _Lines(text)
    try:
        ethogram = Ethogram.model_validate(values)
    except ValidationError as error:
        raise Refusal(*_findings(path, values, lines, error)) from None
    found = [Finding(what, path=path, line=lines.at(where)) for where, what in contradictions(ethogram)]
    if found:
        raise Refusal(*dict.fromkeys(found))
    return ethogram


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
    ethogram = Ethogram.model_validate(values)
    for _, what in contradictions(ethogram):
        raise Refusal(what)
    return ethogram


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


class _Lines:
    """Finds the line of a table's member in TOML text. tomllib and tomlkit give no positions, so the headers are
    counted."""

    def __init__(self, text: str) -> None:
        self._lines = text.splitlines()

    def at(self, where: Where) -> int:
        """Return the line, from 1, of e.g. ("behaviour", 3, "key"); the nearest one above it where the member isn't
        there."""
        start, end = 0, len(self._lines)
        rest = list(where)
        if len(where) >= 2 and isinstance(where[1], int):
            headers = [i for i, line in enumerate(self._lines) if re.match(rf"\s*\[\[\s*{where[0]}\s*\]\]", line)]
            if where[1] < len(headers):
                start = headers[where[1]]
                end = next((i for i in range(start + 1, end) if re.match(r"\s*\[", self._lines[i])), end)
            rest = rest[2:]
        if rest and isinstance(rest[0], str):
            for i in range(start, end):
                if re.match(rf"\s*{re.escape(rest[0])}\s*[=.]", self._lines[i]):
                    return i + 1
        return start + 1


_FIELDS = {
    model.__name__.lower(): tuple(model.model_fields)
    for model in (Behaviour, Interval, Prompt, Limit, Aftercare, Choice)
}


def _findings(path: Path, values: Mapping[str, Any], lines: _Lines, error: ValidationError) -> Iterator[Finding]:
    seen: set[tuple[int, str]] = set()
    for fault in error.errors(include_url=False):
        where: Where = tuple(part for part in fault["loc"] if not str(part).startswith(("constrained-", "dict[")))
        line = lines.at(where)
        member = str(where[-1]) if where else ""
        what = fault["msg"].removeprefix("Value error, ")
        if fault["type"] == "extra_forbidden":
            fields = _FIELDS.get("choice" if "choices" in where else str(where[0]), tuple(Ethogram.model_fields))
            what = f"unknown word {member!r}{nearest(member, fields)}"
        elif fault["type"] == "missing":
            what = f"{member!r} is missing; add it"
        elif fault["type"] == "value_error":
            pass
        else:
            shown = repr(fault["input"])
            what = f"{member} = {shown[:60]}: {what}; change it"
        if (line, member) not in seen:  # a union complains once for each of its members
            seen.add((line, member))
            yield Finding(f"{_whose(values, where)}{what}", path=path, line=line)


def _whose(values: Mapping[str, Any], where: Where) -> str:
    if len(where) < 2 or not isinstance(where[1], int):
        return ""
    try:
        table = values[str(where[0])][where[1]]
        name = table.get("code") or table.get("name")
    except (KeyError, IndexError, TypeError, AttributeError):
        return ""
    return f"{where[0]} {name!r}: " if name else f"{where[0]} number {where[1] + 1}: "
