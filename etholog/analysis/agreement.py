"""Agreement of two records of one session: onsets matched one to one, and time units in which both say the same.

scipy's assignment has no tolerance that keeps a pair apart, and needs a table of every onset against every other; it
is the reference in the tests.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns
from etholog.analysis.columns import number
from etholog.base import notebook
from etholog.base.refusal import Refusal
from etholog.season import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_BINS = 1 << 18  # of lags between two records, while the shift between their clocks is looked for
_TRIED = 3  # shifts
_NAMES = 60  # states whose numbers fit in one integer
NO_BOUTS = pd.DataFrame(
    {name: np.zeros(0, dtype=kind) for name, kind in zip(("onset", "offset", "state", "whole"), "qq??", strict=True)}
)  # the bouts of a behaviour that a record does not have


@dataclass(frozen=True)
class Agreement:
    """How far two records agree. NaN: not defined."""

    table: pd.DataFrame
    """Index: behaviour, with its qualifier. first, second: onsets in each record. matched. agreed: matched / (matched
    + not matched). kappa: over time units, of states. difference_s: of matched bouts of states that both saw whole,
    the mean of second less first duration; low_s, high_s: its 95 % limits of agreement (Bland & Altman 1986)."""
    kappa: float
    """Cohen's kappa over time units watched by both, all states that run at a time being one code."""
    matched: int
    """Onsets matched."""
    shift_s: float
    """By how much the second record was shifted to an earlier time, in seconds."""
    agreed: float
    """Matched onsets, as a share of all that either recorded while both watched."""
    difference_s: float
    """The mean of second less first duration, over all behaviours."""
    low_s: float
    """The lower limit of agreement of these differences."""
    high_s: float
    """The upper limit of agreement of these differences."""
    watched_s: float = np.nan
    """Seconds that both watched; kappa rests on the time units that begin in them."""
    unwatched_s: float = np.nan
    """Seconds up to the end of the longer record that one of the two, or neither, watched."""
    silent_s: float = np.nan
    """Seconds that both watched and in which neither recorded a running state: kappa counts them as agreement."""
    outside: int = 0
    """Onsets left out, since the other observer was not watching."""
    pairs: pd.DataFrame = field(default_factory=lambda: _pairs({}))
    """One row for each matched bout of a state that both saw whole: behaviour, with its qualifier, and how long it was
    in each record, first_s and second_s."""

    def _repr_html_(self) -> str:
        kappa = "not defined" if np.isnan(self.kappa) else f"{self.kappa:.3f}"
        return notebook.html(f"{self.matched} onsets matched; kappa {kappa}.", self.table)


@dataclass(frozen=True)
class Record:
    """One observer's record in whole milliseconds. `bouts`: name, state, onset, offset, whole. `watched`: (spans, 2),
    from and to; None where it is not known."""

    bouts: pd.DataFrame
    watched: Ints | None

    def shifted(self, by: int) -> "Record":
        """Return the record with all that it says so many milliseconds earlier."""
        bouts = self.bouts.assign(onset=self.bouts["onset"] - by, offset=self.bouts["offset"] - by)
        return Record(bouts, None if self.watched is None else self.watched - by)


def agreement(
    first: pd.DataFrame | Season,
    second: pd.DataFrame | Season,
    tolerance_s: float = 1.0,
    unit_s: float = 1.0,
    align: bool = False,
    watched: pd.DataFrame | None = None,
) -> Agreement:
    """Return how far two records of one session agree, by events and by time (Bakeman, Quera & Gnisci 2009).

    Parameters
    ----------
    first, second
        Tables of bouts of one session: behaviour, onset_s, offset_s, and where they are known kind, qualifier and
        whole; or seasons of one session, whose gaps are then left out.
    tolerance_s
        Onsets of one behaviour that lie so near, in seconds (0.001 or more), may be matched. The matching is one of
        the largest, and among these one of least total distance.
    unit_s
        The time unit of kappa, in seconds, 0.001 or more. Units follow one another and are not independent: kappa
        describes, and has no standard error.
    align
        First take out the shift between the two clocks: the median of the differences of the onsets that are matched
        at the shift at which most of them meet.
    watched
        onset_s, offset_s: the spans that both watched, by the first record's clock. Without it, what the seasons say,
        or all of it up to the last offset.

    Returns
    -------
    Agreement
        See its fields.

    Raises
    ------
    Refusal
        Where a table lacks a column or holds what is not a time, holds two sessions, or where a tolerance or unit is
        not a time.

    References
    ----------
    Cohen 1960, Educ. Psychol. Meas. 20:37; Bakeman, Quera & Gnisci 2009, Behav. Res. Methods 41:137; Bland & Altman
    1986, Lancet 327:307.

    Examples
    --------
    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> bouts = season.bouts[season.bouts["session"] == season.sessions["session"].iloc[0]]
    >>> etholog.agreement(bouts, bouts).kappa
    1.0
    """
    tolerance = round(number(tolerance_s, "tolerance_s", 0.001) * 1000)
    unit = round(number(unit_s, "unit_s", 0.001) * 1000)
    one, two = _record(first), _record(second)
    shift = _shift(one.bouts, two.bouts, tolerance) if align else 0
    two = two.shifted(shift)
    spans = [one.watched, two.watched] if watched is None else [_spans(watched)]
    known = [span for span in spans if span is not None]
    both = _watched_units(one, two, known, unit)
    inside = [_inside(known, r.bouts["onset"].to_numpy()) for r in (one, two)]
    a, b = (r.bouts[own] for r, own in zip((one, two), inside, strict=True))
    rows: dict[str, dict[str, float]] = {}
    lengths: dict[str, Floats] = {}
    known_of, all_of = [_by_name(table) for table in (a, b)], [_by_name(r.bouts) for r in (one, two)]
    for name in sorted({*known_of[0], *known_of[1]}):
        his, hers = (of.get(name, NO_BOUTS) for of in known_of)
        pairs = match(his["onset"].to_numpy(), hers["onset"].to_numpy(), tolerance)
        state = bool(his["state"].any() or hers["state"].any())
        lengths[name] = _lengths(his, hers, pairs) if state else np.zeros((0, 2))
        apart = lengths[name][:, 1] - lengths[name][:, 0]
        row: dict[str, float] = {"first": len(his), "second": len(hers), "matched": len(pairs)}
        row |= {"agreed": len(pairs) / (len(his) + len(hers) - len(pairs)), "kappa": np.nan}
        if state:
            on = [_running(of.get(name, NO_BOUTS), unit, len(both))[both] for of in all_of]
            row["kappa"] = kappa(_cross(on[0], on[1], 2))
        rows[name] = row | dict(zip(("difference_s", "low_s", "high_s"), limits_of_agreement(apart), strict=True))
    heads = ["first", "second", "matched", "agreed", "kappa", "difference_s", "low_s", "high_s"]
    table = pd.DataFrame.from_dict(rows, orient="index", columns=heads)
    table.index.name = "behaviour"
    matched = sum(int(row["matched"]) for row in rows.values())
    union = len(a) + len(b) - matched
    both_saw = _pairs(lengths)
    watched_ms, unwatched_ms, silent_ms = _times(one, two, known)
    return Agreement(
        table,
        kappa(_unit_tables([(one, two, both)], unit)[0]),
        matched,
        shift / 1000,
        matched / union if union else np.nan,
        *limits_of_agreement((both_saw["second_s"] - both_saw["first_s"]).to_numpy()),
        watched_ms / 1000,
        unwatched_ms / 1000,
        silent_ms / 1000,
        sum(int((~own).sum()) for own in inside),
        both_saw,
    )


def match(first: Ints, second: Ints, tolerance: int) -> list[tuple[int, int]]:
    """Match instants (sorted, ms) one to one within the tolerance: as many as can be, and among all such matchings one
    whose distances add up to the least.

    On a line no two pairs of such a matching need to cross, so it is found in the order of time. Where a crowd of
    instants holds as many of both, all within the tolerance in their order, that order is it.
    """
    together = np.concatenate([first, second])
    order = np.argsort(together, kind="stable")
    crowd = np.zeros(len(order), dtype=np.int64)
    crowd[order] = np.cumsum(np.diff(together[order], prepend=together[order[:1]]) > tolerance)
    ours, theirs = crowd[: len(first)], crowd[len(first) :]
    count = int(crowd.max(initial=-1)) + 1
    many, others = np.bincount(ours, minlength=count), np.bincount(theirs, minlength=count)
    begin, start = np.cumsum(many) - many, np.cumsum(others) - others
    even = many == others
    i = np.flatnonzero(even[ours])
    j = start[ours[i]] + i - begin[ours[i]]
    far = np.abs(first[i] - second[j]) > tolerance
    even[ours[i[far]]] = False
    plain = even[ours[i]]
    pairs = list(zip(i[plain].tolist(), j[plain].tolist(), strict=True))
    for at in np.flatnonzero(~even & (many > 0) & (others > 0)):
        own = slice(begin[at], begin[at] + many[at]), slice(start[at], start[at] + others[at])
        found = _least(first[own[0]].tolist(), second[own[1]].tolist(), tolerance)
        pairs += [(begin[at] + one, start[at] + other) for one, other in found]
    return sorted((int(one), int(other)) for one, other in pairs)


def _least(first: list[int], second: list[int], tolerance: int) -> list[tuple[int, int]]:
    """Return the best matching of one crowd. `best[j]` is that of the instants so far with the first j of the others:
    how many pairs, and less their distance; it changes only within the window of the tolerance."""
    best = [(0, 0)] * (len(second) + 1)
    chosen: list[tuple[int, bytearray]] = []  # of each instant, its window's start, and 0: the same as without the
    low = high = 0  # other, 1: the same as without this, 2: the pair
    for instant in first:
        while low < len(second) and second[low] < instant - tolerance:
            low += 1
        before = high
        while high < len(second) and second[high] <= instant + tolerance:
            high += 1
        for j in range(max(before, low), high):
            best[j + 1] = best[j]
        how = bytearray(max(0, high - low))
        diagonal = best[low]
        for j in range(low, high):
            above = best[j + 1]
            paired = (diagonal[0] + 1, diagonal[1] - abs(second[j] - instant))
            now, way = (best[j], 0) if best[j] >= above else (above, 1)
            if paired > now:
                now, way = paired, 2
            best[j + 1], how[j - low], diagonal = now, way, above
        chosen.append((low, how))
    pairs = []
    i, j = len(first) - 1, len(second) - 1
    while i >= 0 and j >= 0:
        start, how = chosen[i]
        if j >= start + len(how):
            j = start + len(how) - 1
        elif j < start or how[j - start] == 1:
            i -= 1
        elif how[j - start] == 2:
            pairs.append((i, j))
            i, j = i - 1, j - 1
        else:
            j -= 1
    return pairs


def kappa(table: Floats) -> float:
    """Return Cohen's kappa (Cohen 1960) of a square table of counts; NaN where both used one and the same code
    throughout."""
    total = table.sum()
    if not total:
        return np.nan
    agreed = float(np.trace(table) / total)
    chance = float((table.sum(axis=0) * table.sum(axis=1)).sum() / total**2)
    return (agreed - chance) / (1 - chance) if chance < 1 else np.nan


def limits_of_agreement(apart: Floats) -> tuple[float, float, float]:
    """Return the mean of differences and its 95 % limits of agreement, mean -+ 1.96 standard deviations (Bland &
    Altman 1986); NaN where there are none, and without limits where all are alike or there is only one."""
    mean = float(apart.mean()) if len(apart) else np.nan
    half = 1.96 * float(apart.std(ddof=1)) if len(apart) > 1 and np.ptp(apart) > 1e-9 else np.nan
    return mean, mean - half, mean + half


def unit_table(pairs: Sequence[tuple[Season, Season]], shifts_s: Sequence[float], unit_s: float) -> list[Floats]:
    """Return for each pair of records the table of time units watched by both: the code in the first record down, that
    in the second across, the same codes for all pairs."""
    unit = round(unit_s * 1000)
    each = []
    for (first, second), shift in zip(pairs, shifts_s, strict=True):
        one, two = _record(first), _record(second).shifted(round(shift * 1000))
        known = [record.watched for record in (one, two) if record.watched is not None]
        each.append((one, two, _watched_units(one, two, known, unit)))
    return _unit_tables(each, unit)


def _watched_units(one: Record, two: Record, known: list[Ints], unit: int) -> Bools:
    """Return for each time unit up to the end of the longer record whether both watched it."""
    return _inside(known, np.arange(0, _end(one, two, known), unit))


def _times(one: Record, two: Record, known: list[Ints]) -> tuple[int, int, int]:
    """Return for how long (ms) both watched, up to the end of the longer record one of them did not, and both watched
    while neither recorded a running state."""
    states = [record.bouts.loc[record.bouts["state"], ["onset", "offset"]].to_numpy() for record in (one, two)]
    edges = np.unique(np.concatenate([span.reshape(-1) for span in (*known, *states)] + [[0, _end(one, two, known)]]))
    edges = edges[edges >= 0]
    both, silent = _inside(known, edges[:-1]), ~_inside([np.concatenate(states)], edges[:-1])
    long = np.diff(edges)
    return int(long[both].sum()), int(long[~both].sum()), int(long[both & silent].sum())


def _record(given: pd.DataFrame | Season) -> Record:
    watched = None
    if isinstance(given, Season):
        if len(given.sessions) != 1:
            raise Refusal(f"{given.folder}: {len(given.sessions)} sessions; give the record of one session")
        gaps = given.gaps[["onset_s", "offset_s"]].to_numpy(dtype=float).reshape(-1)
        edges = np.concatenate([[0.0], gaps, given.sessions["length_s"].to_numpy(dtype=float)])
        watched, given = (np.round(edges * 1000).astype(np.int64).reshape(-1, 2)), given.bouts
    bouts = columns.table(given, "behaviour", "onset_s", "offset_s")
    columns.labels(bouts, "behaviour")
    if "session" in bouts.columns:
        columns.labels(bouts, "session", holes=True)
    if "session" in bouts.columns and bouts["session"].nunique() > 1:
        one, other = bouts["session"].drop_duplicates().iloc[:2]
        raise Refusal(f"column 'session': {one} and {other}, two sessions in one table; give the bouts of one")
    names = bouts["behaviour"].astype(str)
    if "qualifier" in bouts.columns:
        side = bouts["qualifier"].astype(object)
        names = names.where(side.isna(), names + ":" + side.astype(str))
    onset, offset = (
        np.round(columns.seconds(bouts, name, -np.inf) * 1000).astype(np.int64) for name in ("onset_s", "offset_s")
    )
    if (offset < onset).any():
        row = int(np.flatnonzero(offset < onset)[0])
        raise Refusal(f"column 'offset_s', row {row}: {offset[row] / 1000:g} is before the onset")
    made = {"name": names.to_numpy(), "onset": onset, "offset": offset}
    state = (bouts["kind"].astype(str) == "state").to_numpy() if "kind" in bouts.columns else True
    whole = columns.flags(bouts, "whole") if "whole" in bouts.columns else True
    return Record(pd.DataFrame({**made, "state": state, "whole": whole}), watched)


def _spans(watched: pd.DataFrame) -> Ints:
    rows = columns.table(watched, "onset_s", "offset_s")
    spans = np.stack([columns.seconds(rows, name) for name in ("onset_s", "offset_s")], axis=1)
    return np.round(spans * 1000).astype(np.int64)


def _by_name(bouts: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Return the bouts of each behaviour, in the order of their onsets."""
    return {str(name): own for name, own in bouts.sort_values("onset", kind="stable").groupby("name")}


def _end(one: Record, two: Record, known: list[Ints]) -> int:
    ends = (record.bouts["offset"].to_numpy() for record in (one, two))
    return max(int(of.max(initial=0)) for of in (*ends, *known))


def _inside(known: list[Ints], instants: Ints) -> Bools:
    """Return which instants lie within a span of each of these lists."""
    out = np.ones(len(instants), dtype=bool)
    for spans in known:
        begun = np.searchsorted(np.sort(spans[:, 0]), instants, side="right")
        out &= begun > np.searchsorted(np.sort(spans[:, 1]), instants, side="right")
    return out


def _shift(one: pd.DataFrame, two: pd.DataFrame, tolerance: int) -> int:
    """Return the shift (ms) at which most onsets meet, and then the median of the differences of those matched."""
    ours, theirs = (_by_name(table) for table in (one, two))
    onsets = [(ours[n]["onset"].to_numpy(), theirs[n]["onset"].to_numpy()) for n in sorted(ours.keys() & theirs.keys())]
    if not onsets:
        return 0
    wide = max(1, 2 * tolerance, -(-max(int(b[-1] - a[0]) - int(b[0] - a[-1]) for a, b in onsets) // _BINS))
    tried = {0, *(_crowded(onsets, start, wide, tolerance) for start in _likely(onsets, wide))}

    def pairs(shift: int) -> Ints:
        found = [(a, b, match(a, b - shift, tolerance)) for a, b in onsets]
        return np.array([b[j] - a[i] for a, b, matched in found for i, j in matched], dtype=np.int64)

    best = min(tried, key=lambda shift: (-len(pairs(shift)), abs(shift)))
    for _ in range(10):
        differences = pairs(best)
        middle = int(np.median(differences)) if len(differences) else best
        if middle == best:
            break
        best = middle
    return best


def _likely(onsets: list[tuple[Ints, Ints]], wide: int) -> list[int]:
    """Return where the most crowded bins of lags begin, by counting all lags at once (a correlation of two rows of
    bins, by Fourier transforms): a table of every onset against every other would be too large."""
    first = min(int(min(a[0], b[0])) for a, b in onsets)
    bins = (max(int(max(a[-1], b[-1])) for a, b in onsets) - first) // wide + 1
    size = 1 << (2 * bins).bit_length()
    total = np.zeros(size)
    for a, b in onsets:
        ours, theirs = (np.fft.rfft(np.bincount((x - first) // wide, minlength=bins), size) for x in (a, b))
        total += np.fft.irfft(theirs * np.conj(ours), size)
    crowd = total + np.roll(total, -1)  # a lag may fall in either of two bins
    top = np.argsort(-np.round(crowd), kind="stable")[:_TRIED]
    return [(int(lag) - (size if lag > bins else 0)) * wide for lag in top]


def _crowded(onsets: list[tuple[Ints, Ints]], start: int, wide: int, tolerance: int) -> int:
    """Return the middle of the most crowded window of lags, as wide as the tolerance both ways, near `start`."""
    lags = []
    for a, b in onsets:
        low, high = (np.searchsorted(b, a + edge) for edge in (start - wide, start + 2 * wide))
        many = high - low
        place = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many) + np.repeat(low, many)
        lags.append(b[place] - np.repeat(a, many))
    near = np.sort(np.concatenate(lags))
    if not len(near):
        return start
    crowd = np.searchsorted(near, near + 2 * tolerance, side="right") - np.arange(len(near))
    at = int(crowd.argmax())
    return int(np.median(near[at : at + crowd[at]]))


def _lengths(a: pd.DataFrame, b: pd.DataFrame, pairs: list[tuple[int, int]]) -> Floats:
    """Return the durations (s) of matched bouts that both saw whole, of shape (bouts, 2): the first's, the second's."""
    if not pairs:
        return np.zeros((0, 2))
    i, j = np.array(pairs).T
    lengths = [((t["offset"] - t["onset"]).to_numpy() / 1000)[at] for t, at in ((a, i), (b, j))]
    whole = a["whole"].to_numpy()[i] & b["whole"].to_numpy()[j]
    return np.asarray(np.stack(lengths, axis=1)[whole], dtype=np.float64)


def _pairs(lengths: Mapping[str, Floats]) -> pd.DataFrame:
    names = np.repeat(np.array(list(lengths), dtype=object), [len(own) for own in lengths.values()])
    first, second = np.concatenate([np.zeros((0, 2)), *lengths.values()]).T
    return pd.DataFrame({"behaviour": names, "first_s": first, "second_s": second})


def _running(bouts: pd.DataFrame, unit: int, units: int) -> Ints:
    """Return for each time unit whether the behaviour runs at its start (1) or not (0): a running sum of what begins
    and ends."""
    begin, end = (np.clip(-(-bouts[name].to_numpy() // unit), 0, units) for name in ("onset", "offset"))
    steps = np.bincount(begin, minlength=units + 1) - np.bincount(end, minlength=units + 1)
    return (np.cumsum(steps[:units]) > 0).astype(np.int64)


def _unit_tables(each: Sequence[tuple[Record, Record, Bools]], unit: int) -> list[Floats]:
    """Return for each pair of records, with the units that both watched, the table of the codes of these units: a
    number for all the states that run at the start of one, 0 for none, the same in all tables."""
    states = [[_by_name(one.bouts[one.bouts["state"].to_numpy()]) for one in pair[:2]] for pair in each]
    units = [int(both.sum()) for *_, both in each]
    code: Ints = np.zeros((2, sum(units)), dtype=np.int64)
    for at, name in enumerate(sorted({name for pair in states for own in pair for name in own})):
        if at % _NAMES == _NAMES - 1:
            code = _numbered(code)
        runs = [
            [_running(of.get(name, NO_BOUTS), unit, len(both))[both] for of in pair]
            for pair, (*_, both) in zip(states, each, strict=True)
        ]
        code = 2 * code + np.concatenate(runs, axis=1)
    code = _numbered(code)
    many = 1 + int(code.max(initial=0))
    return [_cross(part[0], part[1], many) for part in np.split(code, np.cumsum(units)[:-1], axis=1)]


def _numbered(code: Ints) -> Ints:
    """Number the codes from 0 on in their order, 0 staying 0."""
    place = np.unique(np.append(code.reshape(-1), 0), return_inverse=True)[1]
    return place[:-1].reshape(code.shape)


def _cross(a: Ints, b: Ints, k: int) -> Floats:
    return np.bincount(a * k + b, minlength=k * k).reshape(k, k).astype(np.float64)
