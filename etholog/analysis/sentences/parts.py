"""Small parts of sentences: counted things, times, shares, and what chance alone would give."""

import math

from etholog.analysis.permutation import ALPHA
from etholog.base.text import many

CHANCE = (
    "With {sessions} each, such differences may still be chance: chance alone gives as large ones {often}"
    " (p = {p:.2g})."
)
SELDOM = (
    "Chance alone seldom gives such differences, {often} (p = {p:.2g}): the groups are not all alike. It does not say"
    " which differ."
)
ONE_GROUP = "There is one group alone: nothing to compare."
TOO_FEW = "With {sessions} each, nobody can tell from these whether they differ by more than chance."


def capital(label: str) -> str:
    """Return a label as a sentence begins with it."""
    return label[:1].upper() + label[1:]


def least_to_most(least: int, most: int, one: str) -> str:
    """Return a range of counts with its thing.

    >>> least_to_most(4, 5, "session"), least_to_most(5, 5, "session")
    ('4 to 5 sessions', '5 sessions')
    """
    return many(most, one) if least == most else f"{least:,} to {many(most, one)}"


def chances(p: float) -> str:
    """Return a p as how often chance alone would give as much; '' where there is none.

    >>> chances(0.16), chances(0.004)
    ('in about 16 of 100 seasons like this', 'in about 4 of 1,000 seasons like this')
    """
    if math.isnan(p):
        return ""
    if p > 0.95:
        return "in nearly every season like this"
    if p >= 0.01:
        return f"in about {100 * p:.0f} of 100 seasons like this"
    if p >= 0.0005:
        return f"in about {1000 * p:.0f} of 1,000 seasons like this"
    return "in fewer than 1 of 1,000 seasons like this"


def chance(p: float, smallest_p: float, sessions: str) -> str:
    """Return whether differences between groups may be chance. `smallest_p`: the least that so few could give."""
    if math.isnan(p) or not smallest_p <= ALPHA:
        return TOO_FEW.format(sessions=sessions)
    return (SELDOM if p <= ALPHA else CHANCE).format(sessions=sessions, often=chances(p), p=p)
