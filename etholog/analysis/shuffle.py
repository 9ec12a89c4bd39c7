"""Shuffles of order within sessions: does one behaviour follow another more often than in sequences of the same acts?

Animals repeat themselves, so acts are shuffled within each unbroken sequence and never between them. Where a
behaviour can't follow itself the shuffles must not let it either: forgetting that makes p several times too small.
scipy's `permutation_test` knows no such constraint.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Codes = NDArray[np.integer]
Floats = NDArray[np.float64]


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


def within(runs: Sequence[Codes], k: int, repeats: bool, shuffles: int = 10_000, seed: int = 0) -> Shuffled:
    """Shuffle each sequence of codes 0 .. k-1 and count again. `repeats`: whether a code may follow itself."""
    generator = np.random.default_rng(seed)
    cells = k * k
    observed = np.zeros(cells, dtype=np.int64)
    found = np.zeros((shuffles, cells), dtype=np.int32)
    rows = np.arange(shuffles)[:, None] * cells
    for run in runs:
        if len(run) < 2:
            continue
        run = np.asarray(run, dtype=np.int64)
        observed += np.bincount(run[:-1] * k + run[1:], minlength=cells)
        if repeats:
            drawn = generator.permuted(np.tile(run, (shuffles, 1)), axis=1)
        else:
            drawn = _without_repeats(run, shuffles, generator)
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


def _without_repeats(run: Codes, shuffles: int, generator: np.random.Generator) -> NDArray[np.int64]:
    """Return (shuffles, n) orders of the run in which nothing follows itself.

    By random swaps and turned stretches, each taken back where it would bring two alike together. All start from one
    order that was reached from the run itself by as many steps, so that p holds however few they are (Besag &
    Clifford 1989, their parallel method).
    """
    steps = int(2 * len(run) * np.log(len(run) + 1)) + 10
    hub = _walk(np.asarray(run, dtype=np.int64)[None, :], steps, generator)
    return _walk(np.repeat(hub, shuffles, axis=0), steps, generator)


def _walk(orders: NDArray[np.int64], steps: int, generator: np.random.Generator) -> NDArray[np.int64]:
    many, n = orders.shape
    edged = np.full((many, n + 2), -1, dtype=np.int64)  # the edges are like nothing
    edged[:, 1:-1] = orders
    every, columns = np.arange(many), np.arange(n + 2)[None, :]
    for turn in generator.random(steps) < 0.5:
        ends = np.sort(generator.integers(1, n + 1, size=(2, many)), axis=0)
        i, j = ends
        if turn:
            good = (edged[every, i - 1] != edged[every, j]) & (edged[every, i] != edged[every, j + 1])
            inside = good[:, None] & (columns >= i[:, None]) & (columns <= j[:, None])
            edged = np.take_along_axis(edged, np.where(inside, (i + j)[:, None] - columns, columns), axis=1)
            continue
        a, b = edged[every, i], edged[every, j]
        edged[every, i], edged[every, j] = b, a
        bad = edged[every, i - 1] == b
        bad |= edged[every, i + 1] == b
        bad |= edged[every, j - 1] == a
        bad |= edged[every, j + 1] == a
        edged[every[bad], i[bad]], edged[every[bad], j[bad]] = a[bad], b[bad]
    return edged[:, 1:-1]
