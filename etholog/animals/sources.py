"""What one keeper has: cards and sessions line by line, as they stand, to be gathered with those of others."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from etholog import session
from etholog.animals import card as card_
from etholog.animals import notebook
from etholog.animals.entering import Slashes
from etholog.animals.lines import lines
from etholog.base import files, journal
from etholog.base.refusal import Finding, Refusal
from etholog.base.workspace import workspace
from etholog.session.folding import undone

GATHERED = "gathered.jsonl"  # what is in a workspace that was gathered


@dataclass(frozen=True)
class SourceCard:
    """One animal's lines. `identity` is its lasting id, `names` what it was called, one after the other."""

    identity: str
    names: tuple[str, ...]
    records: tuple[Mapping[str, Any], ...]
    path: Path


@dataclass(frozen=True)
class SourceSession:
    """One session's lines; the first one decoded, without its ethogram's being judged again."""

    identity: str
    header: Mapping[str, Any]
    bodies: tuple[bytes, ...]
    path: Path


@dataclass(frozen=True)
class Source:
    """What there is of one keeper. `table`: it came from a table, whose lines have no lasting numbers."""

    label: str
    cards: tuple[SourceCard, ...] = ()
    sessions: tuple[SourceSession, ...] = ()
    findings: tuple[Finding, ...] = ()
    table: bool = False

    @cached_property
    def owner_of(self) -> dict[str, str]:
        """The lasting id of the animal that each name means here."""
        found: dict[str, str] = {}
        for one in self.cards:
            for name in one.names:
                found.setdefault(name, one.identity)
        return found


def read(label: str, path: Path, slashes: Slashes | None = None) -> Source:
    """Return what a keeper's workspace holds, or a table of entries (.csv); what can't be read is told of.

    Raises Refusal where there is nothing of that name, and for a workspace that was itself gathered.
    """
    if path.is_file():
        return _table(label, path, slashes)
    if not path.is_dir():
        raise Refusal(f"{path}: is not there; name a keeper's workspace, or a table of entries (.csv)")
    if (path / GATHERED).exists():
        raise Refusal(f"{path}: was gathered itself; name the workspaces that it was gathered from")
    meant = workspace(path)
    names, findings = files.listed(meant.root / "animals", ".jsonl")
    cards: list[SourceCard] = []
    for name in names:
        try:
            one = _card(meant.root / "animals" / name, findings)
        except Refusal as refusal:
            findings += refusal.findings
            continue
        cards += [one] if one else []
    sessions: list[SourceSession] = []
    names, odd = files.listed(meant.sessions, ".jsonl")
    findings += odd
    for name in names:
        try:
            sessions.append(_session(meant.sessions / name, findings))
        except Refusal as refusal:
            findings += refusal.findings
    return Source(label, tuple(cards), tuple(sessions), tuple(findings))


def _card(path: Path, findings: list[Finding]) -> SourceCard | None:
    told = lines(path)
    findings += told.findings
    if not told.records:
        return None  # nothing is told of it, and nothing tells it from another
    gone = undone(told.records)
    renamed = [r for r in told.records if r["do"] == "renamed" and r["n"] not in gone and "words" in r]
    names = (told.header["id"], *(str(record["words"]) for record in renamed))  # type: ignore[typeddict-item]
    return SourceCard(told.identity, tuple(dict.fromkeys(names)), tuple(told.records), path)


def _session(path: Path, findings: list[Finding]) -> SourceSession:
    findings += session.read(path).findings
    bodies = journal.read(path).bodies
    return SourceSession(card_.lasting_id(bodies[0]), journal.decoded(bodies[0]), tuple(bodies[1:]), path)


def _table(label: str, path: Path, slashes: Slashes | None) -> Source:
    entries, findings = notebook.read(path, slashes)
    records: dict[str, list[Mapping[str, Any]]] = {}
    for one in entries:
        told = {"n": one.line or 0, "do": one.entry.kind, "on": one.entry.on.text, "sure": one.entry.sure}
        more = {"words": one.entry.words, "number": one.entry.number, "note": one.entry.note}
        records.setdefault(one.animal, []).append(told | {k: v for k, v in more.items() if v not in ("", None)})
    cards = [
        SourceCard(card_.lasting_id(f"{label}\n{animal}".encode()), (animal,), tuple(told), path)
        for animal, told in records.items()
    ]
    return Source(label, tuple(cards), findings=tuple(findings), table=True)
