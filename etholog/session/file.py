"""One pairing, read from its file: header, ethogram, records, and what they fold to."""

import re
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property, lru_cache
from operator import itemgetter
from pathlib import Path
from typing import Any, cast

from pydantic import TypeAdapter, ValidationError

from etholog.base import journal
from etholog.base.refusal import Refusal
from etholog.ethogram import Ethogram, EthogramError, from_plain
from etholog.session.folding import Fold, fold
from etholog.session.record import FORMAT, Header, Mark, Record, brief, checked

_header = TypeAdapter(Header)
_records = TypeAdapter(list[Record])
_record = TypeAdapter(Record)
_LINE = re.compile(rb'(\{"n":(0|[1-9]\d{0,17}),"do":"mark","t":(0|[1-9]\d{0,9}),(.+)|.+)')


class SessionError(Refusal):
    """One line that says which file is wrong, where, and what to do."""


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
        raise SessionError(f"what is said of the session can't be kept: {brief(error)}; change it") from None
    return {**header, "ethogram": ethogram.plain()}


# Many sessions share one ethogram, and checking it costs more than all the marks of a session.
_known: dict[bytes, Ethogram] = {}


def _begin(path: Path, body: bytes) -> tuple[Header, Ethogram]:
    # An unescaped quotation mark can't stand within a JSON string, so this finds the member itself.
    at = body.find(b',"ethogram":{')
    if at < 0:
        raise SessionError(f"{path}: line 1: no ethogram; this is no session of etholog")
    try:
        header = _header.validate_json(body[:at] + b"}")
        plain = body[at + len(b',"ethogram":') :]
        if plain not in _known:
            _known[plain] = from_plain(TypeAdapter(dict[str, Any]).validate_json(plain))
    except ValidationError as error:
        raise SessionError(f"{path}: line 1: {brief(error)}; this is no session of etholog that can be read") from None
    except EthogramError as error:
        raise SessionError(f"{path}: line 1: its ethogram contradicts itself: {error}") from None
    return header, _known[plain]


def header(path: Path) -> Header:
    """Read only the first line of a session. Raises SessionError when it can't be used."""
    try:
        return _begin(path, journal.first(path))[0]
    except journal.JournalError as error:
        raise SessionError(str(error)) from None


def read(path: Path) -> Session:
    """Read a session. Raises SessionError when there is none in the file; single bad lines are left out and told of."""
    try:
        reading = journal.read(path)
    except journal.JournalError as error:
        raise SessionError(str(error)) from None
    header, ethogram = _begin(path, reading.bodies[0])
    faults = list(reading.faults)
    return Session(path, header, ethogram, _recorded(path, reading.bodies[1:], faults), faults)


def _recorded(path: Path, bodies: list[bytes], faults: list[str]) -> list[Record]:
    marks: list[Record] = []
    others: list[bytes] = []
    for body, n, t, rest in _LINE.findall(b"\n".join(bodies)):
        alike = _like(rest) if rest else None
        if alike is None:
            others.append(body)
        else:
            mark = alike.copy()  # the fastest way to a new one
            mark["n"], mark["t"] = int(n), int(t)
            marks.append(mark)
    return sorted(marks + checked(path, others, _records, _record, faults), key=itemgetter("n"))


@lru_cache(4096)
def _like(rest: bytes) -> Mark | None:
    """Return one of the marks whose lines are alike from behind n and t, so that no more than one of them need be
    validated; None where there is no such thing."""
    try:
        one, two = (_record.validate_json(b'{"n":%d,"do":"mark","t":%d,%b}' % (n, n + 1, rest)) for n in (1, 3))
    except ValidationError:
        return None
    # A name may come again within the rest, and would stand for what is in front.
    alike = one["do"] == "mark" and two == one | {"n": 3, "t": 4} and one == two | {"n": 1, "t": 2}
    return cast(Mark, one) if alike else None
