"""Competing ends compared between groups: is one end more frequent, and does it come faster to those still waiting?

Two questions, so two tests: Gray's, of how many come to it in all, and the cause-specific log-rank, of how fast it
comes to those to whom nothing came yet. Written here: no library at hand has Gray's.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, logrank, permutation
from etholog.analysis import design as designs
from etholog.analysis.compare import test
from etholog.session.latency import CENSORED, OCCURRED

Floats = NDArray[np.float64]
Labels = NDArray[np.intp]

SHUFFLES = 999


def rivals(
    times: pd.DataFrame, by: str, within: str | None = None, shuffles: int = SHUFFLES, seed: int = 0
) -> pd.DataFrame:
    """Return, for each way in which a latency ended, whether the groups of `by` differ in it.

    p permutes labels, never the tables of chi-squared: sessions of one male are alike. Where a group belongs to the
    male (his species), whole males are permuted; else sessions within `within` (not given: within males, where one
    was in several groups; 'none': all together). No p where the groups are animals who met mostly one mate each.

    Parameters
    ----------
    times: one row a session, as `latency(..., competing=True)` has it: `latency_s` (seconds), `occurred`, `ended_by`.
    by, within: the column of the groups; the column of strata.
    shuffles, seed: of Gray's permutations; the log-rank test is that of `compare`, with as many.

    Returns
    -------
    A row for each end ('occurred' for what was waited for): end, count, gray and log_rank (chi-squared), df (one less
    than the groups, where all were at risk together), gray_p, log_rank_p (NaN where nothing can be compared, or where
    males or sessions are too few for a p of .05).

    Raises
    ------
    Refusal: for a column that is not there, or a cell in it that can't be.

    Gray 1988, Ann. Stat. 16:1141; Prentice et al. 1978, Biometrics 34:541 (cause-specific hazards).

    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> times = etholog.latency(season, "clasp", competing=True)
    >>> list(rivals(times, "species", shuffles=19)["end"])[0]
    'occurred'
    """
    strata = None if within is None or columns.word(within, "within") == designs.NONE else within
    times = columns.latencies(times, ["ended_by", by], [strata])
    columns.labels(times, "ended_by")
    shuffles, seed = columns.whole(shuffles, "shuffles", 1), columns.whole(seed, "seed", most=2**63)
    rows = designs.named_rows(times, by, strata)
    time = rows["latency_s"].to_numpy(dtype=np.float64)
    ends = rows["ended_by"].astype(object).to_numpy()
    group, names = pd.factorize(rows[by].astype(object), sort=True)
    plan = designs.design(rows, by, within, None)
    strata = strata or (plan.strata[0] if plan.kind == "within animals" else None)
    stratum = pd.factorize(rows[strata].astype(object))[0] if strata else np.zeros(len(rows), dtype=np.intp)
    relabelled = _relabelled(plan, group, stratum, shuffles, seed)
    if by in designs.OTHER and not strata and designs.OTHER[by] in rows.columns and designs.paired(rows, by):
        relabelled = []  # males and females can't be told apart
    causes = [OCCURRED, *sorted({end for end in ends if end not in CENSORED} - {OCCURRED}, key=str)]
    out = []
    for one in causes:
        cause = np.where(ends == one, 1, np.where(np.isin(ends, CENSORED), 0, 2))
        row = {"end": one, "count": int((cause == 1).sum()), "gray": np.nan, "gray_p": np.nan}
        ranked = test(rows.assign(occurred=cause == 1), by, strata or designs.NONE, seed=seed)
        row |= {"log_rank": ranked.log_rank.statistic, "df": ranked.log_rank.df}
        row["log_rank_p"] = ranked.permuted.p if ranked.permuted.usable else np.nan
        if len(names) > 1 and row["count"]:
            row["gray"] = gray(time, cause, group, stratum)
        if np.isfinite(row["gray"]):
            every = [np.nan_to_num([gray(time, cause, own, stratum) for own in labels]) for labels in relabelled]
            row["gray_p"] = float(np.max([_p(row["gray"], one) for one in every] or [np.nan]))
        out.append(row)
    return pd.DataFrame(out)[["end", "count", "gray", "gray_p", "log_rank", "log_rank_p", "df"]]


def _p(observed: float, every: Floats) -> float:
    """Return the share of labellings, the observed one among them, with as much; NaN where even the greatest of all is
    no rarer than one in 20."""
    slack = 1e-9 * max(1.0, observed)
    if not len(every) or (every >= every.max() - slack).mean() > permutation.ALPHA:
        return np.nan
    return float((every >= observed - slack).mean())


def _relabelled(plan: designs.Design, group: Labels, stratum: Labels, shuffles: int, seed: int) -> list[Labels]:
    """Return labellings (b, n), the groups' own among them: of whole animals where each belongs to one (where groups
    belong to both sexes, one array for each), else within strata; every one there is, if they are few. None where
    sessions of one animal would be taken for as many."""
    if plan.kind == "within animals" and not stratum.any():
        return []
    if plan.kind != "whole animals":
        return [permutation.labellings(group, stratum, shuffles, seed).astype(np.intp)]
    out = []
    for unit in plan.units:
        _, at, animal = np.unique(unit, return_index=True, return_inverse=True)
        first = group[at].astype(np.intp)
        out.append(permutation.labellings(first, np.zeros_like(first), shuffles, seed)[:, animal].astype(np.intp))
    return out


def gray(time: Floats, cause: NDArray[np.integer], group: Labels, stratum: Labels | None = None) -> float:
    """Return Gray's chi-squared, with one degree less than groups, that the share to which cause 1 comes is one in all
    groups; `cause` (n,): 1, 2 for any other end, 0 censored. NaN where nothing can differ."""
    k = int(group.max()) + 1
    score, variance = np.zeros(k), np.zeros((k, k))
    for one in [0] if stratum is None else np.unique(stratum):
        inside = np.ones(len(time), dtype=bool) if stratum is None else stratum == one
        own = _gray(time[inside], cause[inside], group[inside], k)
        score, variance = score + own[0], variance + own[1]
    statistic, rank = logrank.chi_squared(score[None, :-1], variance[None, :-1, :-1])
    return float(statistic[0]) if rank[0] else np.nan


def _gray(time: Floats, cause: NDArray[np.integer], group: Labels, k: int) -> tuple[Floats, Floats]:
    """Return the scores (k,) and their variance: each end moves a group's own estimates, and the variance adds up what
    it moves in the score, now and (`drift`) through all that follows (Gray 1988, section 2)."""
    score, variance = np.zeros(k), np.zeros((k, k))
    own_share, free, share = np.zeros(k), np.ones(k), 0.0  # come to cause 1; still waiting; come, in all groups
    drift = np.zeros((k, k))  # by score and by the group that moves it
    late, mixed = np.zeros(k), np.zeros((k, k))
    for now in np.unique(time[cause > 0]):
        at_risk = np.bincount(group[time >= now], minlength=k).astype(np.float64)
        first, other = (
            np.bincount(group[(time == now) & (cause == one)], minlength=k).astype(np.float64) for one in (1, 2)
        )
        here = at_risk > 0
        rows = np.where(here, at_risk, 1.0)
        weight = np.where(here, at_risk / np.where(free > 0, free, 1.0), 0.0)
        total, came = weight.sum(), first.sum()
        after = np.where(here, free * (rows - first - other) / rows, free)
        at_stake = weight * (1 - own_share)
        score += first - came * at_stake / at_stake.sum() if at_stake.sum() > 0 else 0.0
        later = share + came / total
        moved = np.diag(weight) - np.outer(weight, weight) / total
        drift += moved * came / (total * (1 - share)) if share < 1 else 0.0
        left = np.where(after > 0, (1 - later) / np.where(after > 0, after, 1.0), 0.0)
        if came:
            lever = np.where(after > 0, 1 - left, 1.0)
            tied = 1 - (came - 1) / (total * free - 1) if came > 1 else np.ones(k)
            spread = np.where(here, tied * free * came / (total * rows), 0.0)
            direct = moved - lever * drift
            late += lever**2 * spread
            mixed += direct * (lever * spread)
            variance += (direct * spread) @ direct.T
        ends = here & (other > 0) & (after > 0)
        tied = 1 - (other - 1) / np.where(other > 1, rows - 1, 1.0)
        spread = np.where(ends, tied * free**2 * other / rows**2, 0.0)
        direct = left * drift
        late += left**2 * spread
        mixed -= direct * (left * spread)
        variance += (direct * spread) @ direct.T
        own_share = own_share + np.where(here, free * first / rows, 0.0)
        free, share = after, later
    cross = drift @ mixed.T
    return score, variance + (drift * late) @ drift.T + cross + cross.T
