"""What a file or a session says of an ethogram, held to `schema` by pydantic: imported where one is not known yet."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from etholog.base.refusal import Finding, Refusal
from etholog.base.text import nearest
from etholog.ethogram.contradictions import Where, contradictions
from etholog.ethogram.lines import Lines
from etholog.ethogram.schema import Aftercare, Behaviour, Choice, Ethogram, Interval, Limit, Prompt

_FIELDS = {
    kind.__name__.lower(): tuple(one.name for one in fields(kind))
    for kind in (Behaviour, Interval, Prompt, Limit, Aftercare, Choice)
}
_WHOLE = tuple(one.name for one in fields(Ethogram))


@cache
def _adapter() -> TypeAdapter[Ethogram]:
    return TypeAdapter(Ethogram)


def from_values(values: Mapping[str, Any]) -> Ethogram:
    """Return the ethogram that plain values are. Raises pydantic's ValidationError, or Refusal for a contradiction."""
    ethogram = _held(values)
    for _, what in contradictions(ethogram):
        raise Refusal(what)
    return ethogram


def from_table(path: Path, text: str, values: Mapping[str, Any]) -> Ethogram:
    """Return the ethogram that a TOML file says. Refusal tells all that is wrong with it, a line each."""
    lines = Lines(text)
    try:
        ethogram = _held(values)
    except ValidationError as error:
        raise Refusal(*_findings(path, values, lines, error)) from None
    found = [Finding(what, path=path, line=lines.at(where)) for where, what in contradictions(ethogram)]
    if found:
        raise Refusal(*dict.fromkeys(found))
    return ethogram


def _held(values: Mapping[str, Any]) -> Ethogram:
    # As JSON, a list may be a tuple, and nothing else may be what it is not. A date, which JSON has none of, is told
    # as it stands in the file.
    return _adapter().validate_json(json.dumps(values, default=lambda date: {"a date": str(date)}))


def _findings(path: Path, values: Mapping[str, Any], lines: Lines, error: ValidationError) -> Iterator[Finding]:
    seen: set[tuple[int, str]] = set()
    for fault in error.errors(include_url=False):
        where: Where = tuple(part for part in fault["loc"] if not str(part).startswith(("constrained-", "dict[")))
        line = lines.at(where)
        member = str(where[-1]) if where else ""
        what = fault["msg"].removeprefix("Value error, ")
        if fault["type"] == "unexpected_keyword_argument":
            known = _FIELDS.get("choice" if "choices" in where else str(where[0]), _WHOLE)
            what = f"unknown word {member!r}{nearest(member, known)}"
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
