"""Kinship from dams and sires, each of which may be one of several.

Written here, by the tabular method, because no general-purpose library takes several possible parents.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter
from typing import NamedTuple

from etholog.base.language import gettext
from etholog.base.refusal import Refusal

# Who may be the parent, and how likely it is, adding up to 1; '' is an unknown one. Empty: nothing is known.
Chances = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Parents:
    """An animal's possible dams and sires. `unsure`: which of 'dam' and 'sire' were marked as not certain."""

    dam: Chances = ()
    sire: Chances = ()
    unsure: frozenset[str] = frozenset()

    @classmethod
    def of(cls, dam: str = "", sire: str = "") -> "Parents":
        """Return parents who are certain; '' where unknown.

        >>> Parents.of("D", "").dam, Parents.of("D", "").sire
        ((('D', 1.0),), ())
        """
        return cls(((dam, 1.0),) if dam else (), ((sire, 1.0),) if sire else ())

    @property
    def named(self) -> set[str]:
        """All animals that may be a parent."""
        return {name for name, _ in (*self.dam, *self.sire) if name}

    @property
    def missing(self) -> list[str]:
        """Which of 'dam' and 'sire' may be an animal that nobody named."""
        sides = (("dam", self.dam), ("sire", self.sire))
        return [side for side, chances in sides if not chances or any(not name for name, _ in chances)]


UNKNOWN = Parents()
_WEIGHT = re.compile(r"(.+?)\s*:\s*(\d+(?:\.\d+)?)", re.ASCII)
NOBODY = ("unknown", "?")


def weighed(words: str) -> list[tuple[str, float | None]]:
    """Read the words of a dam or sire: each name, and its weight where it has one; '' for an unknown one.

    >>> weighed("M-1:3 or M-2:1"), weighed("M-1 or unknown")
    ([('M-1', 3.0), ('M-2', 1.0)], [('M-1', None), ('', None)])
    """
    found: list[tuple[str, float | None]] = []
    for part in filter(None, (part.strip() for part in words.split(" or "))):
        weight = _WEIGHT.fullmatch(part)
        name = weight[1] if weight else part
        found.append(("" if name.lower() in NOBODY else name, float(weight[2]) if weight else None))
    return found


class Kinship(NamedTuple):
    """The coefficient of kinship of two animals: what is expected, and between which limits it lies.

    The limits hold whichever of the possible parents is the true one; they may be wider than need be where one animal
    of unsure parents stands on two paths.
    """

    low: float
    expected: float
    high: float


@dataclass(frozen=True)
class Table:
    """Kinship between all animals of `names`, each of which comes after its parents. Lists of rows, in that order."""

    names: tuple[str, ...]
    low: list[list[float]]
    expected: list[list[float]]
    high: list[list[float]]
    _at: dict[str, int] = field(default_factory=dict)

    def between(self, one: str, other: str) -> Kinship:
        """Return the kinship of two of the animals."""
        i, j = sorted((self._at[one], self._at[other]), reverse=True)
        return Kinship(self.low[i][j], self.expected[i][j], self.high[i][j])


def table(names: Iterable[str], parents: Mapping[str, Parents]) -> Table:
    """Return the kinship between these animals and all their known ancestors.

    Parameters
    ----------
    names: ids of animals.
    parents: each animal's possible parents; one that is not in it is a founder.

    Returns
    -------
    A Table; each row ends at the animal itself, where (1 + inbreeding) / 2 stands. Unknown parents count as unrelated
    to all, so that every value is the least that it can be. Expected values take each animal's parents for drawn
    by themselves from its possible ones, as in Lacy 2012 (J. Hered. 103:197-205); with one possible parent this is
    the tabular method (Emik & Terrill 1949, J. Hered. 40:51-55). 300 animals take some tenths of a second.

    Raises
    ------
    Refusal for an animal that would be its own ancestor.

    >>> one_of_two = Parents((("D", 1.0),), (("S", 0.5), ("T", 0.5)))
    >>> young = {"a": Parents.of("D", "S"), "b": Parents.of("D", "S"), "c": one_of_two}
    >>> table(young, young).between("a", "b").expected
    0.25
    >>> table(young, young).between("a", "c")
    Kinship(low=0.125, expected=0.1875, high=0.25)
    """
    line = set[str]().union(*(ancestors(name, parents) for name in names))
    order = founders_first(line, parents)
    at = {name: i for i, name in enumerate(order)}
    found = Table(tuple(order), [], [], [], at)
    for i, name in enumerate(order):
        up = parents.get(name, UNKNOWN)
        dams, sires = ([(at.get(who, -1), p) for who, p in chances] for chances in (up.dam, up.sire))
        for rows, over in ((found.low, _least), (found.expected, _mean), (found.high, _most)):
            row = [(over(rows, dams, j) + over(rows, sires, j)) / 2 for j in range(i)]
            inbred = [(0.0 if min(d, s) < 0 else _cell(rows, d, s), p * q) for d, p in dams for s, q in sires]
            rows.append([*row, (1 + _over(over, inbred)) / 2])
    return found


Option = tuple[int, float]
Rows = Sequence[Sequence[float]]


def _cell(rows: Rows, i: int, j: int) -> float:
    return rows[i][j] if i >= j else rows[j][i]


def _mean(rows: Rows, options: Sequence[Option], j: int) -> float:
    return sum(p * _cell(rows, i, j) for i, p in options if i >= 0)


def _least(rows: Rows, options: Sequence[Option], j: int) -> float:
    return min((_cell(rows, i, j) if i >= 0 else 0.0 for i, _ in options), default=0.0)


def _most(rows: Rows, options: Sequence[Option], j: int) -> float:
    return max((_cell(rows, i, j) if i >= 0 else 0.0 for i, _ in options), default=0.0)


def _over(how: object, pairs: Sequence[tuple[float, float]]) -> float:
    if how is _mean:
        return sum(value * p for value, p in pairs)
    values = [value for value, _ in pairs] or [0.0]
    return min(values) if how is _least else max(values)


def kinship(one: str, other: str, parents: Mapping[str, Parents]) -> Kinship:
    """Return the kinship of two animals: the chance that a gene of one and a gene of the other are copies of one
    ancestor's, which is the inbreeding coefficient of their young (Wright 1922, Am. Nat. 56:330-338). See `table`."""
    return table((one, other), parents).between(one, other)


def generations(name: str, parents: Mapping[str, Parents]) -> int:
    """Return how many generations of ancestors are known without a hole: 0 where a parent is unknown, 1 where both are
    known and one of theirs is not.

    >>> generations("a", {"a": Parents.of("D", "S"), "D": Parents.of("E", "T")})
    1
    """
    depth, line = 0, [name]
    while line and not any(parents.get(one, UNKNOWN).missing for one in line):
        depth += 1
        line = sorted(set[str]().union(*(parents[one].named for one in line)))
    return depth


def common(one: str, other: str, parents: Mapping[str, Parents]) -> set[str]:
    """Return the nearest ancestors that both may have, or one of the two where it is the other's ancestor."""
    both = ancestors(one, parents) & ancestors(other, parents)
    return both - {name for shared in both for name in ancestors(shared, parents) - {shared}}


def ancestors(name: str, parents: Mapping[str, Parents]) -> set[str]:
    """Return the animal itself and all its known possible ancestors."""
    found, waiting = set[str](), [name]
    while waiting:
        one = waiting.pop()
        if one not in found:
            found.add(one)
            waiting += parents.get(one, UNKNOWN).named
    return found


def circles(parents: Mapping[str, Parents]) -> list[tuple[str, ...]]:
    """Return the rings of animals each of which would be its own ancestor; without these nobody is.

    >>> circles({"a": Parents.of("b", ""), "b": Parents.of("a", ""), "c": Parents.of("a", "")})
    [('a', 'b')]
    """
    found: list[tuple[str, ...]] = []
    left = {name: up.named for name, up in parents.items()}
    while True:
        try:
            TopologicalSorter({name: sorted(left[name]) for name in sorted(left)}).prepare()
        except CycleError as error:
            ring = tuple(sorted(set(error.args[1])))
            found.append(ring)
            left = {name: set() if name in ring else up for name, up in left.items()}
        else:
            return found


def founders_first(names: Iterable[str], parents: Mapping[str, Parents]) -> list[str]:
    """Return the animals, each after its known parents. Raises Refusal for one that would be its own ancestor."""
    try:
        return list(
            TopologicalSorter({name: parents.get(name, UNKNOWN).named for name in sorted(names)}).static_order()
        )
    except CycleError as error:
        circle = " < ".join(error.args[1])
        raise Refusal(f"an animal would be its own ancestor: {circle}; look at dam and sire on these cards") from None


def back(depth: int) -> str:
    """Return how far back a pedigree is known, for 'no ancestor in common among their ...'.

    >>> back(1), back(3)
    ('parents', 'ancestors of 3 generations')
    """
    if depth == 1:
        return gettext("parents")
    return gettext("ancestors of {generations} generations", generations=depth)
