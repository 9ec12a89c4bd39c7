"""Permutation of group labels within strata, for a statistic that depends on the sums of fixed scores by group.

scipy's `permutation_test` shuffles only balanced blocks of one row a cell, and calls Python for every shuffle; it is
the reference in the tests where it applies.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import factorial, lcm, prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Labels = NDArray[np.integer[Any]]

LABELLINGS_AT_MOST = 40_000  # in one stratum
SUMS_AT_MOST = 40_000  # distinct vectors of sums, over all strata: more would take longer than a second
_LATTICE_STRATUM = 12  # rows; the common unit of 13 would be 360,360 to one
_LATTICE_POINTS = 1_000_000
_CELLS = 2_000_000  # numbers shuffled at once
_DIGITS = 9  # sums that differ by less are one sum: a discrete null must not be split by rounding


@dataclass(frozen=True)
class Permuted:
    """The permutation p, how many labellings it rests on, whether they are all there are, the smallest p that the
    design could have given, and the Monte Carlo error of p (0 where exact)."""

    p: float
    labellings: int
    exact: bool
    smallest_p: float
    error: float


def distinct(labels: Labels, stratum: Labels) -> int:
    """Return how many distinct labellings there are when labels move within strata only."""
    total = 1
    for one in np.unique(stratum):
        counts = np.bincount(labels[stratum == one])
        total *= factorial(int(counts.sum())) // prod(factorial(int(c)) for c in counts)
    return total


def test(scores: Floats, labels: Labels, stratum: Labels, shuffles: int, seed: int) -> Permuted:
    """Permute `labels` (n,), 0 .. k-1, within `stratum` (n,).

    Statistic: u' V^- u, where u are the groups' sums of `scores` and V their covariance over all labellings, so that
    V is the same for each of them. For two groups this ranks as |u| does. Exact, by adding up one stratum after
    another, where there are few enough distinct sums; else `shuffles` random ones, with p = (hits + 1) / (shuffles +
    1) (Phipson & Smyth 2010).
    """
    k = int(labels.max()) + 1
    centre, inverse = _moments(scores, labels, stratum, k)
    observed = _form(_sums(scores, labels, k)[None, :], centre, inverse)[0]
    total = distinct(labels, stratum)
    whole = _all_sums(scores, labels, stratum, k)
    if whole is not None:
        sums, weights = whole
        values = _form(sums, centre, inverse)
        share = weights / weights.sum()
        top = values.max() - _slack(values.max())
        hits = share[values >= observed - _slack(observed)].sum()
        return Permuted(float(min(hits, 1.0)), total, True, float(share[values >= top].sum()), 0.0)
    return shuffled(scores, labels, stratum, shuffles, seed)


def shuffled(scores: Floats, labels: Labels, stratum: Labels, shuffles: int, seed: int) -> Permuted:
    """Permute as `test` does, by random shuffles whether or not all could be gone through."""
    k = int(labels.max()) + 1
    centre, inverse = _moments(scores, labels, stratum, k)
    observed = _form(_sums(scores, labels, k)[None, :], centre, inverse)[0]
    generator = np.random.default_rng(seed)
    values = _form(_random_sums(scores, labels, stratum, k, shuffles, generator), centre, inverse)
    hits = int((values >= observed - _slack(observed)).sum())
    p = (hits + 1) / (shuffles + 1)
    return Permuted(p, shuffles, False, 1 / (shuffles + 1), float(np.sqrt(p * (1 - p) / shuffles)))


def _slack(value: float) -> float:
    return 1e-7 * max(1.0, abs(value))


def _sums(scores: Floats, labels: Labels, k: int) -> Floats:
    return np.bincount(labels, weights=scores, minlength=k).astype(np.float64)


def _form(sums: Floats, centre: Floats, inverse: Floats) -> Floats:
    away = sums - centre
    return np.asarray(((away @ inverse) * away).sum(axis=1))


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


def _all_sums(scores: Floats, labels: Labels, stratum: Labels, k: int) -> tuple[Floats, Floats] | None:
    """Return every distinct vector of sums and its weight, or None where there are too many."""
    lattice = _two_groups(scores, labels, stratum) if k == 2 else None
    if lattice is not None:
        return lattice
    sums, weights = np.zeros((1, k)), np.ones(1)
    for one in np.unique(stratum):
        inside = stratum == one
        if distinct(labels[inside], stratum[inside]) > LABELLINGS_AT_MOST:
            return None
        own, own_weights = _stratum_sums(scores[inside], labels[inside], k)
        if len(sums) * len(own) > 10 * SUMS_AT_MOST:
            return None
        sums, weights = _merge(
            (sums[:, None, :] + own[None, :, :]).reshape(-1, k), np.outer(weights, own_weights).reshape(-1)
        )
        if len(sums) > SUMS_AT_MOST:
            return None
    return sums, weights


def _two_groups(scores: Floats, labels: Labels, stratum: Labels) -> tuple[Floats, Floats] | None:
    """Return the sums of all labellings and their weights where scores are fractions of a small common unit, as
    log-rank scores of small strata are: the counts of each stratum (one score after another taken or not) are
    convolved, and no labelling is ever written down."""
    sizes = np.bincount(np.unique(stratum, return_inverse=True)[1])
    if sizes.max() > _LATTICE_STRATUM:
        return None
    unit = lcm(*range(1, int(sizes.max()) + 1))
    whole = np.rint(scores * unit)
    if np.abs(scores * unit - whole).max() > 1e-6:
        return None
    share, low = np.ones(1), 0
    for one in np.unique(stratum):
        inside = stratum == one
        taken = int((labels[inside] == 0).sum())
        steps = whole[inside].astype(np.int64)
        least = int(steps.min())
        steps -= least
        top = int(np.sort(steps)[len(steps) - taken :].sum())
        if len(share) + top > _LATTICE_POINTS:
            return None
        ways = np.zeros((taken + 1, top + 1))
        ways[0, 0] = 1
        for step in steps[steps <= top]:
            for so_many in range(taken, 0, -1):
                ways[so_many, step:] += ways[so_many - 1, : top + 1 - step]
        share = np.convolve(share, ways[taken] / ways[taken].sum())
        low += least * taken
    found = np.flatnonzero(share)
    sums = (found + low) / unit
    return np.stack([sums, scores.sum() - sums], axis=1), share[found]


def _stratum_sums(scores: Floats, labels: Labels, k: int) -> tuple[Floats, Floats]:
    counts = np.bincount(labels, minlength=k)
    rows = np.array(list(_labellings(tuple(int(c) for c in counts))), dtype=np.int8)
    sums = np.stack([(rows == group) @ scores for group in range(k)], axis=1)
    return _merge(sums, np.ones(len(sums)))


def _merge(sums: Floats, weights: Floats) -> tuple[Floats, Floats]:
    rounded, place = np.unique(np.round(sums, _DIGITS), axis=0, return_inverse=True)
    return rounded, np.bincount(place.reshape(-1), weights=weights).astype(np.float64)


def _labellings(counts: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """Yield each distinct order of labels that come so many times each."""
    if not any(counts):
        yield ()
        return
    for group, count in enumerate(counts):
        if count:
            for rest in _labellings((*counts[:group], count - 1, *counts[group + 1 :])):
                yield (group, *rest)


def _random_sums(
    scores: Floats, labels: Labels, stratum: Labels, k: int, shuffles: int, generator: np.random.Generator
) -> Floats:
    sums = np.zeros((shuffles, k))
    for one in np.unique(stratum):
        inside = np.flatnonzero(stratum == one)
        # Shuffling the scores under fixed labels is the same as shuffling the labels.
        order = np.argsort(labels[inside], kind="stable")
        groups, starts = np.unique(labels[inside][order], return_index=True)
        step = max(1, _CELLS // len(inside))
        for start in range(0, shuffles, step):
            many = min(step, shuffles - start)
            drawn = generator.permuted(np.tile(scores[inside], (many, 1)), axis=1)
            sums[start : start + many, groups] += np.add.reduceat(drawn, starts, axis=1)
    return sums
