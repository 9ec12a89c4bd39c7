"""Comparing latencies between groups: males, females, species, observers, anything that a session says."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import bootstrap, permutation, survival
from etholog.analysis.pairs import none as no_pairs
from etholog.analysis.pairs import pairs as pairs_of
from etholog.base import notebook
from etholog.base.refusal import Refusal
from etholog.base.text import nearest

PAIRED_AT_MOST = 40  # groups: beyond, a table of pairs is read by nobody


@dataclass(frozen=True)
class Comparison:
    """What a comparison of k groups gave. What could not be computed is NaN here and said in `sentence`.

    `table`: index = group; n, occurred, median_s with its limits, mean_s up to `horizon_s` and mean_se_s, q25_s and
    q75_s with theirs, and how many females (or males) they rest on. `pairs`: each two groups, as
    `analysis.pairs.pairs` has it, its limits by drawing whole `clusters` (a column; 'session' for single rows).
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
    clusters: str

    def _repr_html_(self) -> str:
        return notebook.html(self.sentence, self.table.filter(regex="^(?!q[0-9])"))


def compare(
    times: pd.DataFrame,
    by: str,
    within: str | None = None,
    permutations: int = 10_000,
    seed: int = 0,
    cluster: str | None = None,
) -> Comparison:
    """Compare `latency_s` (float seconds), right-censored where not `occurred` (bool), between the groups of the
    column `by`.

    Medians: Kaplan & Meier 1958 with log-log limits. Means: restricted to the shortest of the groups' longest
    times. Test: log-rank of k groups, stratified by `within` (Mantel 1966), and its permutation version within
    strata. Effects: see `analysis.pairs.pairs`; `cluster` is the column whose values are drawn whole (not given:
    the male, where there is such a column and groups are not males themselves). Rows with no group are left out.
    """
    for column in ("latency_s", "occurred", by, *(name for name in (within, cluster) if name)):
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
    cluster = cluster or ("male" if "male" in rows.columns and by != "male" else "session")
    nothing = permutation.Permuted(np.nan, 0, False, np.nan, 0.0)
    if len(names) < 2 or not occurred.any():
        why = (
            "no session at risk"
            if not len(rows)
            else "only one group"
            if len(names) < 2
            else "the behaviour never occurred"
        )
        return Comparison(
            by, within, table, horizon, np.nan, 0, np.nan, *_fields(nothing), no_pairs(),
            f"{why.capitalize()}: nothing to compare.", cluster,
        )  # fmt: skip
    test = survival.log_rank(time, occurred, label, stratum)
    permuted = nothing
    if test.df and len(rows) > 1:
        found = permutation.test(survival.scores(time, occurred, stratum), label, stratum, permutations, seed)
        permuted = found
    drawn = np.arange(len(rows))
    if cluster in rows.columns and not rows[cluster].isna().any():
        drawn = pd.factorize(rows[cluster].astype(object), sort=True)[0]
    few = len(names) <= PAIRED_AT_MOST
    pairs = pairs_of(time, occurred, label, stratum, drawn, names, horizon, seed=seed) if few else no_pairs()
    sentence = _sentence(rows, by, within, table, test, permuted)
    if not few:
        sentence += f" {len(names)} groups are too many to set each two beside each other."
    sentence += _animals(rows, by, cluster, int(drawn.max()) + 1)
    return Comparison(
        by, within, table, horizon, test.statistic, test.df, test.p, *_fields(permuted), pairs, sentence, cluster
    )


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
        curve = survival.kaplan_meier(time[own], occurred[own])
        median, low, high = survival.quantile(curve)
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
        for name, q in (("q25", 0.25), ("q75", 0.75)):
            quantile, low, high = survival.quantile(curve, q)
            row |= {f"{name}_s": quantile, f"{name}_low_s": low, f"{name}_high_s": high}
        other = "female" if by == "male" else "male"
        if other in rows.columns and by in ("male", "female"):
            row[f"{other}s"] = int(rows[other][own].nunique())
        out.append(row)
    return pd.DataFrame(out, index=pd.Index(names, name=by))


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


def _animals(rows: pd.DataFrame, by: str, cluster: str, clusters: int) -> str:
    """Say on how few animals all this rests."""
    counts = {name: int(rows[name].nunique()) for name in ("male", "female") if name in rows.columns}
    if not counts:
        return ""
    who = " and ".join(f"{count} {name}{'' if count == 1 else 's'}" for name, count in counts.items())
    said = f" They are {who}: what holds for them need not hold for others."
    if cluster != "session" and clusters < bootstrap.FEW:
        said += f" Limits that draw whole {cluster}s draw from only {clusters}:"
        said += f" under {bootstrap.FEW} they may be too narrow."
    return said
