"""The limits of a share of a few."""


def wilson(count: int, of: int) -> tuple[float, float]:
    """Return the 95 % limits of a share (Wilson 1927; statsmodels); NaN where there is nothing to share."""
    if not of:
        return float("nan"), float("nan")
    from statsmodels.stats.proportion import proportion_confint

    low, high = proportion_confint(count, of, method="wilson")
    return float(low), float(high)
