"""Which of two came first: the share of the pairs of sessions in which the one was sooner than the other."""

from dataclasses import dataclass

import numpy as np

from etholog.analysis.distribution import t_quantile
from etholog.analysis.survival import Bools, Floats

LEAST = 3  # sessions of each for limits


@dataclass(frozen=True)
class Sooner:
    """In how many pairs of sessions the first was surely sooner, in how many surely later, of how many in all. Where a
    time was cut before the other's, their order is not known."""

    sooner: int
    later: int
    pairs: int

    @property
    def ordered(self) -> int:
        """How many pairs have an order; ties have none."""
        return self.sooner + self.later

    @property
    def share(self) -> float:
        """The share of the ordered pairs in which the first was sooner (Gehan 1965)."""
        return self.sooner / self.ordered if self.ordered else np.nan

    def limits(self, first: int, second: int) -> tuple[float, float]:
        """Return the 95 % limits, given how many sessions each has: score limits of P(X < Y) (Newcombe 2006, Statistics
        in Medicine 25:559, method 5; from memory), the numbers of sessions shrunk by the share of pairs that have
        an order, with Student's t in place of the normal. They are never of width 0: that all pairs went one way
        is no certainty."""
        if not self.ordered or min(first, second) < LEAST:
            return np.nan, np.nan
        shrunk = np.sqrt(self.ordered / (first * second))
        m, n = max(1.0, first * shrunk), max(1.0, second * shrunk)
        q = t_quantile(0.975, first + second - 2)
        return _lower(self.share, m, n, q), 1 - _lower(1 - self.share, n, m, q)


def _lower(share: float, m: float, n: float, q: float) -> float:
    """Return the lower limit by bisection; the upper one mirrors it. At 1 there is a false root, where nothing would
    vary: the search stays below."""
    if share <= 0:
        return 0.0
    low, high = 0.0, min(share, 1 - 1e-9)
    for _ in range(60):
        middle = (low + high) / 2
        apart = (1 - middle) / (2 - middle) + middle / (1 + middle)
        variance = middle * (1 - middle) * (1 + ((m + n) / 2 - 1) * apart) / (m * n)
        low, high = (low, middle) if share - middle <= q * np.sqrt(variance) else (middle, high)
    return low


def sooner_later(time_a: Floats, occurred_a: Bools, time_b: Floats, occurred_b: Bools) -> tuple[int, int]:
    """Return in how many pairs of sessions a came surely sooner, and in how many surely later (Gehan 1965); ties
    are neither."""
    return _sooner(time_a, occurred_a, time_b, occurred_b), _sooner(time_b, occurred_b, time_a, occurred_a)


def _sooner(time_a: Floats, occurred_a: Bools, time_b: Floats, occurred_b: Bools) -> int:
    came = time_a[occurred_a]
    # At one instant the event comes before the censoring, so a censored b is later than an event of a there.
    not_later = np.searchsorted(np.sort(time_b[occurred_b]), came, side="right").sum()
    not_later += np.searchsorted(np.sort(time_b[~occurred_b]), came, side="left").sum()
    return int(len(came) * len(time_b) - not_later)
