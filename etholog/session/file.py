"""One pairing, read from its file: header, ethogram, records, and what they fold to."""

import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from etholog.base import journal
from etholog.base.language import gettext, gettext_noop
from etholog.base.refusal import Finding, Refusal
from etholog.ethogram import Ethogram, from_plain, with_roles
from etholog.session.closing import is_accident
from etholog.session.folding import Fold, fold, last_close

# What holds a file to its format (`record`, and pydantic) is imported when one is read: a list of what is due, taken
# from what was kept, needs none of it.
if TYPE_CHECKING:
    from etholog.session.record import Header, Record

# A session whose ethogram says what its behaviours are (their roles) can't be read by version 0.1.
FORMATS = FORMAT_1, FORMAT_2 = "etholog-session/1", "etholog-session/2"


@dataclass(frozen=True)
class Session:
    """A session as read from its file; `findings` are the lines that could not be used."""

    path: Path
    header: "Header"
    ethogram: Ethogram
    records: "list[Record]"
    findings: list[Finding] = field(default_factory=list)

    @property
    def id(self) -> str:
        """The session's name, which is its file's name too."""
        return self.header["id"]

    @property
    def began(self) -> datetime:
        """The instant of t = 0, with its offset from UTC."""
        return self.header["began"]

    @property
    def zero_by_wall(self) -> datetime:
        """The instant of t = 0 by what the wall clock showed last: that of `began`, unless the clock was set since."""
        walls: list[Mapping[str, Any]] = [record for record in self.records if "wall" in record]
        for record in reversed(walls):
            with suppress(ValueError, OverflowError):
                wall = datetime.fromisoformat(record["wall"])
                if wall.utcoffset() is not None:
                    return wall - timedelta(milliseconds=record["t"])
        return self.began

    @property
    def is_accident(self) -> bool:
        """Whether it was begun by mistake: it counts for nothing."""
        return is_accident(last_close(self.records).get("outcome", {}))  # nothing is folded to ask it

    @property
    def mistake(self) -> Finding:
        """What to say where it is asked about alone, and was begun by mistake."""
        count = f"if it is to count: etholog amend {self.path} --answer accident=no"
        return Finding("was begun by mistake, as you answered, and counts for nothing", count, self.path)

    def refuse_closed(self) -> None:
        """Raise Refusal where nobody can go on with it any more."""
        if self.fold.closed:
            raise Refusal(f"{self.path}: is closed; `etholog amend` corrects it")

    @property
    def as_copy(self) -> "Copy":
        """What tells whether it counts."""
        return Copy(self.id, self.header.get("record_of"), len(self.records), self.is_accident)

    def refuse_open(self) -> None:
        """Raise Refusal where it has not ended yet."""
        if not self.fold.closed:
            raise Refusal(f"{self.path}: is still open; end it first: etholog resume {self.path}")

    @cached_property
    def fold(self) -> Fold:
        """What the records come to."""
        return fold(self.ethogram, self.records)


def header_of(ethogram: Ethogram, **said: Any) -> dict[str, Any]:
    """Return a header for `Journal.create`, the ethogram whole and last. Raises Refusal for nonsense."""
    from pydantic import ValidationError

    from etholog.session import record

    told = ethogram.tells_roles
    header = {"format": FORMAT_2 if told else FORMAT_1, **said, "ethogram_hash": ethogram.hash}
    try:
        record.check_header({"n": 0, "do": "begin", **header})
    except ValidationError as error:
        raise Refusal(f"the details of the session can't be kept: {record.brief(error)}; change it") from None
    return {**header, "ethogram": ethogram.plain()}


def prepare() -> None:
    """Load what a first line is held to, so that whoever makes one soon does not wait for it."""
    from pydantic import ValidationError

    from etholog.session import record

    with suppress(ValidationError):
        record.check_header({})


NOT_READ = gettext_noop("this is not a session of etholog that can be read")

# Many sessions share one ethogram, and checking it costs more than all the marks of a session.
_known: dict[bytes, Ethogram] = {}


def _begin(path: Path, body: bytes) -> "tuple[Header, Ethogram]":
    from pydantic import ValidationError

    from etholog.session import record

    # An unescaped quotation mark can't stand within a JSON string, so this finds the member itself.
    at = body.find(b',"ethogram":{')
    if at < 0:
        raise Refusal(Finding(gettext("no ethogram"), gettext("this is not a session of etholog"), path, 1))
    newer = re.search(rb'"format":"(etholog-session/(\d+))"', body[:at])
    if newer and int(newer[2]) > int(FORMAT_2.rpartition("/")[2]):
        what = gettext("is of a newer format ({format})", format=newer[1].decode())
        raise Refusal(Finding(what, gettext("a newer version of etholog reads it"), path, 1))
    known = body[at + len(b',"ethogram":') :] in _known
    twice = journal.repeated(body[:at] if known else body)
    if twice is not None:
        what = gettext("{name} stands there twice", name=twice)
        raise Refusal(Finding(what, gettext(NOT_READ), path, 1))
    try:
        header = record.header_of(body[:at] + b"}")
        plain = body[at + len(b',"ethogram":') :]
        if plain not in _known:
            _known[plain] = from_plain(record.members_of(plain))
    except ValidationError as error:
        raise Refusal(Finding(record.brief(error), gettext(NOT_READ), path, 1)) from None
    except Refusal as error:
        what = gettext("its ethogram contradicts itself: {what}", what=error)
        raise Refusal(Finding(what, "", path, 1)) from None
    return header, with_roles(_known[plain], path.absolute().parent)


class Copy(NamedTuple):
    """What tells which of several files of one session counts, and whether it does."""

    id: str
    record_of: str | None
    """The session of which it is a second observer's record."""
    records: int
    is_accident: bool


def fullest(copies: Iterable[Copy]) -> dict[str, int]:
    """Return the place of the file that counts of each session, by its id (`journal.fullest`)."""
    return journal.fullest((one.id, one.records) for one in copies)


def again(path: Path, id_: str, kept: str) -> Finding:
    """Say of a file of a session that another file, `kept`, counts in its place."""
    return Finding(gettext("is session {id} again, as {name} is", id=id_, name=kept), gettext("left out"), path)


def counted_once(copies: Iterable[Copy]) -> list[int]:
    """Return which sessions count, by their places: of several files of one session the fullest, none that was begun
    by mistake, and a second observer's record only where the first one's does not count."""
    told = list(copies)
    first = {name: at for name, at in fullest(told).items() if not told[at].is_accident}
    return sorted(at for at in first.values() if told[at].record_of not in first)


def header(path: Path) -> "Header":
    """Read only the first line of a session. Raises Refusal when it can't be used."""
    return _begin(path, journal.first(path))[0]


def read(path: Path) -> Session:
    """Read a session. Raises Refusal when there is none in the file; single bad lines are left out and told of."""
    from etholog.session import record

    reading = journal.read(path)
    header, ethogram = _begin(path, reading.bodies[0])
    records, findings = record.records_of(path, reading.bodies[1:])
    return Session(path, header, ethogram, records, [*reading.findings, *findings])
