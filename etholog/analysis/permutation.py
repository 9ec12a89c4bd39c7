"""Permutation of group labels within strata, for any statistic whose parts add up over the strata.

scipy's `permutation_test` shuffles only balanced blocks of one row a cell, and calls Python for every shuffle; it is
the reference in the tests where it applies.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations
from math import comb, factorial, prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.integer[Any]]
Labels = NDArray[np.integer[Any]]

SHUFFLES = 10_000
ALPHA = 0.05  # a design that can't give such a p says nothing, and has none
SHUFFLES_AT_LEAST = 999  # however large the season
LABELLINGS_AT_MOST = 40_000  # in one stratum
_EXACT_WORK = 4_000_000  # numbers added up on the way through every labelling: some half a second
_SHUFFLED_WORK = 40_000_000  # numbers that all shuffles may cost together: some second
_CELLS = 400_000  # numbers held at once
_DIGITS = 9  # sums that differ by less are one sum: a discrete null must not be split by rounding

Kernel = Callable[[Labels], Floats]


@dataclass(frozen=True)
class Statistic:
    """What is ranked. `kernel` takes the rows of whole strata and returns a function from their labels (b, n) to
    sums (b, d) that add up over strata. `values` turns added sums (b, d) into (b, q): q statistics, of which large
    values speak against the null. `cost` is how many numbers a row costs in one labelling."""

    kernel: Callable[[Ints], Kernel]
    values: Callable[[Floats], Floats]
    cost: int = 1


@dataclass(frozen=True)
class Permuted:
    """The permutation p, how many labellings it rests on, whether they are all there are, the smallest p that the
    design could have given, and the Monte Carlo error of p (0 where exact)."""

    p: float
    labellings: int
    exact: bool
    smallest_p: float
    error: float

    @property
    def usable(self) -> bool:
        """Whether the design can give a p of .05 at all. One that cannot says nothing, whatever the animals do."""
        return self.smallest_p <= ALPHA


NOTHING = Permuted(np.nan, 0, False, np.nan, 0.0)


def largest(found: Iterable[Permuted]) -> Permuted:
    """Return the one with the largest p; nothing where any has none."""
    every = list(found)
    if any(np.isnan(one.p) for one in every):
        return NOTHING
    return replace(max(every, key=lambda one: one.p), smallest_p=max(one.smallest_p for one in every))


def permute(statistic: Statistic, labels: Labels, stratum: Labels, shuffles: int = SHUFFLES, seed: int = 0) -> Permuted:
    """Permute `labels` (n,), 0 .. k-1, within `stratum` (n,).

    Exact, by adding up one stratum after another, where that is little work (it is bounded before each step); else
    `shuffles` random labellings, with p = (hits + 1) / (shuffles + 1) (Phipson & Smyth 2010), and fewer where the
    season is large. Where there are several statistics, each labelling counts by the smaller of its tail ranks in
    them, all from the same labellings: one p, and no correction is needed.
    """
    every = np.arange(len(labels))
    observed = statistic.kernel(every)(labels[None, :])
    whole = _all_sums(statistic, labels, stratum)
    exact = whole is not None
    if whole is None:
        many = int(_SHUFFLED_WORK // (len(labels) * statistic.cost))
        shuffles = min(shuffles, max(SHUFFLES_AT_LEAST, many))
        sums = _random_sums(statistic, labels, stratum, shuffles, seed)
        weights = np.ones(shuffles + 1)
    else:
        observed, sums, weights = whole
        weights = np.concatenate([[0.0], weights])
    values = statistic.values(np.concatenate([observed, sums]))
    tails = np.stack([_tail(column, weights) for column in values.T], axis=1).min(axis=1)
    p = tails if values.shape[1] == 1 else _tail(-tails, weights)
    own, least = float(p[0]), float(p.min())
    if exact:
        return Permuted(own, distinct(labels, stratum), True, least, 0.0)
    return Permuted(own, shuffles, False, least, float(np.sqrt(own * (1 - own) / shuffles)))


def test(scores: Floats, labels: Labels, stratum: Labels, shuffles: int = SHUFFLES, seed: int = 0) -> Permuted:
    """Permute as `permute` does for fixed `scores` (n,): u' V^- u, where u are the groups' sums of scores and V their
    covariance over all labellings. For two groups this ranks as |u| does."""
    return permute(fixed(scores, labels, stratum), labels, stratum, shuffles, seed)


def fixed(scores: Floats, labels: Labels, stratum: Labels) -> Statistic:
    """Return the quadratic statistic of fixed scores; V is the same for each labelling."""
    k = int(labels.max()) + 1
    centre, inverse = _moments(scores, labels, stratum, k)

    def kernel(rows: Ints) -> Kernel:
        own = scores[rows]
        return lambda labels: np.stack([(labels == group) @ own for group in range(k)], axis=1)

    def values(sums: Floats) -> Floats:
        away = sums - centre
        return np.asarray(((away @ inverse) * away).sum(axis=1, keepdims=True))

    return Statistic(kernel, values, k)


def distinct(labels: Labels, stratum: Labels) -> int:
    """Return how many distinct labellings there are when labels move within strata only."""
    total = 1
    for one in np.unique(stratum):
        total *= _ways(np.bincount(labels[stratum == one]))
    return total


def labellings(labels: Labels, stratum: Labels, most: int, seed: int) -> Labels:
    """Return (b, n) labellings: every one there is, if they are at most so many; else the observed one and so many
    random ones."""
    if distinct(labels, stratum) > most:
        drawn = list(_shuffled(labels, stratum, most, seed, _CELLS // len(labels)))
        return np.concatenate([labels[None, :], *drawn])
    out = np.zeros((1, len(labels)), dtype=np.int8)
    for one in np.unique(stratum):
        inside = np.flatnonzero(stratum == one)
        own = _orders(tuple(np.bincount(labels[inside]).tolist()))
        out = np.repeat(out, len(own), axis=0)
        out[:, inside] = np.tile(own, (len(out) // len(own), 1))
    return out


def _ways(counts: Ints) -> int:
    return factorial(int(counts.sum())) // prod(factorial(int(count)) for count in counts)


def _tail(values: Floats, weights: Floats) -> Floats:
    """Return the share of what is at least as large as each value, but for rounding."""
    order = np.argsort(values)
    below = np.concatenate([[0.0], np.cumsum(weights[order])])
    slack = 1e-6 * np.maximum(1e-4, np.abs(values))
    slack[~np.isfinite(slack)] = 0.0
    more = below[-1] - below[np.searchsorted(values[order], values - slack)]
    return np.asarray(np.minimum(1.0, more / below[-1]), dtype=np.float64)


def _moments(scores: Floats, labels: Labels, stratum: Labels, k: int) -> tuple[Floats, Floats]:
    """Return the mean of u and the pseudo-inverse of its covariance, under sampling without replacement within
    strata."""
    centre, variance = np.zeros(k), np.zeros((k, k))
    for one in np.unique(stratum):
        inside = stratum == one
        a, counts = scores[inside], np.bincount(labels[inside], minlength=k).astype(float)
        n = len(a)
        centre += counts * a.mean()
        if n > 1:
            spread = ((a - a.mean()) ** 2).sum() / (n - 1)
            variance += spread * (np.diag(counts) - np.outer(counts, counts) / n)
    return centre, np.asarray(np.linalg.pinv(variance, rcond=1e-10, hermitian=True), dtype=np.float64)


def _all_sums(statistic: Statistic, labels: Labels, stratum: Labels) -> tuple[Floats, Floats, Floats] | None:
    """Return the sum of these labels, every distinct sum and its weight, or None where that would be too much work.
    All are rounded at the same steps, so that the first is one of the others."""
    rest, moving, work = [], [], 0
    for one in np.unique(stratum):
        part = np.flatnonzero(stratum == one)
        count = np.bincount(labels[part])
        ways = _ways(count)
        work += ways * len(part) * statistic.cost
        if ways > LABELLINGS_AT_MOST or work > _EXACT_WORK:
            return None
        if ways == 1:
            rest.append(part)
        else:
            moving.append((part, tuple(count.tolist())))
    own = []
    for part, counts in moving:
        orders, kernel = _orders(counts), statistic.kernel(part)
        own.append((*_merge(kernel(orders), np.ones(len(orders))), _rounded(kernel(labels[None, part]))))
    own.sort(key=lambda one: (len(one[0]), one[0].tobytes()))
    if work + _merging([sums for sums, *_ in own]) > _EXACT_WORK:
        return None
    still = np.concatenate(rest) if rest else np.zeros(0, dtype=np.intp)
    observed = sums = _rounded(statistic.kernel(still)(labels[None, still]))
    weights = np.ones(1)
    for more, more_weights, seen in own:
        observed = _rounded(observed + seen)
        both = (sums[:, None, :] + more[None, :, :]).reshape(-1, more.shape[1])
        sums, weights = _merge(both, np.outer(weights, more_weights).reshape(-1))
    return observed, sums, weights


def _merging(own: list[Floats]) -> int:
    """Return how many numbers are added up, at most, when these strata are put together one after another. Strata
    that look the same, as pairs do, have few sums together: in whichever of them a labelling falls, the sum is one."""
    work, others, together, alike = 0, 1, 1, 0
    before = b""
    for sums in own:
        if sums.tobytes() != before:
            others, alike, before = together, 0, sums.tobytes()
        work += together * sums.size
        alike += 1
        together = others * comb(alike + len(sums) - 1, alike)
    return work


def _merge(sums: Floats, weights: Floats) -> tuple[Floats, Floats]:
    rounded, place = np.unique(_rounded(sums), axis=0, return_inverse=True)
    return rounded, np.bincount(place.reshape(-1), weights=weights).astype(np.float64)


def _rounded(sums: Floats) -> Floats:
    return np.asarray(np.round(sums, _DIGITS) + 0.0, dtype=np.float64)  # no -0.0


@lru_cache(maxsize=64)
def _orders(counts: tuple[int, ...]) -> NDArray[np.int8]:
    """Return (ways, n): each distinct order of labels that come so many times each."""
    n = sum(counts)
    if len(counts) < 2 or n == 0:
        return np.zeros((1, n), dtype=np.int8)
    chosen = np.array(list(combinations(range(n), counts[0])), dtype=np.intp).reshape(comb(n, counts[0]), counts[0])
    rest = _orders(counts[1:]) + np.int8(1)
    free = np.ones((len(chosen), n), dtype=bool)
    np.put_along_axis(free, chosen, False, axis=1)
    out = np.zeros((len(chosen), len(rest), n), dtype=np.int8)
    others = np.nonzero(free)[1].reshape(len(chosen), n - counts[0])
    np.put_along_axis(out, np.broadcast_to(others[:, None, :], (*out.shape[:2], others.shape[1])), rest[None], axis=2)
    return out.reshape(-1, n)


def _shuffled(labels: Labels, stratum: Labels, shuffles: int, seed: int, step: int) -> Iterator[Labels]:
    """Yield random labellings, blocks (b, n) of so many at once."""
    generator = np.random.default_rng(seed)
    parts = [np.flatnonzero(stratum == one) for one in np.unique(stratum)]
    small = labels.astype(np.int8 if labels.max() < 127 else np.intp)
    for start in range(0, shuffles, max(1, step)):
        drawn = np.tile(small, (min(max(1, step), shuffles - start), 1))
        for part in parts:
            drawn[:, part] = generator.permuted(drawn[:, part], axis=1)
        yield drawn


def _random_sums(statistic: Statistic, labels: Labels, stratum: Labels, shuffles: int, seed: int) -> Floats:
    kernel = statistic.kernel(np.arange(len(labels)))
    step = _CELLS // (len(labels) * statistic.cost)
    return np.concatenate([kernel(drawn) for drawn in _shuffled(labels, stratum, shuffles, seed, step)])
