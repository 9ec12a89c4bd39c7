"""Right-censored times: the curve of those still without the event, its limits, quantiles and restricted mean.

statsmodels has the curve but no pointwise limits and no restricted mean; it is the reference in the tests.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis.distribution import normal_quantile

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LIMITS_LEAST = 4  # sessions for log-log limits: with 3 they cover 86 % where all of them ended with the event
_CELLS = 1_000_000  # numbers held at once


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
    return quantiles(curve, [q])[0]


def quantiles(curve: pd.DataFrame, of: Iterable[float]) -> list[tuple[float, float, float]]:
    """Return several quantiles of one curve, each as `quantile` has it."""
    at = curve.index.to_numpy(dtype=float)
    share, low, high = (curve[name].to_numpy(dtype=float) for name in ("share", "low", "high"))
    return [(_reached(at, share, 1 - q), _reached(at, low, 1 - q), _reached(at, high, 1 - q)) for q in of]


def _reached(at: Floats, share: Floats, left: float) -> float:
    slack = 1e-9  # a share of exactly one half may come out as 0.5000000001
    low = np.flatnonzero(share <= left + slack)
    if not len(low):
        return np.nan
    below = np.flatnonzero(share < share[low[0]] - slack)
    if abs(share[low[0]] - left) < slack and len(below):
        return float(at[low[0]] + at[below[0]]) / 2
    return float(at[low[0]])


def restricted_mean(time: Floats, occurred: Bools, horizon: float) -> tuple[float, float]:
    """Return (mean, standard error) of the time to the event within the first `horizon` seconds: the area under the
    curve.

    The variance is Greenwood's (Klein & Moeschberger 2003, section 4.5). Where nothing varied before the horizon
    there is no standard error (NaN): that few sessions agree is no certainty.
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
    variance = float(terms.sum())
    return float(areas.sum()), float(np.sqrt(variance)) if variance > 0 else np.nan


def known_to(time: Floats, occurred: Bools, horizon: float) -> bool:
    """Return whether the curve is known up to `horizon` seconds: somebody was watched so long, or nobody was left
    without the event."""
    last = time.max(initial=0.0)
    return bool(last >= horizon or occurred[time == last].all())


def common_horizon(groups: Sequence[tuple[Floats, Bools]]) -> float:
    """Return the longest time to which the curve of every group (its times, and which occurred) is known: the least of
    the last times that are censored; where there is none, the latest event, after which all is known."""
    lasts = [(float(time.max()), bool(occurred[time == time.max()].all())) for time, occurred in groups]
    return min((last for last, ended in lasts if not ended), default=max((last for last, _ in lasts), default=np.nan))


def jackknife(time: Floats, occurred: Bools, horizon: float) -> float:
    """Return the variance of the mean within the first `horizon` seconds from its pseudo-values, each session left out
    in turn (Miller 1974). A curve that then ends early keeps its last share."""
    n = len(time)
    order = np.argsort(time, kind="stable")
    at, first = np.unique(time[order], return_index=True)
    steps = np.diff(np.minimum(np.concatenate([[0.0], at, [horizon]]), horizon))
    without = []
    for start in range(0, n, max(1, _CELLS // n)):
        weight = np.ones((min(n, start + max(1, _CELLS // n)) - start, n))
        weight[np.arange(len(weight)), np.arange(start, start + len(weight))] = 0.0
        left = np.add.reduceat(weight, first, axis=1)
        events = np.add.reduceat(weight * occurred[order], first, axis=1)
        at_risk = np.cumsum(left[:, ::-1], axis=1)[:, ::-1]
        share = np.cumprod(1 - np.divide(events, at_risk, out=np.zeros_like(events), where=at_risk > 0), axis=1)
        without.append(steps[0] + share @ steps[1:])
    pseudo = n * restricted_mean(time, occurred, horizon)[0] - (n - 1) * np.concatenate(without)
    return float(pseudo.var(ddof=1)) / n


def _at_risk(time: Floats, at: Floats) -> Floats:
    return (len(time) - np.searchsorted(np.sort(time), at, side="left")).astype(np.float64)
