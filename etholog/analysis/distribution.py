"""Tails and quantiles of the distributions that nearly every command asks for.

scipy has them all, and is what the tests compare these with. But importing `scipy.special` takes as long as a fifth of
a whole command, and a report would import it in each of its processes.
"""

import math
from functools import cache, lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

LARGE = 1000.0  # degrees of freedom from which on the expansion of Student's t has all digits


@cache
def normal_quantile(p: float) -> float:
    """Return the standard normal quantile."""
    return NormalDist().inv_cdf(p)


def normal_tails(z: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the share of the standard normal that is as far from 0 as each number, on both sides."""
    return np.array([math.erfc(abs(value) / math.sqrt(2)) for value in z.flat]).reshape(z.shape)


def chi_squared_tail(statistic: float, df: int) -> float:
    """Return the upper tail of chi-squared; NaN where there is no statistic.

    A sum that begins with 1 or 2 degrees of freedom and goes up by 2 (NIST DLMF 8.8.6). All terms are positive, so a
    small tail keeps its digits.

    >>> round(chi_squared_tail(3.841459, 1), 6)
    0.05
    """
    if not df or not math.isfinite(statistic):
        return math.nan
    half = statistic / 2
    if half <= 0:
        return 1.0
    a, tail = (0.5, math.erfc(math.sqrt(half))) if df % 2 else (1.0, math.exp(-half))
    while a < df / 2:
        tail += math.exp(a * math.log(half) - half - math.lgamma(a + 1))
        a += 1
    return tail


@lru_cache(maxsize=1024)  # degrees of freedom are no whole numbers, so in simulations there is no end of them
def t_quantile(p: float, df: float) -> float:
    """Return the quantile of Student's t for 0.5 <= p <= 0.99; NaN under one degree of freedom.

    With t = sqrt(df) tan(angle) the distribution is an integral of cos(angle) ** (df - 1) (Abramowitz & Stegun 1964,
    26.7.1), which turns into a concave function of the angle, so Newton's steps never go too far. For many degrees of
    freedom: their expansion 26.7.5.

    >>> round(t_quantile(0.975, 5), 3)
    2.571
    """
    if not df > 1 - 1e-9:
        return math.nan
    if df > LARGE:
        z = normal_quantile(p)
        terms = (
            (z**3 + z) / 4,
            (5 * z**5 + 16 * z**3 + 3 * z) / 96,
            (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
            (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160,
        )
        return z + sum(term / df**power for power, term in enumerate(terms, 1))
    nodes, weights = _gauss_legendre()
    height = math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2)) / math.sqrt(math.pi)
    angle, step = 0.0, 1.0
    while step > 1e-14 * angle:
        below = height * angle / 2 * float(weights @ np.cos(angle * (nodes + 1) / 2) ** (df - 1))
        step = (p - 0.5 - below) / (height * math.cos(angle) ** (df - 1))
        angle += step
    return math.sqrt(df) * math.tan(angle)


@cache
def _gauss_legendre() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return nodes on -1 .. 1 and weights: to find them takes longer than the integral."""
    return np.polynomial.legendre.leggauss(40)
