"""All cards of a folder, kept beside a large one: what is due asks every entry of every card, at every call."""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from functools import cache
from os import stat_result
from pathlib import Path
from typing import Any

from etholog import animals, session
from etholog.animals.card import Card, Entry, check
from etholog.animals.card import read as read_card
from etholog.base import cache as caches
from etholog.base import files, journal
from etholog.base.dates import Day
from etholog.base.refusal import Finding

FILE = "cards.json"
AT_LEAST = 50  # cards; fewer are read before anybody could feel it


def read(folder: Path) -> tuple[list[Card], list[Finding]]:
    """Return the cards of a folder, by the names of their files, and what of them can't be used. A large folder is
    read again only where it changed. Raises Refusal where the folder can't be read."""
    names, findings = files.listed(folder, ".jsonl")
    pays = len(names) >= AT_LEAST or caches.pays(names)
    known = _kept(folder, names) if pays else {}
    found, unread = caches.with_others(names, known, lambda name: read_card(folder / name))
    if pays and len(found) > len(known):
        _keep(folder, names, found)
    told = list(found.values())
    return told, [*findings, *unread, *(finding for one in told for finding in one.findings)]


def _kept(folder: Path, names: Mapping[str, stat_result]) -> dict[str, Card]:
    # Whatever nonsense makes the dates or the entries raise means the same.
    with suppress(Exception):
        told = caches.kept_values(folder, FILE, _code())
        now = {name: caches.stamp(seen).hex() for name, seen in names.items()}
        return {name: _card(folder / name, *rest) for name, then, *rest in told if now.get(name) == then}
    return {}


def _card(path: Path, names: Sequence[str], rows: Iterable[Sequence[Any]], records: int) -> Card:
    entries = []
    for n, kind, on, sure, words, number, note, by, sac in rows:
        entry = Entry(n, kind, Day.parse(on), sure, words, number, note, by=by, sac=Day.parse(sac) if sac else None)
        check(entry)
        if not (type(n) is int and type(sure) is bool and _are_words(words, note, by)):
            raise TypeError
        entries.append(entry)
    if not (_are_words(*names) and type(records) is int):
        raise TypeError
    return Card(path, names[-1], tuple(entries), names=tuple(dict.fromkeys(names)), records=records)


def _are_words(*told: Any) -> bool:
    return all(type(one) is str for one in told)


def _keep(folder: Path, names: Mapping[str, stat_result], found: Mapping[str, Card]) -> None:
    stamps = {name: caches.stamp(names[name]) for name in found}
    listed = [name for name, one in found.items() if not one.findings]  # the others are read and told of again
    settled = [listed[at] for at in caches.settled(listed, stamps)]
    told = [(name, stamps[name].hex(), *_rows(found[name])) for name in settled]
    caches.keep_values(folder, FILE, _code(), told)


def _rows(one: Card) -> tuple[list[str], list[tuple[Any, ...]], int]:
    # An animal that was given back an earlier name has it last, so that the names say what it is called now.
    names = [*one.names, one.id]
    rows = [
        (e.n, e.kind, e.on.text, e.sure, e.words, e.number, e.note, e.by, e.sac.text if e.sac else "")
        for e in one.entries
    ]
    return names, rows, one.records


@cache
def _code() -> bytes:
    return caches.code((journal, animals, session))
