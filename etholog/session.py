"""One pairing: its header, its records, and the fold from records to bouts. Times are whole milliseconds since
`began`."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple, NotRequired

from pydantic import AwareDatetime, ConfigDict, Field, TypeAdapter, ValidationError, with_config
from typing_extensions import TypedDict  # before Python 3.12, pydantic takes no other

from etholog import journal
from etholog.ethogram import Behaviour, Ethogram, EthogramError, from_plain
from etholog.refusal import Refusal

FORMAT = "etholog-session/1"

Ms = Annotated[int, Field(ge=0, le=10**10)]
Number = Annotated[int, Field(ge=0)]
Word = Annotated[str, Field(max_length=200)]
Prose = Annotated[str, Field(max_length=100_000)]
Scalar = str | int | float | bool | None

_exact = with_config(ConfigDict(extra="forbid", strict=True, allow_inf_nan=False))


@_exact
class Header(TypedDict):
    """The first line but for the ethogram, which stands last in it.

    `clock_at` is what the clock named showed at t = 0, in seconds, and means something only within one `boot`.
    `record_of` names the session of which this is a second observer's record.
    """

    n: Literal[0]
    do: Literal["begin"]
    format: Literal["etholog-session/1"]
    id: Word
    began: Annotated[AwareDatetime, Field(strict=False)]
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
    crc: NotRequired[str]


class _Line(TypedDict):
    n: Number
    crc: str


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
    """Words of the observer; `of` where they belong to a mark."""

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
class Film(_Line):
    """How the film's clock lies to the session's (see `etholog.film`)."""

    do: Literal["film"]
    alignment: dict[str, Any]


@_exact
class Close(_Timed):
    """The end, with the outcome form. The last one counts."""

    do: Literal["close"]
    outcome: dict[Word, Scalar]


Record = Annotated[
    Mark | Undo | Move | Recode | Doubt | Note | Stray | Repeat | Gap | Moment | Prompted | Clock | Film | Close,
    Field(discriminator="do"),
]

_header = TypeAdapter(Header)
_records = TypeAdapter(list[Record])
_record = TypeAdapter(Record)


class SessionError(Refusal):
    """One line that says which file is wrong, where, and what to do."""


class Bout(NamedTuple):
    """One run of a state, or one event (onset = offset). `whole` is False where a gap or the session's end cut it."""

    n: int
    code: str
    qualifier: str | None
    onset: int
    offset: int
    whole: bool
    sure: bool


class Span(NamedTuple):
    """A stretch of time and what was said of it."""

    onset: int
    offset: int
    why: str


class Said(NamedTuple):
    """A note, a stray key, a sync, a rescue, a prompt: something at one instant that is no behaviour."""

    n: int
    t: int
    do: str
    text: str


class Folding:
    """Folds marks, given in the order of (t, n), into bouts, one at a time, so that a screen can follow.

    Rules: an onset ends whatever else runs in its chain, and the states that its `ends` name; the end of a state
    ends those `within` it; a
    gap ends all. What makes no sense is told in `remarks` and never raised.
    """

    def __init__(self, ethogram: Ethogram) -> None:
        self.behaviours = ethogram.by_code
        self.bouts: list[Bout] = []
        self.running: dict[object, Bout] = {}
        self.gaps: list[Span] = []
        self.gap: Span | None = None
        self.remarks: list[str] = []
        self._inner: dict[str, list[str]] = {}
        for behaviour in ethogram.behaviour:
            if behaviour.within is not None:
                self._inner.setdefault(behaviour.within, []).append(behaviour.code)

    def mark(self, t: int, n: int, code: str, edge: str | None, qualifier: str | None, sure: bool = True) -> None:
        """Take in one mark."""
        behaviour = self.behaviours.get(code)
        if behaviour is None:
            self.remarks.append(f"mark {n}: {code!r} is not in this session's ethogram; left out")
            return
        if self.gap is not None:
            self.remarks.append(f"mark {n}: {code!r} lies in a gap, when nobody was watching")
        if behaviour.kind == "event":
            self.bouts.append(Bout(n, code, qualifier, t, t, True, sure))
            self._end_others(behaviour, t)
        elif edge == "offset":
            self._offset(behaviour, t, n, qualifier)
        else:
            self._onset(behaviour, t, n, qualifier, sure)

    def start_gap(self, t: int, why: str) -> None:
        """Nobody is watching from here on: what runs is cut."""
        if self.gap is None:
            self._cut(t)
            self.gap = Span(t, t, why)

    def end_gap(self, t: int) -> None:
        """Somebody is watching again."""
        if self.gap is None:
            self.remarks.append(f"watched again at {t / 1000:.1f} s without a gap before it")
        else:
            self.gaps.append(self.gap._replace(offset=t))
            self.gap = None

    def finish(self, t: int) -> None:
        """The session is over: what runs is cut."""
        self._cut(t)
        if self.gap is not None:
            self.end_gap(t)

    def _onset(self, behaviour: Behaviour, t: int, n: int, qualifier: str | None, sure: bool) -> None:
        lane = behaviour.chain or (behaviour.code, qualifier)
        now = self.running.get(lane)
        if now is not None:
            if now.code == behaviour.code and now.qualifier == qualifier:
                self.remarks.append(f"mark {n}: {behaviour.code!r} began while it was running; it goes on")
                return
            self._end(lane, t)
        self._end_others(behaviour, t)
        outer = behaviour.within
        if outer is not None and not any(bout.code == outer for bout in self.running.values()):
            self.remarks.append(f"mark {n}: {behaviour.code!r} at {t / 1000:.1f} s, outside any {outer!r}")
        self.running[lane] = Bout(n, behaviour.code, qualifier, t, t, False, sure)

    def _offset(self, behaviour: Behaviour, t: int, n: int, qualifier: str | None) -> None:
        for lane, bout in self.running.items():
            if bout.code == behaviour.code and (qualifier is None or bout.qualifier == qualifier):
                self._end(lane, t)
                return
        self.remarks.append(f"mark {n}: {behaviour.code!r} ended without having begun")

    def _end_others(self, behaviour: Behaviour, t: int) -> None:
        for code in behaviour.ends:
            self._end_code(code, t)

    def _end_code(self, code: str, t: int) -> None:
        for lane in [lane for lane, bout in self.running.items() if bout.code == code]:
            self._end(lane, t)

    def _end(self, lane: object, t: int) -> None:
        bout = self.running.pop(lane, None)
        if bout is None:
            return  # what it lay within has ended it already
        self.bouts.append(bout._replace(offset=t, whole=True))
        for code in self._inner.get(bout.code, ()):
            self._end_code(code, t)

    def _cut(self, t: int) -> None:
        self.bouts += [bout._replace(offset=max(t, bout.onset)) for bout in self.running.values()]
        self.running.clear()


@dataclass(frozen=True)
class Fold:
    """What the records come to: bouts sorted by (onset, n), gaps, the rest of what was said, and what made no sense."""

    bouts: list[Bout]
    gaps: list[Span]
    said: list[Said]
    remarks: list[str]
    end: int
    closed: bool
    outcome: dict[str, Scalar]
    marks: int


_SAID = {"note": "text", "stray": "key", "prompt": "name", "sync": None, "rescue": None, "clock": "what"}


def undone(records: Iterable[Mapping[str, Any]]) -> set[int]:
    """Return the numbers of the records that were taken back; an undo that was itself taken back takes nothing back."""
    gone: set[int] = set()
    for record in reversed([record for record in records if record["do"] == "undo"]):
        if record["n"] not in gone:
            gone.add(record["of"])
    return gone


def corrected(records: Iterable[Mapping[str, Any]]) -> tuple[list[dict[str, Any]], list[str]]:
    """Apply undo, move, recode and doubt. Returns what lasts in time, sorted by (t, n), and remarks on what made no
    sense."""
    records = list(records)
    gone = undone(records)
    live: dict[int, dict[str, Any]] = {}
    remarks: list[str] = []
    for record in records:
        do = record["do"]
        if record["n"] in gone or do in ("undo", "film", "close", "repeat"):
            continue
        if do not in ("move", "recode", "doubt"):
            live[record["n"]] = dict(record)
            continue
        target = live.get(record["of"])
        if target is None:
            if record["of"] not in gone:
                remarks.append(f"record {record['n']}: {do} of {record['of']}, which is nothing that can be changed")
        elif do == "move":
            target["t"] = record["t"]
        elif do == "doubt":
            target["sure"] = record["sure"]
        elif target["do"] in ("mark", "stray"):
            target.update(do="mark", code=record["code"], qualifier=record.get("qualifier"))
        else:
            remarks.append(f"record {record['n']}: only a mark or a stray key can be recoded")
    return sorted(live.values(), key=lambda record: (record["t"], record["n"])), remarks


def fold(ethogram: Ethogram, records: Iterable[Mapping[str, Any]]) -> Fold:
    """Fold records into bouts. Pure: every reader (screen, tables, film) gets its bouts from here, by `Folding`."""
    records = list(records)
    lasting, remarks = corrected(records)
    folding = Folding(ethogram)
    said: list[Said] = []
    marks = 0
    for record in lasting:
        do = record["do"]
        if do == "mark":
            marks += 1
            folding.mark(
                record["t"],
                record["n"],
                record["code"],
                record.get("edge"),
                record.get("qualifier"),
                record.get("sure", True),
            )
        elif do == "gap":
            folding.start_gap(record["t"], record["why"])
        elif do == "back":
            folding.end_gap(record["t"])
        else:
            named = _SAID[do]
            said.append(Said(record["n"], record["t"], do, record[named] if named else ""))
    last = lasting[-1]["t"] if lasting else 0
    close: Mapping[str, Any] = next((record for record in reversed(records) if record["do"] == "close"), {})
    # Somebody was there while keys came, so a session that was never closed was watched until its last record.
    seen = max((record.get("t", 0) for record in records if record["do"] not in ("move", "close")), default=0)
    end = max(close["t"], last) if close else max(seen, last)
    folding.finish(end)
    folding.bouts.sort(key=lambda bout: (bout.onset, bout.n))
    return Fold(
        folding.bouts,
        folding.gaps,
        said,
        remarks + folding.remarks,
        end,
        bool(close),
        dict(close.get("outcome", {})),
        marks,
    )


@dataclass(frozen=True)
class Session:
    """A session as read from its file; `faults` are the lines that could not be used, a sentence each."""

    path: Path
    header: Header
    ethogram: Ethogram
    records: list[Record]
    faults: list[str] = field(default_factory=list)

    @property
    def id(self) -> str:
        """The session's name, which is its file's name too."""
        return self.header["id"]

    @property
    def began(self) -> datetime:
        """The instant of t = 0, with its offset from UTC."""
        return self.header["began"]

    @cached_property
    def fold(self) -> Fold:
        """What the records come to."""
        return fold(self.ethogram, self.records)


def header_of(ethogram: Ethogram, **said: Any) -> dict[str, Any]:
    """Return a header for `Journal.create`, the ethogram whole and last. Raises pydantic's ValidationError for
    nonsense."""
    header = {"format": FORMAT, **said, "ethogram_hash": ethogram.hash}
    try:
        _header.validate_python({"n": 0, "do": "begin", **header})
    except ValidationError as error:
        raise SessionError(f"what is said of the session can't be kept: {_brief(error)}; change it") from None
    return {**header, "ethogram": ethogram.plain()}


# Many sessions share one ethogram, and checking it costs more than all the marks of a session.
_known: dict[bytes, Ethogram] = {}


def _begin(path: Path, line: bytes) -> tuple[Header, Ethogram]:
    # An unescaped quotation mark can't stand within a JSON string, so this finds the member itself.
    at = line.find(b',"ethogram":{')
    crc = line.rfind(b',"crc":"')
    if at < 0:
        raise SessionError(f"{path}: line 1: no ethogram; this is no session of etholog")
    try:
        header = _header.validate_json(line[:at] + b"}")
        plain = line[at + len(b',"ethogram":') : crc]
        if plain not in _known:
            _known[plain] = from_plain(TypeAdapter(dict[str, Any]).validate_json(plain))
    except ValidationError as error:
        raise SessionError(f"{path}: line 1: {_brief(error)}; this is no session of etholog that can be read") from None
    except EthogramError as error:
        raise SessionError(f"{path}: line 1: its ethogram contradicts itself: {error}") from None
    return header, _known[plain]


def _brief(error: ValidationError) -> str:
    fault = error.errors(include_url=False, include_input=False)[0]
    where = ".".join(str(part) for part in fault["loc"])
    return f"{where}: {fault['msg']}" if where else fault["msg"]


def read(path: Path) -> Session:
    """Read a session. Raises SessionError when there is none in the file; single bad lines are left out and told of."""
    try:
        reading = journal.read(path)
    except journal.JournalError as error:
        raise SessionError(str(error)) from None
    header, ethogram = _begin(path, reading.lines[0])
    body = reading.lines[1:]
    faults = list(reading.faults)
    try:
        records = _records.validate_json(b"[" + b",".join(body) + b"]")
        if len(records) != len(body):
            raise SessionError(f"{path}: a line holds more than one record; take it out")
    except ValidationError:
        records = list(_sound(path, body, faults))
    return Session(path, header, ethogram, records, faults)


def _sound(path: Path, lines: list[bytes], faults: list[str]) -> Iterator[Record]:
    """Yield the records that can be used, and tell of the others: slower than all at once, so only when that failed."""
    for at, line in enumerate(lines, 2):
        try:
            yield _record.validate_json(line)
        except ValidationError as error:
            faults.append(f"{path}: record {at - 1}: {_brief(error)}; left out, the file is as it was")
