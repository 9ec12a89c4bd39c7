"""Comparing latencies between groups: males, females, species, observers, anything that a session says."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import permutation, survival
from etholog.ethogram import nearest
from etholog.refusal import Refusal


@dataclass(frozen=True)
class Comparison:
    """What a comparison of k groups gave. What could not be computed is NaN here and said in `sentence`.

    `table`: index = group; n, occurred, median_s with its limits, mean_s up to `horizon_s` and mean_se_s. `pairs`:
    each two groups, log-rank p
    and Holm's, difference of restricted means with its limits, and of the pairs of sessions that can be ordered the
    share in which the
    first came sooner.
    """

    by: str
    within: str | None
    table: pd.DataFrame
    horizon_s: float
    statistic: float
    df: int
    p: float
    permutation_p: float
    permutations: int
    exact: bool
    smallest_p: float
    permutation_error: float
    pairs: pd.DataFrame
    sentence: str

    def _repr_html_(self) -> str:
        from html import escape

        html: str = self.table.to_html()
        return f"<p>{escape(self.sentence)}</p>{html}"


def compare(
    times: pd.DataFrame, by: str, within: str | None = None, permutations: int = 10_000, seed: int = 0
) -> Comparison:
    """Compare `latency_s` (float seconds), right-censored where not `occurred` (bool), between the groups of the
    column `by`.

    Medians: Kaplan & Meier 1958 with log-log limits. Means: restricted to the shortest of the groups' longest
    times. Test: log-rank of k
    groups, stratified by `within` (Mantel 1966), and its permutation version within strata. Rows with no group are
    left out.
    """
    for column in ("latency_s", "occurred", by, *([within] if within else [])):
        if column not in times.columns:
            raise Refusal(f"no column {column!r}{nearest(column, map(str, times.columns))}")
    rows = times.dropna(subset=[by, *([within] if within else [])])
    time = rows["latency_s"].to_numpy(dtype=float)
    occurred = rows["occurred"].to_numpy(dtype=bool)
    label, names = pd.factorize(rows[by].astype(object), sort=True)
    stratum = np.zeros(len(rows), dtype=np.intp)
    if within:
        stratum = pd.factorize(rows[within].astype(object), sort=True)[0]
    ends = [time[label == g].max() for g in range(len(names))]
    horizon = float(min(ends)) if ends else np.nan
    table = _table(rows, by, time, occurred, label, names, horizon)
    nothing = permutation.Permuted(np.nan, 0, False, np.nan, 0.0)
    if len(names) < 2 or not occurred.any():
        why = "no group" if not len(names) else "only one group" if len(names) < 2 else "the behaviour never occurred"
        return Comparison(
            by, within, table, horizon, np.nan, 0, np.nan, *_fields(nothing), _pairs_of([]),
            f"{why.capitalize()}: nothing to compare.",
        )  # fmt: skip
    test = survival.log_rank(time, occurred, label, stratum)
    permuted = nothing
    if test.df and len(rows) > 1:
        found = permutation.test(survival.scores(time, occurred, stratum), label, stratum, permutations, seed)
        permuted = found
    pairs = _pairs(time, occurred, label, stratum, names, horizon)
    sentence = _sentence(rows, by, within, table, test, permuted)
    return Comparison(by, within, table, horizon, test.statistic, test.df, test.p, *_fields(permuted), pairs, sentence)


def _fields(permuted: permutation.Permuted) -> tuple[float, int, bool, float, float]:
    return permuted.p, permuted.labellings, permuted.exact, permuted.smallest_p, permuted.error


def _table(
    rows: pd.DataFrame,
    by: str,
    time: NDArray[np.float64],
    occurred: NDArray[np.bool_],
    label: NDArray[np.intp],
    names: pd.Index,
    horizon: float,
) -> pd.DataFrame:
    out = []
    for g in range(len(names)):
        own = label == g
        median, low, high = survival.quantile(survival.kaplan_meier(time[own], occurred[own]))
        mean, se = survival.restricted_mean(time[own], occurred[own], horizon)
        row = {
            "n": int(own.sum()),
            "occurred": int(occurred[own].sum()),
            "median_s": median,
            "median_low_s": low,
            "median_high_s": high,
            "mean_s": mean,
            "mean_se_s": se,
        }
        other = "female" if by == "male" else "male"
        if other in rows.columns and by in ("male", "female"):
            row[f"{other}s"] = int(rows[other][own].nunique())
        out.append(row)
    return pd.DataFrame(out, index=pd.Index(names, name=by))


def _pairs(
    time: NDArray[np.float64],
    occurred: NDArray[np.bool_],
    label: NDArray[np.intp],
    stratum: NDArray[np.intp],
    names: pd.Index,
    horizon: float,
) -> pd.DataFrame:
    out = []
    z = survival.normal_quantile(0.975)
    for one, other in combinations(range(len(names)), 2):
        both = (label == one) | (label == other)
        test = survival.log_rank(time[both], occurred[both], (label[both] == other).astype(np.intp), stratum[both])
        a, b = label == one, label == other
        mean_a, se_a = survival.restricted_mean(time[a], occurred[a], horizon)
        mean_b, se_b = survival.restricted_mean(time[b], occurred[b], horizon)
        half = z * float(np.hypot(se_a, se_b))
        sooner, later = sooner_later(time[a], occurred[a], time[b], occurred[b])
        decided = sooner + later
        out.append(
            {
                "first": names[one],
                "second": names[other],
                "p": test.p,
                "difference_s": mean_a - mean_b,
                "difference_low_s": mean_a - mean_b - half,
                "difference_high_s": mean_a - mean_b + half,
                "first_sooner": sooner / decided if decided else np.nan,
                "ordered_pairs": decided,
                "unordered_pairs": int(a.sum() * b.sum()) - decided,
            }
        )
    return _pairs_of(out)


def _pairs_of(rows: list[dict[str, object]]) -> pd.DataFrame:
    columns = ["first", "second", "p", "p_holm", "difference_s", "difference_low_s", "difference_high_s"]
    columns += ["first_sooner", "ordered_pairs", "unordered_pairs"]
    frame = pd.DataFrame(rows, columns=[name for name in columns if name != "p_holm"])
    frame.insert(3, "p_holm", holm(frame["p"].to_numpy(dtype=float)))
    return frame


def holm(p: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the p values adjusted by Holm 1979; NaN stays NaN and counts for nothing.

    Three lines: loading a library of tests for them would take a second.
    """
    out = np.full(len(p), np.nan)
    known = np.flatnonzero(np.isfinite(p))
    order = known[np.argsort(p[known], kind="stable")]
    out[order] = np.minimum(1.0, np.maximum.accumulate(p[order] * np.arange(len(order), 0, -1)))
    return out


def sooner_later(
    time_a: NDArray[np.float64],
    occurred_a: NDArray[np.bool_],
    time_b: NDArray[np.float64],
    occurred_b: NDArray[np.bool_],
) -> tuple[int, int]:
    """Return in how many pairs of sessions a came surely sooner, and in how many surely later (Gehan 1965); ties
    are neither."""
    ta, tb = time_a[:, None], time_b[None, :]
    sooner = occurred_a[:, None] & ((ta < tb) | ((ta == tb) & ~occurred_b[None, :]))
    later = occurred_b[None, :] & ((tb < ta) | ((ta == tb) & ~occurred_a[:, None]))
    return int(sooner.sum()), int(later.sum())


def _sentence(
    rows: pd.DataFrame,
    by: str,
    within: str | None,
    table: pd.DataFrame,
    test: survival.LogRank,
    permuted: permutation.Permuted,
) -> str:
    said = [
        f"{len(rows)} sessions, {int(table['occurred'].sum())} with the behaviour, in {len(table)} groups by {by}"
        + (f", compared within {within}." if within else ".")
    ]
    if not test.df:
        said.append("No two groups were ever at risk together: they can't be compared.")
    elif np.isfinite(permuted.p):
        said.append(f"Permutation p = {permuted.p:.4f},")
        if permuted.exact:
            said.append(f"exact over {permuted.labellings:,} labellings;")
            said.append(f"the smallest that this design could give is {permuted.smallest_p:.2g}.")
        else:
            said.append(f"from {permuted.labellings:,} shuffles, give or take {permuted.error:.2g}.")
    if int(table["n"].min()) < 5:
        said.append(f"The smallest group has {int(table['n'].min())}: take the differences as hints, not as facts.")
    return " ".join(said)
