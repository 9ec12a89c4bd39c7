"""Right-censored times: the curve of those still without the event, its limits, quantiles, restricted mean, and
log-rank scores.

statsmodels has the curve but no pointwise limits and no restricted mean, and its log-rank test fails when a group
ends before the first event; it is the reference in the tests.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class RiskTable:
    """At each distinct event time: the time, how many were at risk, how many had the event. An event comes before a
    censoring at the same time."""

    time: Floats
    at_risk: Floats
    events: Floats
    last: float


def risk_table(time: Floats, occurred: Bools) -> RiskTable:
    """Count risks and events at each distinct event time. `time`: (n,) seconds; `occurred`: (n,)."""
    ordered = np.sort(time)
    at, events = np.unique(time[occurred], return_counts=True)
    at_risk = _at_risk(time, at)
    last = float(ordered[-1]) if len(ordered) else 0.0
    return RiskTable(at.astype(float), at_risk, events.astype(float), last)


def kaplan_meier(time: Floats, occurred: Bools, level: float = 0.95) -> pd.DataFrame:
    """Return the product-limit estimate (Kaplan & Meier 1958) with Greenwood's standard error and log-log limits.

    Index: time_s, the distinct event times. Columns: at_risk, events, share (still without the event), se, low, high.
    The log-log limits (Kalbfleisch & Prentice 1980) stay within 0 and 1; they are missing where the share is 1 or 0.
    """
    risk = risk_table(time, occurred)
    share = np.cumprod(1 - risk.events / risk.at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(risk.events / (risk.at_risk * (risk.at_risk - risk.events)))
        se = np.where(share > 0, share * np.sqrt(greenwood), 0.0)
        half = normal_quantile((1 + level) / 2) * np.sqrt(greenwood) / np.log(share)
        low, high = share ** np.exp(-half), share ** np.exp(half)
    inside = (share > 0) & (share < 1)
    return pd.DataFrame(
        {
            "at_risk": risk.at_risk,
            "events": risk.events,
            "share": share,
            "se": se,
            "low": np.where(inside, low, np.nan),
            "high": np.where(inside, high, np.nan),
        },
        index=pd.Index(risk.time, name="time_s"),
    )


def quantile(curve: pd.DataFrame, q: float = 0.5) -> tuple[float, float, float]:
    """Return (quantile, low, high) in seconds, NaN for 'not reached', from a `kaplan_meier` table.

    Where the curve is flat at just that share, the middle of the flat, as R's survfit has it. The interval inverts
    the pointwise limits (Brookmeyer & Crowley 1982, with the log-log transform).
    """
    left = 1 - q
    slack = 1e-9  # a share of exactly one half may come out as 0.5000000001
    at = curve.index.to_numpy(dtype=float)

    def first(share: NDArray[np.float64]) -> float:
        low = np.flatnonzero(share <= left + slack)
        if not len(low):
            return np.nan
        below = np.flatnonzero(share < share[low[0]] - slack)
        if abs(share[low[0]] - left) < slack and len(below):
            return float(at[low[0]] + at[below[0]]) / 2
        return float(at[low[0]])

    share, low, high = (first(curve[name].to_numpy(dtype=float)) for name in ("share", "low", "high"))
    return share, low, high


def restricted_mean(time: Floats, occurred: Bools, horizon: float) -> tuple[float, float]:
    """Return (mean, standard error) of the time to the event up to `horizon` seconds: the area under the curve.

    The variance is Greenwood's (Klein & Moeschberger 2003, section 4.5).
    """
    risk = risk_table(time, occurred)
    keep = risk.time < horizon
    at, events, at_risk = risk.time[keep], risk.events[keep], risk.at_risk[keep]
    share = np.cumprod(1 - events / at_risk)
    steps = np.diff(np.concatenate([[0.0], at, [horizon]]))
    areas = steps * np.concatenate([[1.0], share])
    after = np.cumsum(areas[::-1])[::-1][1:]
    left = at_risk - events
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(left > 0, after**2 * events / (at_risk * left), 0.0)
    return float(areas.sum()), float(np.sqrt(terms.sum()))


@dataclass(frozen=True)
class LogRank:
    """The log-rank test of k groups: observed and expected events by group, the variance, chi-squared, df and p."""

    observed: Floats
    expected: Floats
    variance: NDArray[np.float64]
    statistic: float
    df: int
    p: float


def log_rank(
    time: Floats, occurred: Bools, group: NDArray[np.integer[Any]], stratum: NDArray[np.integer[Any]]
) -> LogRank:
    """Test whether groups (0 .. k-1) differ, within strata (Mantel 1966; Peto & Peto 1972), hypergeometric variance.

    A group that never shares a risk set with another takes no part: df counts only what can be compared.
    """
    k = int(group.max()) + 1 if len(group) else 0
    observed, expected, variance = np.zeros(k), np.zeros(k), np.zeros((k, k))
    for one in np.unique(stratum):
        inside = stratum == one
        t, e, g = time[inside], occurred[inside], group[inside]
        at, d = np.unique(t[e], return_counts=True)
        if not len(at):
            continue
        at_risk = np.stack([_at_risk(t[g == j], at) for j in range(k)], axis=1)
        n = at_risk.sum(axis=1)
        observed += np.bincount(g[e], minlength=k)
        expected += (d[:, None] * at_risk / n[:, None]).sum(axis=0)
        spread = np.where(n > 1, d * (n - d) / np.maximum(n - 1, 1), 0.0)
        share = at_risk / n[:, None]
        variance += np.diag(spread @ share) - (spread[:, None] * share).T @ share
    statistic, df = quadratic(observed - expected, variance)
    return LogRank(observed, expected, variance, statistic, df, chi_squared_tail(statistic, df))


def _at_risk(time: Floats, at: Floats) -> Floats:
    return (len(time) - np.searchsorted(np.sort(time), at, side="left")).astype(np.float64)


def quadratic(u: Floats, variance: NDArray[np.float64]) -> tuple[float, int]:
    """Return (u' V^- u, rank of V)."""
    if not len(u):
        return np.nan, 0
    inverse = np.linalg.pinv(variance, rcond=1e-10, hermitian=True)
    rank = int(np.linalg.matrix_rank(variance, tol=1e-10 * max(1.0, float(np.abs(variance).max())), hermitian=True))
    return (float(u @ inverse @ u), rank) if rank else (np.nan, 0)


def scores(time: Floats, occurred: Bools, stratum: NDArray[np.integer[Any]]) -> Floats:
    """Return each row's log-rank score (Peto & Peto 1972): summed over a group they give its observed minus
    expected events."""
    out = np.zeros(len(time))
    for one in np.unique(stratum):
        inside = np.flatnonzero(stratum == one)
        risk = risk_table(time[inside], occurred[inside])
        hazard = np.concatenate([[0.0], np.cumsum(risk.events / risk.at_risk)])
        out[inside] = occurred[inside] - hazard[np.searchsorted(risk.time, time[inside], side="right")]
    return out


def chi_squared_tail(statistic: float, df: int) -> float:
    """Return the upper tail of chi-squared; NaN where there is no statistic."""
    if not df or not np.isfinite(statistic):
        return np.nan
    from scipy.special import chdtrc

    return float(chdtrc(df, statistic))


def normal_quantile(p: float) -> float:
    """Return the standard normal quantile."""
    from statistics import NormalDist

    return NormalDist().inv_cdf(p)
