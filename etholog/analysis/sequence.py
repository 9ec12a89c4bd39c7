"""From a season to sequences: which onsets follow each other without a break, and counts of what follows what."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns
from etholog.analysis.blocks import BLOCK, begins, blocks, codes, instants
from etholog.analysis.design import named
from etholog.analysis.latency import is_
from etholog.season import Season

Ints = NDArray[np.integer]

NOTHING = "(nothing)"


@dataclass(frozen=True)
class Sequences:
    """Onsets in order. `names`: the behaviours that came, in the ethogram's order, and `numbers` of each its number in
    `code`. For each onset, `code` is its behaviour's number among the categories, `begins` whether an unbroken
    sequence begins with it, `session` its row in `season.sessions`."""

    names: list[str]
    numbers: Ints
    code: Ints
    begins: NDArray[np.bool_]
    session: Ints

    def counts(self, lag: int = 1, group: Ints | None = None) -> NDArray[np.int64]:
        """Return (k, k) counts, in the order of `names`, of what comes `lag` onsets later in the same sequence; or
        (groups, k, k), `group` numbering the rows of `season.sessions` from 0, -1 for none."""
        k = int(self.numbers.max(initial=-1)) + 1
        groups = 0 if group is None else int(group.max(initial=-1)) + 1
        out = np.zeros((groups + 1) * k * k, dtype=np.int64)
        for part in blocks(len(self.code) - lag, len(out)):
            later = [slice(part.start + step, part.stop + step) for step in range(1, lag + 1)]
            key = self.code[part].astype(np.intp)
            key *= k
            key += self.code[later[-1]]
            if group is not None:
                key += (group[self.session[part]] + 1) * (k * k)
            # Few pairs reach across a break, so it is less work to take them away again than to pick the others.
            apart = np.logical_or.reduce([self.begins[one] for one in later])
            out += np.bincount(key, minlength=len(out))
            out -= np.bincount(key[apart], minlength=len(out))
        tables = out.reshape(groups + 1, k, k)[:, self.numbers[:, None], self.numbers]
        return tables[0] if group is None else tables[1:]

    def runs(self) -> list[Ints]:
        """Return the unbroken sequences, each as an array of places in `names`."""
        return np.split(_places(self.numbers)[self.code], np.flatnonzero(self.begins)[1:]) if len(self.code) else []


def of(
    season: Season,
    *,
    actor: str | None = None,
    repeats: bool = False,
    longest_pause_s: float | None = None,
    sessions: Sequence[str] | None = None,
) -> Sequences:
    """Return the sequences of onsets, of one actor or of all.

    They break at gaps, when an animal (with `actor`: that one) goes out of sight, and where the next onset comes
    later than `longest_pause_s`. Without `repeats`, a behaviour that comes again at once counts as one (Slater 1973).
    """
    bouts = columns.season(season).bouts
    place, onset = codes(bouts["session"]), bouts["onset_s"].to_numpy()
    wanted = ~bouts["hides"].to_numpy()
    if actor is not None:
        wanted &= is_(bouts["actor"], actor)
    if sessions is not None:
        wanted &= bouts["session"].isin(columns.words(sessions, "sessions")).to_numpy()
    stretch = breaks(season, actor)
    if wanted.all():
        code = codes(bouts["behaviour"])
    else:
        code, place, onset = codes(bouts["behaviour"])[wanted], place[wanted], onset[wanted]
        stretch = None if stretch is None else stretch[wanted]
    new = begins(place)
    if stretch is not None:
        new[1:] |= stretch[1:] != stretch[:-1]
    if longest_pause_s is not None:
        new[1:] |= np.diff(onset) > longest_pause_s
    if not repeats and len(code):
        kept = new.copy()
        kept[1:] |= code[1:] != code[:-1]
        code, place, new = code[kept], place[kept], new[kept]
    return Sequences(*_came(season, bouts["behaviour"].cat.categories, code), code, new, place)


def answers(season: Season, actor: str, other: str, within_s: float) -> pd.DataFrame:
    """Count, for each onset of `actor` (down), what `other` begins first within so many seconds after it (across),
    or '(nothing)'. What began at the same instant is no answer. Onsets without an answer whose span was not watched
    whole (the session's end, a gap, `other` out of sight) are left out: nothing can be said of them."""
    bouts, gaps = season.bouts, season.gaps
    seen = ~bouts["hides"].to_numpy()
    place, onset = codes(bouts["session"]), bouts["onset_s"].to_numpy()
    behaviour, categories = codes(bouts["behaviour"]), bouts["behaviour"].cat.categories
    first, second = (np.flatnonzero(seen & is_(bouts["actor"], who)) for who in (actor, other))
    hiding = bouts["hides"].to_numpy() & is_(bouts["actor"], other)
    blind_place = np.concatenate([place[hiding], codes(gaps["session"])])
    blind_from = np.concatenate([onset[hiding], gaps["onset_s"].to_numpy()])
    blind_to = np.concatenate([bouts["offset_s"].to_numpy()[hiding], gaps["offset_s"].to_numpy()])
    now = onset[first]
    until = np.minimum(
        season.sessions["length_s"].to_numpy(dtype=float)[place[first]],
        np.where(_running(blind_place, blind_from, blind_to, place[first], now), now, np.inf),
    )
    until = np.minimum(until, _next(blind_place, blind_from, place[first], now)[0])
    came, at = _next(place[second], onset[second], place[first], now)
    answered = (came <= now + within_s + 1e-9) & (came <= until)
    known = answered | (until >= now + within_s - 1e-9)
    rows, row_numbers = _came(season, categories, behaviour[first])
    nexts, column_numbers = _came(season, categories, behaviour[second])
    across = np.full(len(first), len(nexts), dtype=np.int64)
    across[answered] = _places(column_numbers)[behaviour[second[at[answered]]]]
    wide = len(nexts) + 1
    cell = (_places(row_numbers)[behaviour[first]].astype(np.int64) * wide + across)[known]
    table = np.bincount(cell, minlength=len(rows) * wide).reshape(len(rows), wide)
    return pd.DataFrame(table, index=rows, columns=[*nexts, NOTHING])


def _next(place: Ints, start: NDArray[np.float64], in_: Ints, after: NDArray[np.float64]) -> tuple[Any, Any]:
    """Return, for each instant `after` in session `in_`, the first `start` later than it there (infinite: none), and
    its place in `start`."""
    if not len(start):
        return np.full(len(after), np.inf), np.zeros(len(after), dtype=np.intp)
    order = np.argsort(instants(place, start), kind="stable")
    key = instants(place, start)[order]
    at = np.minimum(np.searchsorted(key, instants(in_, after), side="right"), len(order) - 1)
    found = order[at]
    there = (place[found] == in_) & (start[found] > after)
    return np.where(there, start[found], np.inf), found


def _running(
    place: Ints, start: NDArray[np.float64], end: NDArray[np.float64], in_: Ints, now: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Return whether one of the spans runs at each instant `now` of session `in_`."""
    begun = np.searchsorted(np.sort(instants(place, start)), instants(in_, now), side="right")
    ended = np.searchsorted(np.sort(instants(place, end)), instants(in_, now), side="right")
    return np.asarray(begun > ended)


def impossible(season: Season, names: list[str]) -> NDArray[np.bool_]:
    """Return which of `names` (down) can't be followed at once by which (across), by every ethogram that knows both.

    A behaviour can't follow itself where repeats count as one. What makes sense only within a state can't follow
    what ends that state, when that state's own onset would have to be counted in between.
    """
    out = np.eye(len(names), dtype=bool)
    place = {name: at for at, name in enumerate(names)}
    forbidden: dict[tuple[int, int], bool] = {}
    for kept in season.ethograms.values():
        for one in kept.behaviour:
            for other in kept.behaviour:
                if one.code in place and other.code in place and one is not other:
                    barred = other.within in one.ends and other.within in place
                    cell = place[one.code], place[other.code]
                    forbidden[cell] = forbidden.get(cell, True) and barred
    for cell, barred in forbidden.items():
        out[cell] = barred
    return out


def groups(season: Season, by: str) -> tuple[list[Any], NDArray[np.int64]]:
    """Return the values of a column of `season.sessions` and for each session the number of its own, -1 for none."""
    sessions = columns.table(columns.season(season).sessions, columns.word(by, "by"))
    number, values = pd.factorize(sessions[by].astype(object).where(named(sessions[by])), sort=True)
    return list(values), number.astype(np.int64)


def _came(season: Season, categories: pd.Index, code: Ints) -> tuple[list[str], Ints]:
    """Return the names that come in `code`, in the order of the ethogram, and the number that each has there."""
    came = np.bincount(code[:BLOCK], minlength=len(categories)) > 0
    for rare in np.flatnonzero(~came):
        came[rare] = (code == rare).any()
    names = in_order(season, [str(name) for name in categories[came]])
    return names, np.asarray(categories.get_indexer(pd.Index(names, dtype=object)))


def _places(numbers: Ints) -> Ints:
    """Return for each number its place among `numbers`."""
    out = np.full(numbers.max(initial=-1) + 1, -1, dtype=np.int16)
    out[numbers] = np.arange(len(numbers))
    return out


def in_order(season: Season, names: list[str]) -> list[str]:
    """Return the names in the order of the ethogram; those that it does not know last."""
    told = [b.code for kept in season.ethograms.values() for b in kept.behaviour]
    place = {name: at for at, name in reversed(list(enumerate(told)))}
    return sorted(names, key=lambda name: place.get(name, len(told)))


def breaks(season: Season, actor: str | None) -> Ints | None:
    """Number the stretches that sequences must not reach across, for each bout; None where there is only one."""
    bouts = season.bouts
    hides = bouts["hides"].to_numpy()
    if actor in ("male", "female"):
        hides = hides & is_(bouts["actor"], str(actor))
    if not hides.any() and season.gaps.empty:
        return None
    new = hides.astype(np.int32)
    if len(season.gaps):
        key = instants(codes(bouts["session"]), bouts["onset_s"].to_numpy())
        gaps = instants(codes(season.gaps["session"]), season.gaps["offset_s"].to_numpy())
        after = np.searchsorted(key, np.sort(gaps))
        np.add.at(new, after[after < len(new)], 1)
    return np.cumsum(new, dtype=np.int32)
