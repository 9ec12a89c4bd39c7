"""The form in which a simulated season answers."""

import math
from collections.abc import Callable, Mapping

import numpy as np

from etholog.analysis.permutation import Permuted

Random = np.random.Generator
Answers = Mapping[str, float | None]
"""By statistic: 1 where the limits held the truth, or p was at most .05, else 0; or the share of several that did.
None: nothing was printed. The names of p begin with 'p,'."""
SHUFFLES = 39
"""Where not all labellings are gone through: a test of 5 % holds with 39 as with 10,000, though it has less power."""
Cell = tuple[str, Callable[[Random], Answers]]
"""What kind of season, and the work."""


def held(low: float, truth: float, high: float) -> float | None:
    """Return whether limits hold the truth; an end that is not reached holds all on its side."""
    if math.isnan(low) and math.isnan(high):
        return None
    return float((math.isnan(low) or low <= truth) and (math.isnan(high) or truth <= high))


def rejected(p: float) -> float | None:
    return None if math.isnan(p) else float(p <= 0.05)


def tested(found: Permuted) -> float | None:
    return rejected(found.p if found.usable else math.nan)


def drawn(random: Random) -> int:
    """Return a seed for what shuffles."""
    return int(random.integers(1 << 30))
