"""How many times as fast: every factor that the permutation test does not reject."""

import numpy as np

from etholog.analysis import logrank, permutation
from etholog.analysis.survival import Bools, Floats

LEAST = 4  # sessions of each
_LABELLINGS = 1_999
_FACTORS_AT_MOST = 32


def times_as_fast(
    time: Floats, occurred: Bools, second: permutation.Ints, stratum: permutation.Ints, seed: int = 0
) -> tuple[float, float]:
    """Return the least and the greatest factor at which the first may be as fast as the second (`second`: 0 for rows of
    the first, 1 for the second's), 95 %.

    The first's times, those that were cut too, are multiplied by it, and the studentised log-rank test compares them
    again (a test inverted; over every labelling, or 1,999 and the observed one where there are more). Between two
    ratios of times the order of all is the same, so that the ratios are all there is to try (where they are very many,
    some of them). 0 or infinite: open on that side, as few sessions leave it. NaN: no labelling of so few could be
    rejected.
    """
    labels = permutation.labellings(second, stratum, _LABELLINGS, seed)

    @np.errstate(over="ignore")
    def kept(factor: float) -> bool:
        statistic = logrank.statistic(np.where(second == 0, time * factor, time), occurred, stratum, 2)
        kernel = statistic.kernel(np.arange(len(time)))
        values = statistic.values(np.concatenate([kernel(second[None, :]), kernel(labels)]))[:, 0]
        return bool((values[1:] >= values[0] - 1e-6 * max(1e-4, values[0])).mean() > permutation.ALPHA)

    own, other = np.flatnonzero(second == 0), np.flatnonzero(second == 1)
    shared = (stratum[own][:, None] == stratum[other]) & (time[own][:, None] > 0) & (time[other] > 0)
    # Further apart than a hundred digits, the order of the times stays the same, and floats overflow.
    with np.errstate(over="ignore"):
        every = (time[other] / np.where(time[own] > 0, time[own], 1.0)[:, None])[shared]
    ratios = np.unique(np.clip(every, 1e-100, 1e100))
    if not len(ratios):
        return np.nan, np.nan
    if len(ratios) > _FACTORS_AT_MOST:
        ratios = np.quantile(ratios, np.linspace(0, 1, _FACTORS_AT_MOST), method="nearest")
    edges = np.concatenate([[0.0], ratios, [np.inf]])
    between = np.sqrt(np.concatenate([[ratios[0] / 4], ratios]) * np.concatenate([ratios, [ratios[-1] * 4]]))
    at = range(len(between))
    low = next((place for place in at if kept(between[place])), None)
    if low is None:
        return np.nan, np.nan
    high = next(place for place in reversed(at) if kept(between[place]))
    return float(edges[low]), float(edges[high + 1])
