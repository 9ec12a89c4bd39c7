"""What a keeper's lists need of each session of a folder, kept beside a large one: who, when, how it went.

What is due, a card, a label ask this of every session that there is, and of none for its bouts.
"""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import date, datetime
from functools import cache
from os import stat_result
from pathlib import Path
from typing import Any, NamedTuple

from etholog import ethogram as ethograms
from etholog import session
from etholog.base import cache as caches
from etholog.base import files, journal
from etholog.base.journal import Scalar
from etholog.base.refusal import Finding
from etholog.base.workspace import root_of
from etholog.ethogram import Ethogram, from_plain
from etholog.session import closing, evidence, log
from etholog.session.endings import KILLED, LAST
from etholog.session.evidence import Evidence
from etholog.session.file import Copy, Session, counted_once

FILE = "digests.json"


class Digest(NamedTuple):
    """One session, told short; `ethogram` is the one that it was recorded by."""

    name: str
    """The file's."""
    id: str
    record_of: str | None
    male: str
    female: str
    species: str
    began: datetime
    closed: bool
    evidence: Evidence
    strikes: int
    answers: Mapping[str, Scalar]
    ethogram: Ethogram
    records: int

    @property
    def on(self) -> date:
        """The day on which it began, by the clock of its place."""
        return self.began.date()

    @property
    def as_copy(self) -> Copy:
        """What tells whether it counts."""
        return Copy(self.id, self.record_of, self.records, closing.is_accident(self.answers))


def of(one: Session) -> Digest:
    """Return the digest of a session."""
    told = one.header
    return Digest(
        one.path.name,
        one.id,
        told.get("record_of"),
        told["male"],
        told["female"],
        told["species"],
        one.began,
        one.fold.closed,
        evidence.evidence(one.ethogram, one.fold.bouts),
        len(log.strikes(one)),
        _answers(one),
        one.ethogram,
        len(one.records),
    )


def _answers(one: Session) -> Mapping[str, Scalar]:
    """Return the answers about its end; where that was not asked, a mark that she killed him says it."""
    last = one.ethogram.codes_of(*LAST)
    killed = any(bout.code in last for bout in one.fold.bouts)
    return {"ended": KILLED, **one.fold.outcome} if killed else one.fold.outcome


def read(folder: Path) -> tuple[list[Digest], list[Finding]]:
    """Return the digests of the sessions of a folder, by the names of their files, and what could not be read. A large
    folder is read again only where it changed. Raises Refusal where the folder can't be read."""
    names, findings = files.listed(folder)
    pays = caches.pays(names)
    known = _kept(folder, names) if pays else {}
    found, unread = caches.with_others(names, known, lambda name: of(session.read(folder / name)))
    if pays and len(found) > len(known):
        _keep(folder, names, found)
    return list(found.values()), [*findings, *unread]


def counted(found: Iterable[Digest]) -> list[Digest]:
    """Return those that count: none that was begun by mistake, and each session once."""
    told = list(found)
    return [told[at] for at in counted_once(one.as_copy for one in told)]


def _kept(folder: Path, names: Mapping[str, stat_result]) -> dict[str, Digest]:
    # Whatever nonsense makes the dates or the models raise means the same.
    with suppress(Exception):
        told = caches.kept_values(folder, FILE, _by(folder))
        known = [from_plain(plain) for plain in told["ethograms"]]
        now = {name: caches.stamp(seen).hex() for name, seen in names.items()}
        return {row[0]: _digest(row, known) for row in told["sessions"] if now.get(row[0]) == row[1]}
    return {}


def _digest(row: Sequence[Any], known: Sequence[Ethogram]) -> Digest:
    name, _, words, began, closed, rung, strikes, answers, which, records = row
    own, record_of, male, female, species = words
    at, reached = datetime.fromisoformat(began), Evidence(rung)
    held = known[which]
    return Digest(name, own, record_of, male, female, species, at, closed, reached, strikes, answers, held, records)


def _keep(folder: Path, names: Mapping[str, stat_result], found: Mapping[str, Digest]) -> None:
    stamps = {name: caches.stamp(names[name]) for name in found}
    known: dict[int, tuple[int, Ethogram]] = {}  # each is one object, however many sessions share it
    sessions: list[tuple[Any, ...]] = []
    listed = list(found)
    for at in caches.settled(listed, stamps):
        one = found[listed[at]]
        which = known.setdefault(id(one.ethogram), (len(known), one.ethogram))[0]
        words = one.id, one.record_of, one.male, one.female, one.species
        then = stamps[one.name].hex()
        sessions.append(
            (one.name, then, words, one.began.isoformat(), one.closed, one.evidence, one.strikes, one.answers, which,
             one.records)
        )  # fmt: skip
    told = {"ethograms": [kept.plain() for _, kept in known.values()], "sessions": sessions}
    caches.keep_values(folder, FILE, _by(folder), told)


def _by(folder: Path) -> bytes:
    """Return what must be as it was for digests to be so: the program, and the workspace's own ethograms, from which
    sessions may have their roles."""
    own = files.listed(root_of(folder) / "ethograms", ".toml")[0]
    return b"".join((_code(), *(name.encode() + caches.stamp(seen) for name, seen in own.items())))


@cache
def _code() -> bytes:
    return caches.code((journal, ethograms, session))
