"""How many times as much: the ratio of two groups' ratios (rates, shares, lengths), with its 95 % limits.

What varies depends on whose the groups are: the sessions of two males, whole males of two kinds, or the sessions of
each male under two conditions. All are on the logarithmic scale, with Student's t. How often such limits hold:
`tests/bench/calibration.csv`. No library has limits of a ratio over males crossed with females.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from etholog.analysis.distribution import t_quantile

Floats = NDArray[np.float64]
Ints = NDArray[np.integer[Any]]

SESSIONS_LEAST = 4  # of each of two males
ANIMALS_LEAST = 3  # in each of two groups of animals
BOTH_LEAST = 4  # animals that were under both conditions
FEWEST_MATES = 4  # or one, for whom alone the limits then hold
_NOTHING = 1e-18  # a variance that is rounding


class Ratio(NamedTuple):
    """The second group's by the first's, its 95 % limits, and why there are none."""

    value: float
    low: float = np.nan
    high: float = np.nan
    why: str = ""


def of_sessions(above: Floats, below: Floats, second: Ints) -> Ratio:
    """Return (sum above / sum below) of the second (1) by that of the first (0): by the jackknife of each logarithm,
    sessions left out in turn (Miller 1974), with Welch's degrees of freedom (1947)."""
    logs, variances, counts = [], [], []
    for group in (0, 1):
        x, w = above[second == group], below[second == group]
        n = len(x)
        with np.errstate(divide="ignore", invalid="ignore"):
            log = np.log(x.sum() / w.sum())
            pseudo = n * log - (n - 1) * np.log((x.sum() - x) / (w.sum() - w)) if n > 1 else np.full(n, np.nan)
        logs.append(float(log))
        variances.append(float(pseudo.var(ddof=1)) / n if n > 1 and np.isfinite(pseudo).all() else np.nan)
        counts.append(n)
    with np.errstate(over="ignore", invalid="ignore"):
        value = float(np.exp(logs[1] - logs[0]))
    if min(counts) < SESSIONS_LEAST:
        return Ratio(value, why=f"under {SESSIONS_LEAST} sessions")
    if not np.isfinite(variances).all():
        return Ratio(value, why="it came in fewer than two sessions")
    if not sum(variances) > _NOTHING:
        return Ratio(value, why="all sessions are alike")
    return _limits(value, sum(variances), _welch(variances, counts))


def of_animals(above: Floats, below: Floats, animal: Ints, mate: Ints, second: Ints, counted: bool) -> Ratio:
    """Return the typical animal (the geometric mean of animals' own ratios) of the second group by that of the first,
    for groups that belong to the animal: Welch's t (1947) of the logarithms, with the mates' part of the variance.

    `counted`: half an event is added to each animal, as to every typical rate."""
    own, place = np.unique(animal, return_inverse=True)
    group = np.zeros(len(own), dtype=np.intp)
    group[place] = second
    rate, total = _rates(above, below, place, len(own), counted)
    many = np.bincount(group, minlength=2)
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = [np.log(rate[group == one]) for one in (0, 1)]
        value = float(np.exp(logs[1].mean() - logs[0].mean())) if many.all() and rate.all() else np.nan
    if why := _missing(rate, int(many.min()), ANIMALS_LEAST, "in each group", mate, bool(above.any())):
        return Ratio(value, why=why)
    variances = [float(log.var(ddof=1)) / len(log) for log in logs]
    influence = np.where(second, 1.0, -1.0) / many[second] * (above / rate[place] - below) / total[place]
    mates, of_mates = _of_mates(influence, place, mate)
    if not sum(variances) + of_mates > _NOTHING:
        return Ratio(value, why="all are alike")
    df = _welch(variances, many.tolist()) if sum(variances) > _NOTHING else float(many.min() - 1)
    return _limits(value, sum(variances) + of_mates, min(df, mates - 1) if mates > 1 else df)


def within_animals(above: Floats, below: Floats, animal: Ints, mate: Ints, second: Ints, counted: bool) -> Ratio:
    """Return the ratio of the typical animal under the second condition to himself under the first: Student's t of the
    differences of logarithms, over animals that were under both, with the mates' part of the variance."""
    both = np.intersect1d(animal[second == 0], animal[second == 1])
    kept = np.isin(animal, both)
    above, below, mate, second = above[kept], below[kept], mate[kept], second[kept]
    place = np.searchsorted(both, animal[kept])
    cell = 2 * place + second
    rate, total = _rates(above, below, cell, 2 * len(both), counted)
    with np.errstate(divide="ignore", invalid="ignore"):
        apart = np.log(rate[1::2] / rate[::2])
        value = float(np.exp(apart.mean())) if len(both) and rate.all() else np.nan
    if why := _missing(rate, len(both), BOTH_LEAST, "under both", mate, bool(above.any())):
        return Ratio(value, why=why)
    influence = np.where(second, 1.0, -1.0) / len(both) * (above / rate[cell] - below) / total[cell]
    mates, of_mates = _of_mates(influence, place, mate)
    variance = float(apart.var(ddof=1)) / len(both) + of_mates
    if not variance > _NOTHING:
        return Ratio(value, why="all are alike")
    df = float(len(both) - 1)
    return _limits(value, variance, min(df, mates - 1) if mates > 1 else df)


def _rates(above: Floats, below: Floats, cell: Ints, cells: int, counted: bool) -> tuple[Floats, Floats]:
    total = np.bincount(cell, below, cells)
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = (np.bincount(cell, above, cells) + (0.5 if counted else 0.0)) / total
    return rate.astype(np.float64), total.astype(np.float64)


def _missing(rate: Floats, animals: int, least: int, where: str, mate: Ints, came: bool) -> str:
    if animals < least:
        return f"{animals} of {least} animals {where}"
    if not came:
        return "it never came"
    if not (np.isfinite(rate).all() and (rate > 0).all()):
        return "some have none of it"
    mates = len(np.unique(mate))
    return f"{mates} of {FEWEST_MATES} mates" if 1 < mates < FEWEST_MATES else ""


def _of_mates(influence: Floats, place: Ints, mate: Ints) -> tuple[int, float]:
    """Return how many mates there are (0: they have no names), and by how much they vary beyond each row's pair."""
    if (mate < 0).any():
        return 0, 0.0
    mates = len(np.unique(mate))
    if mates < 2:
        return mates, 0.0
    pair = place * (int(mate.max()) + 1) + mate
    return mates, max(0.0, _squares(influence, mate) - _squares(influence, pair))


def _squares(influence: Floats, cluster: Ints) -> float:
    sums = np.bincount(np.unique(cluster, return_inverse=True)[1], influence)
    return float((sums**2).sum() * len(sums) / max(1, len(sums) - 1))


def _welch(variances: list[float], counts: list[int]) -> float:
    return float(sum(variances) ** 2 / sum(v**2 / (n - 1) for v, n in zip(variances, counts, strict=True)))


def _limits(value: float, variance: float, df: float) -> Ratio:
    factor = float(np.exp(t_quantile(0.975, df) * np.sqrt(variance)))
    return Ratio(value, value / factor, value * factor)
