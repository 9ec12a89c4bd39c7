"""A card's file line by line, exact to the member: the border at which pydantic stands guard."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal, NotRequired, final

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError, with_config
from typing_extensions import TypedDict  # before Python 3.12, pydantic takes no other

from etholog.animals.card import FORMAT, GATHERED, lasting_id
from etholog.base import journal
from etholog.base.refusal import Finding, Refusal
from etholog.session.record import Name, Number, Prose, Word, checked

_exact = with_config(ConfigDict(extra="forbid", strict=True, allow_inf_nan=False))


@_exact
class Header(TypedDict):
    """The first line: whose card it is."""

    n: Literal[0]
    do: Literal["begin"]
    format: Literal["etholog-card/1"]
    id: Name


@_exact
class GatheredHeader(TypedDict):
    """The first line of a gathered card; `animal` is the animal's lasting id (see `identity`)."""

    n: Literal[0]
    do: Literal["begin"]
    format: Literal["etholog-card/2"]
    id: Name
    animal: Name


class _Line(TypedDict):
    n: Number
    told: NotRequired[Word]  # when it was typed


class _EntryLine(_Line):
    do: Word  # one of KINDS, which `check` holds it to
    on: Word
    sure: bool
    words: NotRequired[Prose]
    number: NotRequired[float]
    note: NotRequired[Prose]


@final
@_exact
class EntryRecord(_EntryLine):
    """Something that happened on a date, which may be partial."""


class _UndoLine(_Line):
    do: Literal["undo"]
    of: Number


@_exact
class Undo(_UndoLine):
    """Takes back entry `of`, which may itself be an undo."""


class _Source(TypedDict):
    """Whose line it was, and its number there; neither for a line that was written on the gathered card itself."""

    by: NotRequired[Word]
    at: NotRequired[Number]


@final
@_exact
class GatheredEntry(_EntryLine, _Source):
    """An entry of a gathered card."""


@_exact
class GatheredUndo(_UndoLine, _Source):
    """Takes back entry `of` of a gathered card."""


CardRecord = EntryRecord | Undo | GatheredEntry | GatheredUndo
Record = Annotated[Undo | EntryRecord, Field(union_mode="left_to_right")]
GatheredRecord = Annotated[GatheredUndo | GatheredEntry, Field(union_mode="left_to_right")]


# Made when first needed: many workspaces have no card, and most cards were never gathered.
@cache
def _header() -> TypeAdapter[Any]:
    return TypeAdapter(Annotated[Header | GatheredHeader, Field(discriminator="format")])


@cache
def _own() -> tuple[TypeAdapter[list[Any]], TypeAdapter[Any]]:
    return TypeAdapter(list[Record]), TypeAdapter(Record)


@cache
def _of_gathered() -> tuple[TypeAdapter[list[Any]], TypeAdapter[Any]]:
    return TypeAdapter(list[GatheredRecord]), TypeAdapter(GatheredRecord)


@dataclass(frozen=True)
class Lines:
    """A card's file line by line: its header, the records that can be used, and what is wrong with the others.

    `identity` is the animal's lasting id, which does not depend on what it is called later: the header and the first
    entry make it, so that every copy of a card has the same; a gathered card carries it.
    """

    header: Header | GatheredHeader
    records: list[CardRecord]
    findings: list[Finding]
    identity: str


def lines(path: Path) -> Lines:
    """Read a card's lines. Raises Refusal when there is no card in the file; bad lines are left out and told of."""
    reading = journal.read(path)
    twice = journal.repeated(reading.bodies[0])
    if twice is not None:
        raise Refusal(Finding(f"{twice} stands there twice", "this is not a card of etholog that can be read", path, 1))
    try:
        header = _header().validate_json(reading.bodies[0] + b"}")
    except ValidationError:
        raise Refusal(Finding("is not a card of etholog", "take it out of this folder", path, 1)) from None
    adapters = _own() if header["format"] == FORMAT else _of_gathered()
    records, unread = checked(path, reading.bodies[1:], *adapters)
    identity = header["animal"] if header["format"] == GATHERED else lasting_id(b"\n".join(reading.bodies[:2]))
    return Lines(header, records, [*reading.findings, *unread], identity)
