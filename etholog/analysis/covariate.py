"""Whether a covariate goes with a score, its values permuted within groups: within males, or within females.

Other labels are permuted in `permutation`; this takes numbers, so that a temperature need not be cut into classes.
"""

from collections.abc import Iterator
from itertools import permutations
from math import factorial, prod

import numpy as np
from numpy.typing import NDArray

from etholog.analysis.permutation import Floats, Labels, Permuted

ORDERS_AT_MOST = 5_040  # of the values in one group
SUMS_AT_MOST = 200_000  # over all groups
SHUFFLES = 9_999
_SLACK = 1e-9


def permute_within(scores: Floats, values: Floats, group: Labels, shuffles: int = SHUFFLES, seed: int = 0) -> Permuted:
    """Return the permutation p of |sum of `scores` times (`values` less their group's mean)|, all (n,).

    Only the order within a group moves, so that what differs between groups can't pass for the covariate. Exact where
    the orders are few enough, else p = (hits + 1) / (shuffles + 1) (Phipson & Smyth 2010). NaN where nothing can move.
    """
    rows = [np.flatnonzero(group == one) for one in np.unique(group)]
    rows = [own for own in rows if len(np.unique(values[own])) > 1 and len(np.unique(scores[own])) > 1]
    if not rows:
        return Permuted(np.nan, 1, True, np.nan, 0.0)
    pairs = [(scores[own], values[own] - values[own].mean()) for own in rows]
    observed = abs(sum(float(a @ x) for a, x in pairs))
    slack = _SLACK * max(1.0, sum(float(np.abs(a) @ np.abs(x)) for a, x in pairs))
    orders = [_orders(x) for _, x in pairs]
    total = prod(orders)
    whole = _all_sums(pairs) if max(orders) <= ORDERS_AT_MOST else None
    if whole is not None:
        sums, share = np.abs(whole[0]), whole[1]
        p, least = share[sums >= observed - slack].sum(), share[sums >= sums.max() - slack].sum()
        return Permuted(min(1.0, float(p)), total, True, float(least), 0.0)
    chance = np.random.default_rng(seed)
    sums = np.zeros(shuffles)
    for a, x in pairs:
        sums += chance.permuted(np.tile(x, (shuffles, 1)), axis=1) @ a
    hits = int((np.abs(sums) >= observed - slack).sum())
    p = (hits + 1) / (shuffles + 1)
    least = max(1 / (shuffles + 1), 1 / total)
    return Permuted(p, shuffles, False, least, float(np.sqrt(p * (1 - p) / shuffles)))


def _orders(values: Floats) -> int:
    return factorial(len(values)) // prod(factorial(int(n)) for n in np.unique(values, return_counts=True)[1])


def _all_sums(pairs: list[tuple[Floats, Floats]]) -> tuple[Floats, Floats] | None:
    """Return the distinct sums over all orders and the share of each, or None where they are too many."""
    sums, share = np.zeros(1), np.ones(1)
    for a, x in pairs:
        own = np.fromiter((float(a @ x[list(order)]) for order in _distinct(x)), float)
        if len(sums) * len(own) > 10 * SUMS_AT_MOST:
            return None
        sums, share = _merge((sums[:, None] + own).ravel(), np.repeat(share, len(own)) / len(own))
        if len(sums) > SUMS_AT_MOST:
            return None
    return sums, share


def _distinct(values: Floats) -> Iterator[tuple[int, ...]]:
    """Yield each order of values once, as places: of two that are equal the first stays first."""
    equal = np.unique(values, return_inverse=True)[1].tolist()
    before = [[at for at in range(i) if equal[at] == equal[i]] for i in range(len(values))]
    if not any(before):
        yield from permutations(range(len(values)))
        return

    def rest(taken: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        if len(taken) == len(values):
            yield taken
            return
        for at in range(len(values)):
            if at not in taken and all(one in taken for one in before[at]):
                yield from rest((*taken, at))

    yield from rest(())


def _merge(sums: Floats, share: NDArray[np.float64]) -> tuple[Floats, Floats]:
    rounded, place = np.unique(np.round(sums, 10), return_inverse=True)
    return rounded, np.bincount(place, weights=share).astype(np.float64)
