"""Long columns in blocks that stay in the processor's cache, where most steps are several times faster."""

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.base.clock import LATER_MS

Ints = NDArray[np.integer[Any]]

BLOCK = 1 << 17  # rows


def codes(column: pd.Series) -> Ints:
    """Return the numbers of a column of categories as they lie there; `cat.codes` would copy them."""
    return np.asarray(column.array.codes)


def blocks(rows: int, at_least: int = 0) -> Iterator[slice]:
    """Yield slices that cover all rows; with `at_least`, no shorter than a table that each block is added to."""
    step = max(BLOCK, at_least)
    for start in range(0, rows, step):
        yield slice(start, min(start + step, rows))


def begins(place: Ints) -> NDArray[np.bool_]:
    """Return which rows are the first of their session, where rows lie in the order of their sessions."""
    out = np.ones(len(place), dtype=bool)
    np.not_equal(place[1:], place[:-1], out=out[1:])
    return out


def instants(place: Ints, seconds: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return times of sessions in milliseconds on one axis, on which each session has a stretch of `LATER_MS`."""
    ms = seconds * 1000
    out: NDArray[np.int64] = np.rint(ms, out=ms).astype(np.int64)
    out += place.astype(np.int64) * LATER_MS
    return out
