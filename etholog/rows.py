"""What sessions come to, column by column: the one form from which a season's tables are made, cached or
not."""

from array import array
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from etholog.ethogram import Ethogram
from etholog.session import Session

_BEGINNING = datetime(1970, 1, 1, tzinfo=UTC)

Numbers = dict[str, NDArray[Any]]


class Facts(NamedTuple):
    """One session, but for its bouts and gaps, of which only the count stands here. `name` is its file's; times are in
    milliseconds; `faults` are told without the path that they begin with."""

    name: str
    id: str
    began_us: int
    offset_min: int
    male: str
    female: str
    species: str
    observer: str
    place: str
    source: str
    record_of: str | None
    conditions: dict[str, Any]
    outcome: dict[str, Any]
    ethogram: int
    end: int
    unwatched: int
    hidden: int
    marks: int
    closed: bool
    faults: list[str]
    bouts: int
    gaps: int


@dataclass(frozen=True)
class Rows:
    """Facts of each session and the bouts and gaps of all, in one order.

    `bouts`: code and qualifier (numbers in `codes` and `qualifiers`; no qualifier: -1), onset, offset, whole, sure, n.
    `gaps`: onset, offset, why (a number in `whys`).
    """

    facts: list[Facts]
    ethograms: list[Ethogram]
    codes: list[str]
    qualifiers: list[str]
    whys: list[str]
    bouts: Numbers
    gaps: Numbers


class Codes(dict[str, int]):
    """Numbers for words as they come, so that no column ever holds a million strings."""

    def __init__(self, words: Iterable[str] = ()) -> None:
        super().__init__((word, number) for number, word in enumerate(words))

    def __missing__(self, word: str) -> int:
        return self.setdefault(word, len(self))


def gather(found: Iterable[Session]) -> Rows:
    """Put sessions into columns, in the order given."""
    facts: list[Facts] = []
    ethograms: dict[int, tuple[int, Ethogram]] = {}  # each is one object, however many sessions share it
    codes, qualifiers, whys = Codes(), Codes(), Codes()
    code, qualifier, whole, sure = array("h"), array("h"), array("b"), array("b")
    onset, offset, number = array("q"), array("q"), array("i")
    gap_onset, gap_offset, why = array("q"), array("q"), array("i")
    for one in found:
        kept = ethograms.setdefault(id(one.ethogram), (len(ethograms), one.ethogram))[0]
        bouts, gaps = one.fold.bouts, one.fold.gaps
        facts.append(_facts(one, kept))
        if bouts:
            numbers, words, qualified, onsets, offsets, wholes, sures = zip(*bouts, strict=True)
            code.extend(map(codes.__getitem__, words))
            qualifier.extend([-1 if word is None else qualifiers[word] for word in qualified])
            onset.extend(onsets)
            offset.extend(offsets)
            whole.extend(wholes)
            sure.extend(sures)
            number.extend(numbers)
        gap_onset.extend([gap.onset for gap in gaps])
        gap_offset.extend([gap.offset for gap in gaps])
        why.extend([whys[gap.why] for gap in gaps])
    return Rows(
        facts,
        [ethogram for _, ethogram in ethograms.values()],
        list(codes),
        list(qualifiers),
        list(whys),
        {
            "code": np.asarray(code),
            "qualifier": np.asarray(qualifier),
            "onset": np.asarray(onset),
            "offset": np.asarray(offset),
            "whole": np.asarray(whole, dtype=bool),
            "sure": np.asarray(sure, dtype=bool),
            "n": np.asarray(number),
        },
        {"onset": np.asarray(gap_onset), "offset": np.asarray(gap_offset), "why": np.asarray(why)},
    )


def _facts(one: Session, ethogram: int) -> Facts:
    folded, header = one.fold, one.header
    apart = one.began.utcoffset() or timedelta()
    return Facts(
        one.path.name,
        one.id,
        (one.began - _BEGINNING) // timedelta(microseconds=1),
        int(apart.total_seconds() // 60),
        header["male"],
        header["female"],
        header["species"],
        header["observer"],
        header["place"],
        header["source"],
        header.get("record_of"),
        header["conditions"],
        folded.outcome,
        ethogram,
        folded.end,
        sum(gap.offset - gap.onset for gap in folded.gaps),
        _hidden(one),
        folded.marks,
        folded.closed,
        [fault.removeprefix(str(one.path)) for fault in one.faults],
        len(folded.bouts),
        len(folded.gaps),
    )


def _hidden(one: Session) -> int:
    """Return the milliseconds in which the male or the female could not be seen."""
    hiding = {b.code for b in one.ethogram.behaviour if b.hides}
    total = end = 0
    for bout in one.fold.bouts:  # by onset, so that two that overlap count once
        if bout.code in hiding:
            total += max(0, bout.offset - max(bout.onset, end))
            end = max(end, bout.offset)
    return total


def take(rows: Rows, order: Sequence[int]) -> Rows:
    """Return these sessions of the rows, in this order."""
    if list(order) == list(range(len(rows.facts))):
        return rows
    facts = [rows.facts[at] for at in order]

    def picked(columns: Numbers, count: Callable[[Facts], int]) -> Numbers:
        lengths = np.array([count(one) for one in rows.facts], dtype=np.int64)
        starts = np.cumsum(lengths) - lengths
        own = lengths[list(order)]
        at = np.arange(int(own.sum())) + np.repeat(starts[list(order)] - (np.cumsum(own) - own), own)
        return {name: column[at] for name, column in columns.items()}

    bouts, gaps = picked(rows.bouts, lambda one: one.bouts), picked(rows.gaps, lambda one: one.gaps)
    return Rows(facts, rows.ethograms, rows.codes, rows.qualifiers, rows.whys, bouts, gaps)


def join(first: Rows, second: Rows) -> Rows:
    """Return both, the second's sessions after the first's."""
    ethograms = list(first.ethograms)
    place = {kept.hash: at for at, kept in enumerate(ethograms)}
    for kept in second.ethograms:
        if place.setdefault(kept.hash, len(ethograms)) == len(ethograms):
            ethograms.append(kept)
    number = [place[kept.hash] for kept in second.ethograms]
    facts = first.facts + [one._replace(ethogram=number[one.ethogram]) for one in second.facts]
    bouts, gaps = dict(second.bouts), dict(second.gaps)
    codes = _renumber(bouts, "code", first.codes, second.codes)
    qualifiers = _renumber(bouts, "qualifier", first.qualifiers, second.qualifiers)
    whys = _renumber(gaps, "why", first.whys, second.whys)
    return Rows(facts, ethograms, codes, qualifiers, whys, _stacked(first.bouts, bouts), _stacked(first.gaps, gaps))


def _renumber(columns: Numbers, name: str, own: list[str], other: list[str]) -> list[str]:
    """Turn numbers in `other` into numbers in both lists of words, and return both."""
    known = Codes(own)
    # The last place stands for -1, none.
    columns[name] = np.array([*(known[word] for word in other), -1], dtype=columns[name].dtype)[columns[name]]
    return list(known)


def _stacked(first: Numbers, second: Numbers) -> Numbers:
    return {name: np.concatenate([first[name], second[name]]) for name in first}
