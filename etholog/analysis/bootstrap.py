"""Resampling whole animals: limits that know that the sessions of one male are not independent of each other.

scipy's `bootstrap` draws single rows and not whole clusters, so this draws clusters and hands on weights; it is the
reference in the tests where every cluster is one row.
"""

from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.integer[Any]]

RESAMPLES = 2_000
_ALL_AT_MOST = 4_000
_ROWS_DRAWN = 20_000_000  # rows drawn in all


def enough(rows: int) -> int:
    """Return how many resamples of so many rows are enough: a large season needs fewer, and 200 at least."""
    return min(RESAMPLES, max(200, _ROWS_DRAWN // max(1, rows)))


def draws(clusters: int, resamples: int = RESAMPLES, seed: int = 0) -> NDArray[np.int64]:
    """Return (resamples, clusters): how often each cluster comes when as many are drawn with replacement.

    Where there are few enough, every one of the n**n resamples once, so that no chance is left in the limits.
    """
    if clusters**clusters <= _ALL_AT_MOST:
        every = np.array(list(product(range(clusters), repeat=clusters)), dtype=np.int64).reshape(-1, clusters)
        return np.asarray((every[:, :, None] == np.arange(clusters)).sum(axis=1), dtype=np.int64)
    return np.random.default_rng(seed).multinomial(clusters, np.full(clusters, 1 / clusters), size=resamples)


def limits(values: Floats, level: float = 0.95) -> tuple[float, float]:
    """Return the percentile limits (Efron & Tibshirani 1993; quantiles of type 7).

    NaN where nothing is known, and where every resample says the same: that is no limit, only a lack of sessions.
    """
    known = values[np.isfinite(values)]
    if not len(known) or known.min() == known.max():
        return np.nan, np.nan
    low, high = np.quantile(known, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def ratio_limits(
    above: Floats, below: Floats, cluster: Ints, resamples: int = RESAMPLES, seed: int = 0
) -> tuple[float, float]:
    """Return the limits of sum(above) / sum(below) over rows, whole clusters drawn; NaN with fewer than two
    clusters."""
    ids, place = np.unique(cluster, return_inverse=True)
    if len(ids) < 2:
        return np.nan, np.nan
    times = draws(len(ids), resamples, seed)
    top, bottom = (times @ np.bincount(place, weights=column, minlength=len(ids)) for column in (above, below))
    with np.errstate(divide="ignore", invalid="ignore"):
        return limits(np.where(bottom > 0, top / bottom, np.nan))
