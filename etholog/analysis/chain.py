"""Chains of behaviours: is one step of memory enough, and do groups differ?

scipy and statsmodels have no test of a chain's order or homogeneity; these are sums of the textbook's tables.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from etholog.analysis import sequence
from etholog.analysis.distribution import chi_squared_tail
from etholog.season import Season

Counts = NDArray[np.float64]
Codes = NDArray[np.integer]

FEW_EXPECTED = 5.0


@dataclass(frozen=True)
class ChainTest:
    """Likelihood-ratio and Pearson statistics of a hypothesis on chains, their degrees of freedom and Pearson's p;
    of how many `cells` a `few` expect under 5. NaN, and df 0, where nothing can be tested."""

    g2: float
    x2: float
    df: int
    p: float
    cells: int
    few: int

    @property
    def rough(self) -> bool:
        """Whether more than a fifth of the cells expect too few for p to be more than a rough guide (Cochran's rule,
        from memory)."""
        return self.few > self.cells / 5


def homogeneity(tables: Sequence[Counts]) -> ChainTest:
    """Test whether tables of transitions (each k x k) come from one chain (Anderson & Goodman 1957, df from memory).

    df = (tables - 1) * sum over rows of (columns seen in any table - 1). A cell that no table has is taken as
    impossible.
    """
    if not len(tables):
        return _test(np.nan, np.nan, 0, 0, 0)
    stack = np.stack([np.asarray(table, dtype=float) for table in tables])
    return _independent(stack.swapaxes(0, 1))  # for each row: which table, and what came next


def order(sequences: Sequence[Codes], k: int, memory: int) -> ChainTest:
    """Test whether `memory` + 1 steps of memory say more than `memory` (0 or 1), in sequences of codes 0 .. k-1.

    For each code in between, what came before it against what comes after it. df is the sum of (rows used - 1)
    (columns used - 1); where every code follows every other it is (k^r - k^u)(k - 1) with r = u + 1 (Anderson &
    Goodman 1957, df from memory). With `memory` 1 it holds as well where no code can follow itself.
    """
    code = (
        np.concatenate([np.asarray(one, dtype=np.int64) for one in sequences]) if len(sequences) else np.zeros(0, int)
    )
    chain = np.repeat(np.arange(len(sequences)), [len(one) for one in sequences])
    if not k:
        return _test(np.nan, np.nan, 0, 0, 0)
    step = 2 if memory else 1
    together = chain[step:] == chain[:-step]
    between = code[1:-1] if memory else np.zeros(max(0, len(code) - 1), dtype=np.int64)
    key = ((between * k + code[:-step]) * k + code[step:])[together]
    tables = np.bincount(key, minlength=(k if memory else 1) * k * k).reshape(-1, k, k).astype(float)
    return _independent(tables)


def chain_order(season: Season, **how: Any) -> ChainTest:
    """Return a test of whether one step of memory is enough, or the behaviour before the last matters too (Bartlett
    1951).

    Parameters
    ----------
    season: as `etholog.read` returned it.
    how: which sequences: actor, repeats, longest_pause_s (seconds) and sessions, as `transition` takes them.

    Returns
    -------
    ChainTest: `.g2` and `.x2`, `.df`, `.p` (Pearson's), `.cells` and how many of them expect a `.few`, under 5.

    Raises
    ------
    Refusal: for a session that is not there, or a pause that is not a time.

    >>> import etholog
    >>> etholog.chain_order(etholog.read("examples/season")).df
    50
    """
    found = sequence.of(season, **how)
    return order(found.runs(), len(found.names), 1)


def chain_homogeneity(season: Season, by: str, **how: Any) -> ChainTest:
    """Return a test of whether the groups of a season have one table of transitions (Kullback, Kupperman & Ku 1962).

    Parameters
    ----------
    season: as `etholog.read` returned it.
    by: a column of `season.sessions`: male, say.
    how: which sequences: actor, repeats, longest_pause_s (seconds) and sessions, as `transition` takes them.

    Returns
    -------
    ChainTest: `.g2` and `.x2`, `.df`, `.p` (Pearson's), `.cells` and how many of them expect a `.few`, under 5.

    Raises
    ------
    Refusal: for a column or session that is not there, or a pause that is not a time.

    >>> import etholog
    >>> etholog.chain_homogeneity(etholog.read("examples/season"), "male").df
    116
    """
    found = sequence.of(season, **how)
    return homogeneity(list(found.counts(1, sequence.groups(season, by)[1])))


def _independent(tables: Counts) -> ChainTest:
    """Return the sum over tables of the test that rows and columns are independent."""
    g2 = x2 = 0.0
    df = cells = few = 0
    for table in tables:
        rows, columns = table.sum(axis=1), table.sum(axis=0)
        if not rows.sum():
            continue
        expected = rows[:, None] * columns[None, :] / rows.sum()
        one_g2, one_x2 = _compare(table, expected)
        g2, x2 = g2 + one_g2, x2 + one_x2
        df += (int((rows > 0).sum()) - 1) * (int((columns > 0).sum()) - 1)
        cells, few = cells + int((expected > 0).sum()), few + int(((expected > 0) & (expected < FEW_EXPECTED)).sum())
    return _test(g2, x2, df, cells, few)


def _test(g2: float, x2: float, df: int, cells: int, few: int) -> ChainTest:
    if not df:
        return ChainTest(np.nan, np.nan, 0, np.nan, cells, few)
    return ChainTest(g2, x2, df, chi_squared_tail(x2, df), cells, few)


def _compare(observed: Counts, expected: Counts) -> tuple[float, float]:
    some = expected > 0
    seen = some & (observed > 0)
    g2 = 2 * float((observed[seen] * np.log(observed[seen] / expected[seen])).sum())
    return g2, float(((observed[some] - expected[some]) ** 2 / expected[some]).sum())
