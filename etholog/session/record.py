"""The kinds of lines that a session's file can hold, exact to the member: the border at which pydantic stands guard."""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal, NotRequired, TypeVar

from pydantic import AwareDatetime, BeforeValidator, ConfigDict, Field, TypeAdapter, ValidationError, with_config
from typing_extensions import TypedDict  # before Python 3.12, pydantic takes no other

from etholog.base import journal
from etholog.base.clock import LONGEST_MS
from etholog.base.journal import Scalar
from etholog.base.language import gettext
from etholog.base.refusal import Finding
from etholog.session.drafts import TAP_ID

Ms = Annotated[int, Field(ge=0, le=LONGEST_MS)]
Number = Annotated[int, Field(ge=0)]
Word = Annotated[str, Field(max_length=200)]
Name = Annotated[str, Field(min_length=1, max_length=200)]
Prose = Annotated[str, Field(max_length=100_000)]
T = TypeVar("T")

_exact = with_config(ConfigDict(extra="forbid", strict=True, allow_inf_nan=False))


def _instant(value: Any) -> Any:
    """Let through what is written as RFC 3339 has it: left to itself, pydantic takes a bare number for seconds."""
    if isinstance(value, str) and not re.match(r"\d{4}-\d\d-\d\d[Tt ]\d\d:", value):
        raise ValueError("is not a date and time as in 2026-05-03T21:15:00+02:00")
    if not isinstance(value, str | datetime):
        raise ValueError("is not text")
    return value


@_exact
class Header(TypedDict):
    """The first line but for the ethogram, which stands last in it.

    `clock_at` is what the clock named showed at t = 0, in seconds, and means something only within one `boot`.
    `record_of` names the session of which this is a second observer's record.
    """

    n: Literal[0]
    do: Literal["begin"]
    format: Literal["etholog-session/1", "etholog-session/2"]
    id: Name
    began: Annotated[AwareDatetime, Field(strict=False), BeforeValidator(_instant)]
    male: Word
    female: Word
    species: Word
    observer: Word
    place: Word
    clock: Word
    clock_at: float
    boot: Word
    conditions: dict[Word, Scalar]
    source: Word
    record_of: NotRequired[Word]
    ethogram_hash: Word


class _Line(TypedDict):
    n: Number


class _Timed(_Line):
    t: Ms
    wall: NotRequired[str]


@_exact
class Mark(_Timed):
    """One thing recorded at one instant; `edge` only for states."""

    do: Literal["mark"]
    code: Word
    edge: NotRequired[Literal["onset", "offset"]]
    qualifier: NotRequired[Word]


@_exact
class Undo(_Line):
    """Takes back record `of`, which may itself be an undo."""

    do: Literal["undo"]
    of: Number


@_exact
class Move(_Line):
    """Puts record `of` at `t`; both times stay in the journal."""

    do: Literal["move"]
    of: Number
    t: Ms


@_exact
class Recode(_Line):
    """Gives mark `of` another code, or makes a stray key a mark."""

    do: Literal["recode"]
    of: Number
    code: Word
    qualifier: NotRequired[Word]


@_exact
class Doubt(_Line):
    """Says whether the observer is sure of mark `of`."""

    do: Literal["doubt"]
    of: Number
    sure: bool


@_exact
class Note(_Timed):
    """Words of the observer; `of` where they belong to a mark, or are the reason of a gap."""

    do: Literal["note"]
    text: Prose
    of: NotRequired[Number]


@_exact
class Stray(_Timed):
    """A key that means nothing here."""

    do: Literal["stray"]
    key: Word


@_exact
class Repeat(_Timed):
    """A key that came again too soon to be a second press."""

    do: Literal["repeat"]
    key: Word


@_exact
class Tapped(_Timed):
    """A tap on the phone: what it was (a key, or what it does), and the records that were made of it. It was between
    `earliest` and `latest`. The same tap may come twice; its `id` tells that."""

    do: Literal["tap"]
    id: Annotated[str, Field(pattern=TAP_ID)]
    key: Word
    earliest: Ms
    latest: Ms
    made: Annotated[list[Number], Field(max_length=1000)]


@_exact
class Gap(_Timed):
    """From here on nobody was watching."""

    do: Literal["gap"]
    why: Word


@_exact
class Moment(_Timed):
    """`back`: watching again. `sync`: visible on the film. `rescue`: the keeper had to step in."""

    do: Literal["back", "sync", "rescue"]


@_exact
class Prompted(_Timed):
    """A prompt of the ethogram was shown."""

    do: Literal["prompt"]
    name: Word


@_exact
class Clock(_Timed):
    """Something happened to a clock: it was changed, or the machine slept."""

    do: Literal["clock"]
    what: Word


@_exact
class FilmClip(TypedDict):
    """One file of film and how its clock lies to the session's.

    Film second f is session millisecond `begins` + 1000 f / (1 + `ppm` / 10^6). `anchors` are the pairs (session ms,
    film second) from which that was found. `file` is relative to the session's own folder where that can be.
    `contents`, in sessions of format 2: the film's size and the digest of its ends, by which it is known again.
    """

    file: Prose
    seconds: Annotated[float, Field(gt=0)]
    rate: Annotated[str, Field(pattern=r"^[1-9]\d{0,8}/[1-9]\d{0,8}$")]
    begins: float
    ppm: Annotated[float, Field(gt=-100_000, lt=100_000)]
    by: Literal["one sync mark", "sync marks", "creation time", "watching"]
    anchors: list[tuple[float, float]]
    contents: NotRequired[Annotated[str, Field(pattern=r"^\d{1,18}-[0-9a-f]{32}$")]]


@_exact
class Film(_Line):
    """All the film there is of the session; the last of these records counts. It may follow `close`.

    `sound`, in sessions of format 2: all the recordings of sound that were made beside it. They have no frames, and a
    `rate` of 1/1.
    """

    do: Literal["film", "sound"]
    clips: Annotated[list[FilmClip], Field(strict=False)]


@_exact
class Close(_Timed):
    """The end, with the outcome form. The last one counts."""

    do: Literal["close"]
    outcome: dict[Word, Scalar]


Record = Annotated[
    Mark
    | Undo
    | Move
    | Recode
    | Doubt
    | Note
    | Stray
    | Repeat
    | Tapped
    | Gap
    | Moment
    | Prompted
    | Clock
    | Film
    | Close,
    Field(discriminator="do"),
]


# Made when first needed.
_adapter = cache(TypeAdapter)


def check_header(values: Mapping[str, Any]) -> None:
    """Raise pydantic's ValidationError where these can't stand in a session's first line."""
    _adapter(Header).validate_python(values)


def header_of(text: bytes) -> Header:
    """Return the first line's members, but for the ethogram. Raises pydantic's ValidationError."""
    header: Header = _adapter(Header).validate_json(text)
    return header


def members_of(text: bytes) -> dict[str, Any]:
    """Return any JSON object. Raises pydantic's ValidationError."""
    members: dict[str, Any] = _adapter(dict[str, Any]).validate_json(text)
    return members


def records_of(path: Path, bodies: Sequence[bytes]) -> tuple[list[Record], list[Finding]]:
    """Return the records of a session that can be used, and a finding for each of the others."""
    return checked(path, bodies, _adapter(list[Record]), _adapter(Record))


def brief(error: ValidationError) -> str:
    """Return the first fault of a line in a few words."""
    fault = error.errors(include_url=False, include_input=False)[0]
    where = ".".join(str(part)[:60] for part in fault["loc"])  # a name in the file may be as long as it likes
    return f"{where}: {fault['msg']}" if where else fault["msg"]


def _members(records: Sequence[Any]) -> int:
    """Return how many members records have, those of the objects within them too."""
    holding = [record for record in records if record["do"] in ("close", "film", "sound")]
    inner = sum(len(record.get("outcome", ())) + sum(map(len, record.get("clips", ()))) for record in holding)
    return sum(map(len, records)) + inner


def checked(
    path: Path, bodies: Sequence[bytes], many: TypeAdapter[list[T]], one: TypeAdapter[T]
) -> tuple[list[T], list[Finding]]:
    """Return the records of a journal's bodies that can be used, and a finding for each of the others."""
    try:
        records = many.validate_json(journal.as_array(bodies))
        if len(records) == len(bodies) and not journal.may_repeat(bodies, _members(records)):
            return records, []
    except ValidationError:
        pass  # one by one, which takes longer, to say which it is
    usable: list[T] = []
    findings: list[Finding] = []
    for body in bodies:
        twice = journal.repeated(body)
        if twice is not None:
            what = gettext("{name} stands there twice", name=twice)
            findings.append(Finding(what, gettext(journal.LEFT_OUT), path, record=journal.number(body)))
            continue
        try:
            usable.append(one.validate_json(body + b"}"))
        except ValidationError as error:
            findings.append(Finding(brief(error), gettext(journal.LEFT_OUT), path, record=journal.number(body)))
    return usable, findings
