"""Shuffles of order within sessions: does one behaviour follow another more often than in sequences of the same acts?

Animals repeat themselves, so acts are shuffled within each unbroken sequence and never between them. What can't follow
something (as a rule itself) must not follow it in the shuffles either: forgetting that makes p several times too small.
scipy's `permutation_test` knows no such constraint.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from etholog.analysis.permutation import SHUFFLES

Codes = NDArray[np.integer]
Floats = NDArray[np.float64]

# Where of two acts one can follow the other and not the other way round, most steps are taken back: it takes more of
# them, and fewer turns, which cost the most.
_MORE_STEPS, _TURNS = 4, 1 / 8


@dataclass(frozen=True)
class Shuffled:
    """For each cell (first, next), all (k, k): `more`, the share of shuffles with at least as many as were counted,
    and `p`, two-sided. `p_whole`: of the whole table's distance from the shuffles' mean, by chi-squared. Each is
    (hits + 1) / (`shuffles` + 1) (Phipson & Smyth 2010)."""

    counts: NDArray[np.int64]
    mean: Floats
    more: Floats
    p: Floats
    p_whole: float
    shuffles: int


def within(
    runs: Sequence[Codes], k: int, impossible: NDArray[np.bool_], shuffles: int = SHUFFLES, seed: int = 0
) -> Shuffled:
    """Shuffle each sequence of codes 0 .. k-1 and count again. `impossible` (k, k): which (down) can't be followed by
    which (across); none of these may be in the sequences."""
    # Before the first and after the last, number k, anything can be.
    barred = np.pad(impossible, (0, 1))
    generator = np.random.default_rng(seed)
    cells = k * k
    observed = np.zeros(cells, dtype=np.int64)
    found = np.zeros((shuffles, cells), dtype=np.int32)
    rows = np.arange(shuffles)[:, None] * cells
    for one in runs:
        if len(one) < 2:
            continue
        run: NDArray[np.int64] = np.asarray(one, dtype=np.int64)
        observed += np.bincount(run[:-1] * k + run[1:], minlength=cells)
        if impossible.any():
            drawn = _without(run, barred, shuffles, generator)
        else:
            drawn = generator.permuted(np.tile(run, (shuffles, 1)), axis=1)
        pairs = rows + drawn[:, :-1] * k + drawn[:, 1:]
        found += np.bincount(pairs.reshape(-1), minlength=found.size).reshape(found.shape).astype(np.int32)
    more = ((found >= observed).sum(axis=0) + 1) / (shuffles + 1)
    less = ((found <= observed).sum(axis=0) + 1) / (shuffles + 1)
    mean = (found.sum(axis=0) + observed) / (shuffles + 1)
    away = _away(found, mean)
    whole = (int((away >= _away(observed[None, :], mean)[0] - 1e-9).sum()) + 1) / (shuffles + 1)
    p = np.minimum(1.0, 2 * np.minimum(more, less))
    shape = (k, k)
    return Shuffled(
        observed.reshape(shape), mean.reshape(shape), more.reshape(shape), p.reshape(shape), whole, shuffles
    )


def _away(counts: NDArray[np.integer], mean: Floats) -> Floats:
    some = mean > 0
    return np.asarray(((counts[:, some] - mean[some]) ** 2 / mean[some]).sum(axis=1), dtype=np.float64)


def _without(
    run: NDArray[np.int64], barred: NDArray[np.bool_], shuffles: int, generator: np.random.Generator
) -> NDArray[np.int64]:
    """Return (shuffles, n) orders of the run in which nothing follows what it can't.

    By random swaps and turned stretches, each taken back where it would bring together what is barred. All start from
    one order that was reached from the run itself by as many steps, so that p holds however few they are (Besag &
    Clifford 1989, their parallel method).
    """
    own = barred[np.ix_(run, run)]
    one_way = bool((own != own.T).any())
    steps = (int(2 * len(run) * np.log(len(run) + 1)) + 10) * (_MORE_STEPS if one_way else 1)
    hub = _walk(run[None, :], barred, one_way, steps, generator)
    return _walk(np.repeat(hub, shuffles, axis=0), barred, one_way, steps, generator)


def _walk(
    orders: NDArray[np.int64], barred: NDArray[np.bool_], one_way: bool, steps: int, generator: np.random.Generator
) -> NDArray[np.int64]:
    many, n = orders.shape
    wide = len(barred)
    edged = np.full((many, n + 2), wide - 1, dtype=np.int64)
    edged[:, 1:-1] = orders
    every, columns = np.arange(many), np.arange(n + 2)[None, :]

    def cannot(first: NDArray[np.int64], after: NDArray[np.int64]) -> NDArray[np.bool_]:
        return barred.take(first * wide + after)  # of one index, several times faster than of two

    for turn in generator.random(steps) < (_TURNS if one_way else 0.5):
        ends = np.sort(generator.integers(1, n + 1, size=(2, many)), axis=0)
        i, j = ends
        if turn:
            good = ~cannot(edged[every, i - 1], edged[every, j]) & ~cannot(edged[every, i], edged[every, j + 1])
            inside = good[:, None] & (columns >= i[:, None]) & (columns <= j[:, None])
            turned = np.take_along_axis(edged, np.where(inside, (i + j)[:, None] - columns, columns), axis=1)
            if one_way:  # what may stand before the other need not be able to stand after it
                bad = cannot(turned[:, :-1], turned[:, 1:]).any(axis=1)
                turned[bad] = edged[bad]
            edged = turned
            continue
        a, b = edged[every, i], edged[every, j]
        edged[every, i], edged[every, j] = b, a
        bad = cannot(edged[every, i - 1], b)
        bad |= cannot(b, edged[every, i + 1])
        bad |= cannot(edged[every, j - 1], a)
        bad |= cannot(a, edged[every, j + 1])
        edged[every[bad], i[bad]], edged[every[bad], j[bad]] = a[bad], b[bad]
    return edged[:, 1:-1]
