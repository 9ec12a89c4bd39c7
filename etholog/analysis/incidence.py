"""Competing ends: the share in which each cause came first by a given time.

statsmodels has the estimate, but no error where all that were left end at once, and it takes a second to load; it is
the reference in the tests.
"""

from collections.abc import Sequence
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, survival
from etholog.analysis.design import OTHER, named_rows, numbers, recurring
from etholog.analysis.distribution import normal_quantile, t_quantile
from etholog.base.refusal import Refusal
from etholog.session.latency import CENSORED, OCCURRED

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_ROUNDING = 1e-9  # a share of all may come out as 0.9999999999, with an error and limits made of rounding


def incidence(times: pd.DataFrame, cause: str, cluster: str | Sequence[str] | None = None) -> pd.DataFrame:
    """Return the share in which each cause had come by each time (Aalen & Johansen 1978).

    Where one cause removes the chance of another, one minus the curve of `kaplan_meier` says too much; this does
    not.

    Parameters
    ----------
    times: one row a session: `latency_s` (seconds, 0 or more), and the column `cause`.
    cause: the column that says what came (missing: censored).
    cluster: the column of the animals whose rows resemble each other, or two, such as male and female (not given: each
        row counts for itself). The errors are then what their rows together change (`changed_squares`), of two columns
        two-way (Cameron, Gelbach & Miller 2011), where that is more.

    Returns
    -------
    Index: time_s, each time at which something ended. For each cause a column with its cumulative incidence, and
    se_<cause>, its standard error by the delta method (Marubini & Valsecchi 1995; as R's survfit and statsmodels
    have it, which is not cmprsk's); NaN where fewer than four of the animals that come again are known. Empty, with
    no columns, where nothing ever ended. Its `attrs` are what a figure shows besides: `times`, how long each was
    watched; `animals`, on how many the errors rest (of a column in which animals come again; of two, the fewer): 0
    where an animal came twice and was taken for two; and `limits`, for each cause its low and high 95 % limits
    (`limits`), NaN where these are too few.

    Raises
    ------
    Refusal: for a column that is not there, or holds what is no time or no single value.

    >>> import etholog
    >>> import pandas as pd
    >>> times = pd.DataFrame({"latency_s": [2.0, 3.0, 5.0, 7.0], "why": ["clasp", None, "flight", "clasp"]})
    >>> etholog.incidence(times, "why")[["clasp", "flight"]].round(3).to_dict("list")
    {'clasp': [0.25, 0.25, 0.625], 'flight': [0.0, 0.375, 0.375]}
    """
    clusters = columns.words(cluster, "cluster")
    if len(clusters) > 2:
        raise Refusal(f"cluster: {len(clusters)} columns; two at most")
    times = columns.table(times, "latency_s", cause, *clusters)
    for name in (cause, *clusters):
        columns.labels(times, name, holes=True)
    time = columns.seconds(times, "latency_s")
    named = times[cause].astype(object)
    causes = sorted(named.dropna().unique(), key=str)
    if not causes:
        return pd.DataFrame(index=pd.Index([], dtype=float, name="time_s"))
    units = [unit for name in clusters if len(np.unique(unit := numbers(times[name]))) < len(times)]
    fewest = min((len(np.unique(unit)) for unit in units), default=len(times))
    ended = named.notna().to_numpy()
    risk = survival.risk_table(time, ended)
    left = risk.at_risk - risk.events
    # Where the last at risk all end there is nothing left that could vary: statsmodels divides by nought there.
    spread = np.divide(risk.events, risk.at_risk * left, out=np.zeros_like(left), where=left > 0)
    animals = 0 if cluster is None and recurring(times) else fewest
    shares, limited = {}, {}
    for one in causes:
        own = (named == one).to_numpy(dtype=bool)
        before, count, share = _course(risk, time[own])
        share[share > 1 - _ROUNDING] = 1.0
        step = before * count / risk.at_risk**2
        variance = share**2 * np.cumsum(spread) - 2 * share * np.cumsum(share * spread) + np.cumsum(share**2 * spread)
        variance += np.cumsum(before**2 * count * (risk.at_risk - count) / risk.at_risk**3)
        variance += 2 * (np.cumsum(share * step) - share * np.cumsum(step))
        alone = np.where(share < 1, np.clip(variance, 0.0, None), 0.0)
        whole = np.where(share < 1, np.maximum(alone, _of_animals(time, ended, own, units)), 0.0)
        shares[str(one)] = share
        known = not units or fewest >= survival.LIMITS_LEAST
        shares[f"se_{one}"] = np.sqrt(whole) if known else np.full(len(share), np.nan)
        limited[str(one)] = limits(share, alone, whole, animals)
    found = pd.DataFrame(shares, index=pd.Index(risk.time, name="time_s"))
    found.attrs = {"times": tuple(np.sort(time).tolist()), "animals": animals, "limits": limited}
    return found


def _course(risk: survival.RiskTable, own: Floats) -> tuple[Floats, Floats, Floats]:
    """Return at each time of an end: the share in which nothing had come just before, how many ends of one kind there
    are, which came at the times `own`, and their cumulative incidence."""
    count = np.bincount(np.searchsorted(risk.time, own), minlength=len(risk.time)).astype(float)
    before = np.concatenate([[1.0], np.cumprod(1 - risk.events / risk.at_risk)[:-1]])
    return before, count, np.cumsum(before * count / risk.at_risk)


def of_sexes(times: pd.DataFrame, cause: str) -> pd.DataFrame:
    """Return `incidence` with errors in which males and females vary, where `times` names them."""
    return incidence(times, cause, [name for name in OTHER if name in times.columns])


def _of_animals(time: Floats, ended: Bools, own: Bools, units: Sequence[NDArray[np.intp]]) -> Floats:
    """Return the variance of the share of one end of what the rows of each animal change together, at each time of an
    end: of one sex, or of both; 0 where no animal comes twice."""
    ways = [_squares(time, ended, own, unit) for unit in units]
    if len(units) == 2:
        pair = np.unique(units[0] * (int(units[1].max()) + 1) + units[1], return_inverse=True)[1]
        ways.append(ways[0] + ways[1] - _squares(time, ended, own, pair))
    return np.asarray(np.max(ways, axis=0) if ways else 0.0)


def _squares(time: Floats, ended: Bools, own: Bools, unit: NDArray[np.intp]) -> Floats:
    """Return g / (g - 1) times the sum of the squares of what the rows of each of g animals change."""
    many = len(np.unique(unit))
    return changed_squares(time, ended, own, unit) * many / max(1, many - 1)


def changed_squares(time: Floats, ended: Bools, own: Bools, unit: NDArray[np.intp]) -> Floats:
    """Return, at each distinct time of an end, the sum of the squares of what each animal's rows together change of the
    share of one end: its derivative by their weight, the infinitesimal jackknife (as R's survfit has it: Therneau,
    survival; Lin & Wei 1989 for Cox's model).

    What a row changes is the same at each time for all that wait still; of one that is gone it is a line in the share,
    `level - slope * share`. So sums of their products, brought up to date as rows go, give the squares of all animals.

    Parameters
    ----------
    time: of each row. ended: which came to an end, `own` to this one. unit: the number of its animal.
    """
    risk = survival.risk_table(time, ended)
    before, count, share = _course(risk, time[own])
    left = risk.at_risk - risk.events
    each = np.divide(1, left, out=np.zeros_like(left), where=left > 0)
    hazard = risk.events / risk.at_risk * each
    level = -np.cumsum(before * count / risk.at_risk**2 + hazard * share)
    slope = -np.cumsum(hazard)
    waits = level - slope * share
    # The last time at which each row was at risk; those that were at risk at none change nothing.
    gone = np.searchsorted(risk.time, time, side="right") - 1
    order = np.lexsort((gone, unit))
    order = order[gone[order] >= 0]
    at, _, of, rows = gone[order], *np.unique(unit[order], return_inverse=True, return_counts=True)
    own_level = level[at] + own[order] * before[at] / risk.at_risk[at] + ended[order] * share[at] * each[at]
    step = np.array([own_level, slope[at] + ended[order] * each[at], -np.ones(len(at))])
    now = np.cumsum(step, axis=1)
    now -= (now - step)[:, (np.cumsum(rows) - rows)[of]]  # each animal's own sums, from its first row on
    now[2] += rows[of]  # how many of its rows wait still
    was = now - step
    total, of_sum = waits**2 * (rows**2).sum(), (1.0, -share, waits)
    for one, other in product(range(3), repeat=2):
        moved = np.bincount(at, now[one] * now[other] - was[one] * was[other], minlength=len(share))
        total = total + of_sum[one] * of_sum[other] * np.cumsum(moved)
    return np.asarray(total, dtype=np.float64)


def first_ends(times: pd.DataFrame, by: str | None = None) -> pd.DataFrame:
    """Return, for each group and each way in which a latency ended, how often that came first.

    Parameters
    ----------
    times: as `latency(..., competing=True)` returns them.
    by: a column of groups (not given: all in one).

    Returns
    -------
    One row for each group and end. count: sessions that ended so, of n. share: their cumulative incidence up to
    `at_s` (seconds; Aalen & Johansen 1978), with se and 95 % limits on the log-log scale (Kalbfleisch & Prentice
    2002, as limits of a curve), in which males and females vary where one came again, unless groups are males or
    females. Limits are missing where the share is 0 or 1, and in a group of fewer than four sessions; so are both
    where males (or females) came again and are fewer than four. `at_s` is the longest time that every group was
    watched to, or had come to an end before. The shares of a group, and the share in which nothing had come yet, add
    up to 1.

    Raises
    ------
    Refusal: for a column that is not there, or holds what is no time or no single value.

    >>> import etholog
    >>> times = etholog.latency(etholog.read("examples/season"), "courtship", competing=True)
    >>> etholog.first_ends(times)[["end", "count", "n"]].to_dict("records")
    [{'end': 'occurred', 'count': 22, 'n': 28}]
    """
    times = columns.latencies(times, ["ended_by", *([] if by is None else [by])])
    cause = times["ended_by"].astype(object).where(~times["ended_by"].isin(CENSORED), None)
    rows = times.assign(cause=cause)
    groups = [(None, rows)] if by is None else [*named_rows(rows, by).groupby(by, observed=True, sort=True)]
    at = _common_time([part for _, part in groups])
    causes = [OCCURRED, *sorted(set(cause.dropna()) - {OCCURRED})]
    out = []
    for value, part in groups:
        # The sessions of one animal count each for itself.
        curve = incidence(part[["latency_s", "cause"]], "cause") if by in OTHER else of_sexes(part, "cause")
        for one in causes:
            came = dict(zip(("share", "se", "low", "high"), by_time(curve, one, at), strict=True))
            row = {"end": one, "count": int((part["cause"] == one).sum()), "n": len(part)} | came
            out.append(({} if by is None else {by: value}) | row | {"at_s": at})
    return pd.DataFrame(out)


def _common_time(parts: list[pd.DataFrame]) -> float:
    """Return the longest time at which the incidence of every group is known."""
    return survival.common_horizon(
        [(part["latency_s"].to_numpy(dtype=float), part["cause"].notna().to_numpy()) for part in parts if len(part)]
    )


def limits(share: Floats, alone: Floats, whole: Floats, animals: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the 95 % limits of a cumulative incidence on the log-log scale (Kalbfleisch & Prentice 2002); NaN where it
    is 0 or 1, and of fewer than four animals.

    Parameters
    ----------
    share: at each time. alone: its variance if each row counted for itself. whole: with what animals that come again
        add to it, which is known from so many `animals` alone: that part counts by Student's t.
    """
    low, high = np.full((2, len(share)), np.nan)
    some = (share > 0) & (share < 1) & (whole > 0) & (animals >= survival.LIMITS_LEAST)
    if some.any():
        z, t = normal_quantile(0.975), t_quantile(0.975, animals - 1)
        reach = np.sqrt(z**2 * alone[some] + t**2 * (whole - alone)[some])
        half = reach / (-share[some] * np.log(share[some]))
        low[some], high[some] = share[some] ** np.exp(half), share[some] ** np.exp(-half)
    return tuple(low.tolist()), tuple(high.tolist())


def by_time(found: pd.DataFrame, cause: str, at: float) -> tuple[float, float, float, float]:
    """Return what `incidence` found of a cause by a time: its share, its error and its 95 % limits."""
    ends = int((found.index <= at).sum())
    if cause not in found.columns or not ends:
        return 0.0, np.nan, np.nan, np.nan
    low, high = (side[ends - 1] for side in found.attrs["limits"][cause])
    return float(found[cause].iloc[ends - 1]), float(found[f"se_{cause}"].iloc[ends - 1]), low, high
