"""The limits of a share of a few."""

from math import nan, sqrt

QUANTILE = 1.959963984540054  # of the standard normal, for 95 %


def wilson(count: float, of: float) -> tuple[float, float]:
    """Return the 95 % limits of the share `count` / `of` (Wilson 1927, J. Am. Stat. Assoc. 22:209), without continuity
    correction; NaN where there is nothing to share.

    >>> [round(limit, 3) for limit in wilson(15, 20)]
    [0.531, 0.888]
    """
    if not of:
        return nan, nan
    share, square = count / of, QUANTILE**2 / of
    middle = (share + square / 2) / (1 + square)
    half = QUANTILE / (1 + square) * sqrt((share * (1 - share) + square / 4) / of)
    return (0.0 if count == 0 else middle - half), (1.0 if count == of else middle + half)
