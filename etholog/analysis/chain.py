"""Chains of behaviours: is one step of memory enough, do groups differ, and exact shuffles of what follows what.

scipy and statsmodels have no test of a chain's order or homogeneity; these are sums of the textbook's tables.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from etholog.analysis import survival

Counts = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True)
class ChainTest:
    """Likelihood-ratio and Pearson statistics of a hypothesis on chains, with their degrees of freedom and
    Pearson's p."""

    g2: float
    x2: float
    df: int
    p: float


def homogeneity(tables: Sequence[Counts]) -> ChainTest:
    """Test whether tables of transitions (each k x k) come from one chain (Anderson & Goodman 1957, df from memory).

    df = (tables - 1) * sum over rows of (columns seen in any table - 1). A cell that no table has is taken as
    impossible.
    """
    stack = np.stack([np.asarray(table, dtype=float) for table in tables])
    pooled = stack.sum(axis=0)
    g2 = x2 = 0.0
    df = 0
    for row in range(pooled.shape[0]):
        total = pooled[row].sum()
        with_row = stack[:, row].sum(axis=1)
        if not total:
            continue
        expected = with_row[:, None] * (pooled[row] / total)[None, :]
        one_g2, one_x2 = _compare(stack[:, row], expected)
        g2, x2 = g2 + one_g2, x2 + one_x2
        df += (int((with_row > 0).sum()) - 1) * (int((pooled[row] > 0).sum()) - 1)
    return ChainTest(g2, x2, df, survival.chi_squared_tail(x2, df))


def order(sequences: Sequence[Codes], k: int, memory: int) -> ChainTest:
    """Test whether `memory` + 1 steps of memory say more than `memory` (0 or 1), in sequences of codes 0 .. k-1.

    df = (k^r - k^u)(k - 1) with r = u + 1 (Anderson & Goodman 1957, df from memory).
    """
    parts = []
    for before in range(k) if memory else [None]:
        table = np.zeros((k, k))
        for s in sequences:
            if before is None:
                table += _pairs(s[:-1], s[1:], k)
            else:
                here = np.flatnonzero(s[1:-1] == before)
                table += _pairs(s[here], s[here + 2], k)
        if table.sum():
            expected = table.sum(axis=1, keepdims=True) * table.sum(axis=0, keepdims=True) / table.sum()
            parts.append(_compare(table, expected))
    g2, x2 = (float(sum(part[i] for part in parts)) for i in (0, 1))
    df = k * (k - 1) ** 2 if memory else (k - 1) ** 2
    return ChainTest(g2, x2, df, survival.chi_squared_tail(x2, df))


def shuffled(
    sequences: Sequence[Codes], first: int, after: int, shuffles: int = 10_000, seed: int = 0
) -> tuple[int, float, float]:
    """Return how often `after` follows `first`, the share of shuffles within sequences in which it does so at least
    as often, and
    that share's Monte Carlo error; p = (hits + 1) / (shuffles + 1) (Phipson & Smyth 2010).

    Animals repeat themselves, so orders are shuffled within each session and never between them.
    """
    generator = np.random.default_rng(seed)
    observed = sum(int(((s[:-1] == first) & (s[1:] == after)).sum()) for s in sequences)
    found = np.zeros(shuffles, dtype=np.int64)
    for sequence in sequences:
        drawn = generator.permuted(np.tile(np.asarray(sequence, dtype=np.int16), (shuffles, 1)), axis=1)
        found += ((drawn[:, :-1] == first) & (drawn[:, 1:] == after)).sum(axis=1)
    p = (int((found >= observed).sum()) + 1) / (shuffles + 1)
    return observed, p, float(np.sqrt(p * (1 - p) / shuffles))


def _pairs(now: Codes, then: Codes, k: int) -> Counts:
    return np.bincount(now.astype(np.int64) * k + then, minlength=k * k).reshape(k, k).astype(float)


def _compare(observed: Counts, expected: Counts) -> tuple[float, float]:
    some = expected > 0
    seen = some & (observed > 0)
    g2 = 2 * float((observed[seen] * np.log(observed[seen] / expected[seen])).sum())
    return g2, float(((observed[some] - expected[some]) ** 2 / expected[some]).sum())
