"""Each two groups: how much they differ, and how sure that is."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import factor, logrank, permutation, renamed, survival, welch
from etholog.analysis import sooner as first_sooner
from etholog.analysis.distribution import t_quantile
from etholog.analysis.multiplicity import holm
from etholog.base.language import gettext, ngettext, number

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = permutation.Ints

COLUMNS = (
    "first",
    "second",
    "first_n",
    "second_n",
    "p",
    "p_holm",
    "smallest_p",
    "difference_s",
    "difference_low_s",
    "difference_high_s",
    "first_sooner",
    "first_sooner_low",
    "first_sooner_high",
    "ordered_pairs",
    "unordered_pairs",
    "times_as_fast_low",
    "times_as_fast_high",
    "why",
)
MEANS_LEAST = 4  # sessions of each for limits of a difference of means
FACTORS_AT_MOST = 45  # pairs, those of ten groups; each costs as much as a few dozen tests
_WORK = 40_000_000  # rows shuffled for all pairs together


@dataclass(frozen=True)
class Rows:
    """The sessions to be compared, as arrays (n,): time, occurred, label (the group, 0 .. k-1), stratum, and units, the
    animals whose sessions belong together, of one sex or of both."""

    time: Floats
    occurred: Bools
    label: Ints
    stratum: Ints
    units: tuple[Ints, ...]

    def of(self, which: NDArray[np.bool_]) -> "Rows":
        """Return some of the rows."""
        units = tuple(unit[which] for unit in self.units)
        return Rows(self.time[which], self.occurred[which], self.label[which], self.stratum[which], units)

    def __len__(self) -> int:
        return len(self.time)


def none() -> pd.DataFrame:
    """Return the table of no pairs."""
    return renamed.with_old_names(pd.DataFrame(columns=list(COLUMNS)), renamed.PAIRS)


def pairs(
    rows: Rows,
    names: pd.Index,
    horizon: float,
    *,
    named: bool,
    whole: bool,
    alone: bool,
    within: str | None,
    no_p: str = "",
    shuffles: int = permutation.SHUFFLES,
    seed: int = 0,
) -> pd.DataFrame:
    """Return one row for each two groups; with strata only sessions in strata that both have are compared, and only
    with sessions of the same stratum.

    first_n, second_n: sessions compared. p, p_holm: by permutation like the main test, and adjusted (Holm 1979) over
    the pairs that have a p; where the design can't give one of .05 there is none. difference_s: of the means within
    the first `horizon` seconds, first less second; limits by the jackknife, with Welch's degrees of freedom, where
    the horizon was `named` before and each has 4 sessions. first_sooner: of the ordered pairs of sessions, see
    `analysis.sooner`. times_as_fast: see `analysis.factor`; for ten groups at
    most. `whole`: the groups belong to the units, which are permuted whole. `alone`: a group's sessions count as
    independent; else no limits are known to hold. `no_p`: why none has a p. why: what is missing in the row, and for
    what reason.
    """
    couples = list(combinations(range(len(names)), 2))
    shuffles = min(shuffles, max(permutation.SHUFFLES_AT_LEAST, _WORK // max(1, len(rows) * (len(names) - 1))))
    out = []
    for one, other in couples:
        both = rows.of((rows.label == one) | (rows.label == other))
        second = (both.label == other).astype(np.intp)
        shared = np.intersect1d(both.stratum[second == 0], both.stratum[second == 1])
        inside = np.isin(both.stratum, shared)
        both, second = both.of(inside), second[inside]
        a, b = both.of(second == 0), both.of(second == 1)
        row: dict[str, object] = {"first": names[one], "second": names[other], "first_n": len(a), "second_n": len(b)}
        if not len(both):
            row["why"] = gettext("no {animal} met both", animal=gettext(str(within)))
            out.append(row)
            continue
        why = []
        test = permutation.NOTHING if no_p else _test(both, second, whole, shuffles, seed)
        row["smallest_p"] = test.smallest_p
        if test.usable:
            row["p"] = test.p
        elif no_p:
            why.append(no_p)
        elif np.isfinite(test.smallest_p):
            why.append(gettext("no p: the smallest possible is {p}", p=number(test.smallest_p, ".2g")))
        else:
            why.append(gettext("no p: nothing to compare"))
        known = all(survival.known_to(part.time, part.occurred, horizon) for part in (a, b))
        if known:
            mean_a, mean_b = (survival.restricted_mean(part.time, part.occurred, horizon)[0] for part in (a, b))
            row["difference_s"] = mean_a - mean_b
        else:
            why.append(gettext("no difference: a curve ends sooner"))
        few = min(len(a), len(b))
        if alone and named and known and few >= MEANS_LEAST:
            row["difference_low_s"], row["difference_high_s"] = _difference(a, b, mean_a - mean_b, horizon)
        count = _sooner(a, b)
        row |= {"ordered_pairs": count.ordered, "unordered_pairs": count.pairs - count.ordered}
        row["first_sooner"] = count.share
        if alone:
            row["first_sooner_low"], row["first_sooner_high"] = count.limits(len(a), len(b))
            if few >= factor.LEAST and test.usable and len(couples) <= FACTORS_AT_MOST:
                found = factor.times_as_fast(both.time, both.occurred, second, both.stratum, seed)
                row["times_as_fast_low"], row["times_as_fast_high"] = found
            if few < MEANS_LEAST:
                if few < first_sooner.LEAST:
                    why.append(ngettext("no limits: {n} session", "no limits: {n} sessions", few))
                else:
                    why.append(
                        ngettext(
                            "no limits but of first sooner: {n} session",
                            "no limits but of first sooner: {n} sessions",
                            few,
                        )
                    )
        row["why"] = "; ".join(why)
        out.append(row)
    frame = pd.DataFrame(out, columns=list(COLUMNS))
    for name in COLUMNS[4:-1]:
        frame[name] = frame[name].astype(float)
    frame["p_holm"] = holm(frame["p"].to_numpy(dtype=float))
    return renamed.with_old_names(frame, renamed.PAIRS)


def _test(rows: Rows, second: Ints, whole: bool, shuffles: int, seed: int) -> permutation.Permuted:
    if whole:
        return whole_animals(rows, second, shuffles, seed)
    if not logrank.log_rank(rows.time, rows.occurred, second, rows.stratum).df:
        return permutation.NOTHING
    statistic = logrank.statistic(rows.time, rows.occurred, rows.stratum, 2)
    return permutation.permute(statistic, second, rows.stratum, shuffles, seed)


def whole_animals(rows: Rows, group: Ints, shuffles: int, seed: int) -> permutation.Permuted:
    """Permute whole animals between groups that belong to them, by each one's sum of log-rank scores."""
    if not rows.occurred.any():
        return permutation.NOTHING
    scores = logrank.scores(rows.time, rows.occurred, rows.stratum)
    return welch.whole_animals(scores, group, rows.units, shuffles, seed)


def _difference(a: Rows, b: Rows, difference: float, horizon: float) -> tuple[float, float]:
    """Return the 95 % limits of a difference of restricted means; NaN where neither varies."""
    v1, v2 = (survival.jackknife(part.time, part.occurred, horizon) for part in (a, b))
    if v1 + v2 <= 0:
        return np.nan, np.nan
    df = (v1 + v2) ** 2 / (v1**2 / (len(a) - 1) + v2**2 / (len(b) - 1))
    half = t_quantile(0.975, df) * float(np.sqrt(v1 + v2))
    return difference - half, difference + half


def _sooner(a: Rows, b: Rows) -> first_sooner.Sooner:
    """Count the pairs of sessions within one stratum."""
    sooner = later = count = 0
    for one in np.unique(a.stratum):
        first, second = a.of(a.stratum == one), b.of(b.stratum == one)
        more, less = first_sooner.sooner_later(first.time, first.occurred, second.time, second.occurred)
        sooner, later, count = sooner + more, later + less, count + len(first) * len(second)
    return first_sooner.Sooner(sooner, later, count)
