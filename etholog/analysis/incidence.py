"""Competing ends: the share in which each cause came first by a given time.

statsmodels has the estimate, but no error where all that were left end at once, and it takes a second to load; it is
the reference in the tests.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, crossed, survival
from etholog.analysis.design import alone, named_rows, numbers
from etholog.analysis.distribution import normal_quantile
from etholog.session.latency import CENSORED, OCCURRED

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_ROUNDING = 1e-9  # a share of all may come out as 0.9999999999, with an error and limits made of rounding


def incidence(times: pd.DataFrame, cause: str, cluster: str | None = None) -> pd.DataFrame:
    """Return the share in which each cause had come by each time (Aalen & Johansen 1978).

    Where one cause removes the chance of another, one minus the curve of `kaplan_meier` says too much; this does
    not.

    Parameters
    ----------
    times: one row a session: `latency_s` (seconds, 0 or more), and the column `cause`.
    cause: the column that says what came (missing: censored).
    cluster: the column of the animals whose rows resemble each other (not given: each row counts for itself). The
        errors are then what their rows together change (`influence`), where that is more.

    Returns
    -------
    Index: time_s, each time at which something ended. For each cause a column with its cumulative incidence, and
    se_<cause>, its standard error by the delta method (Marubini & Valsecchi 1995; as R's survfit and statsmodels
    have it, which is not cmprsk's). Empty, with no columns, where nothing ever ended. Its `attrs` are what a figure
    shows besides: `times`, how long each was watched, and `animals`, on how many the errors rest: 0 where a male came
    twice and was taken for two.

    Raises
    ------
    Refusal: for a column that is not there, or holds what is no time or no single value.

    >>> import etholog
    >>> import pandas as pd
    >>> times = pd.DataFrame({"latency_s": [2.0, 3.0, 5.0, 7.0], "why": ["clasp", None, "flight", "clasp"]})
    >>> etholog.incidence(times, "why")[["clasp", "flight"]].round(3).to_dict("list")
    {'clasp': [0.25, 0.25, 0.625], 'flight': [0.0, 0.375, 0.375]}
    """
    times = columns.table(times, "latency_s", cause, *([] if cluster is None else [cluster]))
    columns.labels(times, cause, holes=True)
    if cluster is not None:
        columns.labels(times, cluster, holes=True)
    time = columns.seconds(times, "latency_s")
    named = times[cause].astype(object)
    causes = sorted(named.dropna().unique(), key=str)
    if not causes:
        return pd.DataFrame(index=pd.Index([], dtype=float, name="time_s"))
    unit = np.arange(len(times)) if cluster is None else numbers(times[cluster])
    again = len(np.unique(unit)) < len(times)
    ended = named.notna().to_numpy()
    risk = survival.risk_table(time, ended)
    free = np.cumprod(1 - risk.events / risk.at_risk)
    before = np.concatenate([[1.0], free[:-1]])  # the share in which nothing had come just before
    left = risk.at_risk - risk.events
    # Where the last at risk all end there is nothing left that could vary: statsmodels divides by nought there.
    spread = np.divide(risk.events, risk.at_risk * left, out=np.zeros_like(left), where=left > 0)
    shares = {}
    for one in causes:
        own = (named == one).to_numpy(dtype=bool)
        count = np.bincount(np.searchsorted(risk.time, time[own]), minlength=len(risk.time)).astype(float)
        share = np.cumsum(before * count / risk.at_risk)
        share[share > 1 - _ROUNDING] = 1.0
        step = before * count / risk.at_risk**2
        variance = share**2 * np.cumsum(spread) - 2 * share * np.cumsum(share * spread) + np.cumsum(share**2 * spread)
        variance += np.cumsum(before**2 * count * (risk.at_risk - count) / risk.at_risk**3)
        variance += 2 * (np.cumsum(share * step) - share * np.cumsum(step))
        if again:
            variance = np.maximum(variance, crossed.squares(influence(time, ended, own, unit), None))
        shares[str(one)] = share
        shares[f"se_{one}"] = np.where(share < 1, np.sqrt(np.clip(variance, 0.0, None)), 0.0)
    found = pd.DataFrame(shares, index=pd.Index(risk.time, name="time_s"))
    animals = 0 if cluster is None and not alone(times, None) else len(np.unique(unit))
    found.attrs = {"times": tuple(np.sort(time).tolist()), "animals": animals}
    return found


def influence(time: Floats, ended: Bools, own: Bools, unit: NDArray[np.intp]) -> Floats:
    """Return by how much each animal's rows together change the share of one end: its derivative by their weight, the
    infinitesimal jackknife (as R's survfit has it: Therneau, survival; Lin & Wei 1989 for Cox's model).

    Parameters
    ----------
    time: of each row. ended: which came to an end, `own` to this one. unit: the number of its animal.

    Returns
    -------
    A row for each distinct time of an end, a column for each animal.
    """
    risk = survival.risk_table(time, ended)
    _, unit = np.unique(unit, return_inverse=True)
    many, wide = int(unit.max()) + 1, len(risk.time) + 1

    def counted(rows: Bools, place: NDArray[np.intp]) -> Floats:
        cells = np.bincount(place[rows] * many + unit[rows], minlength=wide * many)
        return cells.reshape(wide, many)[:-1].astype(np.float64)

    place, every = np.searchsorted(risk.time, time), np.ones(len(time), dtype=bool)
    ends, owns = counted(ended, place), counted(own, place)
    gone = counted(every, np.searchsorted(risk.time, time, side="right"))
    still = np.bincount(unit, minlength=many) - np.cumsum(gone, axis=0)
    at_risk, events, count = risk.at_risk[:, None], risk.events[:, None], owns.sum(axis=1, keepdims=True)
    free = np.cumprod(1 - events / at_risk, axis=0)
    before = np.concatenate([[[1.0]], free[:-1]])
    share = np.cumsum(before * count / at_risk, axis=0)
    left = np.broadcast_to(at_risk - events, ends.shape)
    came = np.divide(ends - still * events / at_risk, left, out=np.zeros_like(ends), where=left > 0)
    sooner = np.cumsum(came * share, axis=0) - share * np.cumsum(came, axis=0)
    return np.asarray(np.cumsum(before * (owns - still * count / at_risk) / at_risk, axis=0) + sooner)


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
    2002, as limits of a curve). Both are missing where the share is 0 or 1, and where a group has several sessions
    of one male, who is not as many males. `at_s` is the longest time that every group was watched to, or had come to
    an end before. The shares of a group, and the share in which nothing had come yet, add up to 1.

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
        curve = incidence(part, "cause")
        upto = curve[curve.index <= at]
        independent = alone(part, by)
        for one in causes:
            known = one in curve.columns and len(upto)
            share, se = (float(upto[name].iloc[-1]) for name in (one, f"se_{one}")) if known else (0.0, np.nan)
            se = se if independent else np.nan
            low, high = log_log_limits(share, se)
            row = {"end": one, "count": int((part["cause"] == one).sum()), "n": len(part), "share": share, "se": se}
            out.append(({} if by is None else {by: value}) | row | {"low": low, "high": high, "at_s": at})
    return pd.DataFrame(out)


def _common_time(parts: list[pd.DataFrame]) -> float:
    """Return the longest time at which the incidence of every group is known."""
    return survival.common_horizon(
        [(part["latency_s"].to_numpy(dtype=float), part["cause"].notna().to_numpy()) for part in parts if len(part)]
    )


def log_log_limits(share: float, se: float) -> tuple[float, float]:
    """Return the 95 % limits of a cumulative incidence on the log-log scale (Kalbfleisch & Prentice 2002); NaN where it
    is 0 or 1."""
    if not (0 < share < 1 and se > 0):
        return np.nan, np.nan
    half = normal_quantile(0.975) * se / (share * np.log(share))
    low, high = sorted((float(share ** np.exp(half)), float(share ** np.exp(-half))))
    return low, high
