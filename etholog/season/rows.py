"""What sessions come to, column by column: the one form from which a season's tables are made, cached
or not."""

from array import array
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from etholog.ethogram import Ethogram
from etholog.session import Copy, Session, closing

_BEGINNING = datetime(1970, 1, 1, tzinfo=UTC)

Numbers = dict[str, NDArray[Any]]


TEXT_COLUMNS = (
    "name", "id", "male", "female", "species", "observer", "place", "source", "record_of", "conditions", "outcome",
    "findings",
)  # fmt: skip
NUMBER_COLUMNS = (
    "began_us", "utc_offset_min", "ethogram", "end", "unwatched", "hidden", "marks", "closed", "bouts", "gaps",
    "records",
)  # fmt: skip


@dataclass(frozen=True)
class Rows:
    """Columns of sessions, of their bouts, and of their gaps, all in one order; times are in milliseconds.

    `said`, by the names in `TEXT_COLUMNS`: the file's name, the header's words, `findings` as (what, remedy, line,
    record) each (their path follows from the name). `counted`, by the names in `NUMBER_COLUMNS`: `ethogram` is a number
    in `ethograms`, `bouts` and `gaps` are how many rows of those are the session's.
    `bouts`: code and qualifier (numbers in `codes` and `qualifiers`; no qualifier: -1), onset, offset, whole, sure, n.
    `gaps`: onset, offset, why (a number in `whys`).
    """

    said: dict[str, list[Any]]
    counted: Numbers
    ethograms: list[Ethogram]
    codes: list[str]
    qualifiers: list[str]
    whys: list[str]
    bouts: Numbers
    gaps: Numbers

    def __len__(self) -> int:
        return len(self.said["name"])


class Codes(dict[str, int]):
    """Numbers for words as they come, so that no column ever holds a million strings."""

    def __init__(self, words: Iterable[str] = ()) -> None:
        super().__init__((word, number) for number, word in enumerate(words))

    def __missing__(self, word: str) -> int:
        return self.setdefault(word, len(self))


def copies(of: Rows) -> list[Copy]:
    """Return what tells which of the sessions count."""
    records, outcomes = of.counted["records"].tolist(), of.said["outcome"]
    told = zip(of.said["id"], of.said["record_of"], records, outcomes, strict=True)
    return [Copy(id_, record_of, each, closing.is_accident(outcome)) for id_, record_of, each, outcome in told]


def species(said: Mapping[str, Sequence[Any]], known: Mapping[str, str]) -> list[str]:
    """Return each session's species; where nobody said it, that of her, or of him, as `known` by their names."""
    rows = zip(said["species"], said["female"], said["male"], strict=True)
    return [own or known.get(her, "") or known.get(his, "") for own, her, his in rows]


def gather(found: Iterable[Session]) -> Rows:
    """Put sessions into columns, in the order given."""
    said: list[tuple[Any, ...]] = []
    counted: list[tuple[int, ...]] = []
    ethograms: dict[int, tuple[int, Ethogram]] = {}  # each is one object, however many sessions share it
    codes, qualifiers, whys = Codes(), Codes(), Codes()
    code, qualifier, whole, sure = array("h"), array("h"), bytearray(), bytearray()
    onset, offset, number = array("q"), array("q"), array("i")
    gap_onset, gap_offset, why = array("q"), array("q"), array("i")
    for one in found:
        kept = ethograms.setdefault(id(one.ethogram), (len(ethograms), one.ethogram))[0]
        bouts, gaps = one.fold.bouts, one.fold.gaps
        said.append(_said(one))
        counted.append(_counted(one, kept))
        if bouts:
            numbers, words, qualified, onsets, offsets, wholes, sures = zip(*bouts, strict=True)
            code.extend(map(codes.__getitem__, words))
            qualifier.extend([-1 if word is None else qualifiers[word] for word in qualified])
            onset.extend(onsets)
            offset.extend(offsets)
            whole += bytes(wholes)
            sure += bytes(sures)
            number.extend(numbers)
        gap_onset.extend([gap.onset for gap in gaps])
        gap_offset.extend([gap.offset for gap in gaps])
        why.extend([whys[gap.why] for gap in gaps])
    return Rows(
        dict(zip(TEXT_COLUMNS, map(list, zip(*said, strict=True)), strict=True))
        if said
        else {name: [] for name in TEXT_COLUMNS},
        dict(zip(NUMBER_COLUMNS, np.array(counted, dtype=np.int64).reshape(-1, len(NUMBER_COLUMNS)).T, strict=True)),
        [ethogram for _, ethogram in ethograms.values()],
        list(codes),
        list(qualifiers),
        list(whys),
        {
            "code": np.asarray(code),
            "qualifier": np.asarray(qualifier),
            "onset": np.asarray(onset),
            "offset": np.asarray(offset),
            "whole": np.frombuffer(whole, dtype=bool),
            "sure": np.frombuffer(sure, dtype=bool),
            "n": np.asarray(number),
        },
        {"onset": np.asarray(gap_onset), "offset": np.asarray(gap_offset), "why": np.asarray(why)},
    )


def _said(one: Session) -> tuple[Any, ...]:
    header = one.header
    findings = [(found.what, found.remedy, found.line, found.record) for found in one.findings]
    words = [header[name] for name in ("male", "female", "species", "observer", "place", "source")]
    return (one.path.name, one.id, *words, header.get("record_of"), header["conditions"], one.fold.outcome, findings)


def microseconds(at: datetime) -> int:
    """Return an instant as the microseconds since 1970 began, UTC."""
    return (at - _BEGINNING) // timedelta(microseconds=1)


def _counted(one: Session, ethogram: int) -> tuple[int, ...]:
    folded = one.fold
    apart = one.began.utcoffset() or timedelta()
    return (
        microseconds(one.began),
        int(apart.total_seconds() // 60),
        ethogram,
        folded.end,
        sum(gap.offset - gap.onset for gap in folded.gaps),
        _hidden(one),
        folded.marks,
        folded.closed,
        len(folded.bouts),
        len(folded.gaps),
        len(one.records),
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
    if list(order) == list(range(len(rows))):
        return rows
    at = np.asarray(order, dtype=np.intp)

    def picked(columns: Numbers, lengths: NDArray[np.int64]) -> Numbers:
        starts = np.cumsum(lengths) - lengths
        own = lengths[at]
        places = np.arange(int(own.sum())) + np.repeat(starts[at] - (np.cumsum(own) - own), own)
        return {name: column[places] for name, column in columns.items()}

    return replace(
        rows,
        said={name: [column[place] for place in order] for name, column in rows.said.items()},
        counted={name: column[at] for name, column in rows.counted.items()},
        bouts=picked(rows.bouts, rows.counted["bouts"]),
        gaps=picked(rows.gaps, rows.counted["gaps"]),
    )


def only(rows: Rows, wanted: Sequence[Collection[str]]) -> Rows:
    """Return the rows with the bouts of some behaviours alone; `wanted`: their codes, by the number of the ethogram."""
    told = np.array([[code in codes for code in rows.codes] for codes in wanted], dtype=bool)
    told = told.reshape(len(wanted), len(rows.codes))
    place = np.repeat(np.arange(len(rows)), rows.counted["bouts"])
    kept = told[rows.counted["ethogram"][place], rows.bouts["code"]]
    return replace(
        rows,
        counted=rows.counted | {"bouts": np.bincount(place[kept], minlength=len(rows))},
        bouts={name: column[kept] for name, column in rows.bouts.items()},
    )


def join(first: Rows, second: Rows) -> Rows:
    """Return both, the second's sessions after the first's."""
    ethograms = list(first.ethograms)
    place = {kept.hash: at for at, kept in enumerate(ethograms)}
    for kept in second.ethograms:
        if place.setdefault(kept.hash, len(ethograms)) == len(ethograms):
            ethograms.append(kept)
    number = np.array([place[kept.hash] for kept in second.ethograms], dtype=np.int64)
    said = {name: column + second.said[name] for name, column in first.said.items()}
    counted = second.counted | {"ethogram": number[second.counted["ethogram"]]}
    bouts, gaps = dict(second.bouts), dict(second.gaps)
    codes = _renumber(bouts, "code", first.codes, second.codes)
    qualifiers = _renumber(bouts, "qualifier", first.qualifiers, second.qualifiers)
    whys = _renumber(gaps, "why", first.whys, second.whys)
    stacked = (_stacked(*both) for both in ((first.counted, counted), (first.bouts, bouts), (first.gaps, gaps)))
    counted, bouts, gaps = stacked
    return Rows(said, counted, ethograms, codes, qualifiers, whys, bouts, gaps)


def _renumber(columns: Numbers, name: str, own: list[str], other: list[str]) -> list[str]:
    """Turn numbers in `other` into numbers in both lists of words, and return both."""
    known = Codes(own)
    # The last place stands for -1, none.
    columns[name] = np.array([*(known[word] for word in other), -1], dtype=np.int32)[columns[name]]
    return list(known)


def _stacked(first: Numbers, second: Numbers) -> Numbers:
    return {name: np.concatenate([first[name], second[name]]) for name in first}
