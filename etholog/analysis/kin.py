"""Kinship of a whole group as one table, and what follows from it: mean kinship, gene diversity, founder genomes.

Written here, on numpy's arrays, because no general library takes several possible parents; `animals.pedigree` does the
same for two animals without numpy, for the screens.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from etholog.animals.pedigree import UNKNOWN, Parents, ancestors, founders_first, generations

Matrix = NDArray[np.float64]


@dataclass(frozen=True)
class Kin:
    """Kinship of the animals of `names`: what is expected, and the limits between which it lies whichever of the
    possible parents is the true one. `known`: for each, how many generations of its ancestors are known without a hole.

    Parents who are not known count as founders, related to nobody, so every value is the least that it can be.
    """

    names: tuple[str, ...]
    low: Matrix
    expected: Matrix
    high: Matrix
    known: NDArray[np.intp]

    def inbreeding(self, one: int, other: int) -> tuple[float, float, float] | None:
        """Return the inbreeding that the young of two animals would have (low, expected, high); None where nothing
        tells: a parent of one of them is not known, and no ancestor in common either."""
        if min(self.known[one], self.known[other]) == 0 and self.high[one, other] == 0:
            return None
        return float(self.low[one, other]), float(self.expected[one, other]), float(self.high[one, other])


def kin(names: Sequence[str], parents: Mapping[str, Parents]) -> Kin:
    """Return the kinship between these animals, through all their known ancestors.

    Parameters
    ----------
    names: ids of animals; the tables follow their order.
    parents: each animal's possible parents with their chances; one that is not in it is a founder.

    Returns
    -------
    A Kin; on the diagonal stands (1 + inbreeding) / 2. The tabular method (Emik & Terrill 1949, J. Hered. 40:51-55),
    with possible parents by their chances (Lacy 2012, J. Hered. 103:197-205).

    Raises
    ------
    Refusal for an animal that would be its own ancestor.

    >>> kin(["a", "b"], {"a": Parents.of("D", "S"), "b": Parents.of("D", "T")}).expected[0, 1].item()
    0.125
    """
    line = set[str]().union(*(ancestors(name, parents) for name in names))
    order = founders_first(line, parents)
    at = {name: i for i, name in enumerate(order)}
    places = [at[name] for name in names]
    low, expected, high = (_filled(order, at, parents, how)[np.ix_(places, places)] for how in (_least, _mean, _most))
    known = np.array([generations(name, parents) for name in names], dtype=np.intp)
    return Kin(tuple(names), low, expected, high, known)


How = Callable[[Matrix, Matrix], Matrix]


def _mean(rows: Matrix, chances: Matrix) -> Matrix:
    found: Matrix = chances @ rows
    return found


def _least(rows: Matrix, _: Matrix) -> Matrix:
    found: Matrix = rows.min(axis=0)
    return found


def _most(rows: Matrix, _: Matrix) -> Matrix:
    found: Matrix = rows.max(axis=0)
    return found


def _filled(order: Sequence[str], at: Mapping[str, int], parents: Mapping[str, Parents], how: How) -> Matrix:
    # The last row and column stay nought: an unknown parent is related to nobody.
    size = len(order)
    table = np.zeros((size + 1, size + 1))
    for i, name in enumerate(order):
        up = parents.get(name, UNKNOWN)
        sides = []
        for chances in (up.dam or (("", 1.0),), up.sire or (("", 1.0),)):
            places = [at.get(who, size) for who, _ in chances]
            sides.append((places, np.array([chance for _, chance in chances])))
        (dams, of_dam), (sires, of_sire) = sides
        row = (how(table[dams, :i], of_dam) + how(table[sires, :i], of_sire)) / 2
        table[i, :i] = table[:i, i] = row
        both = table[np.ix_(dams, sires)].ravel()[:, None]
        table[i, i] = (1 + how(both, np.outer(of_dam, of_sire).ravel())[0]) / 2
    return table[:size, :size]


@dataclass(frozen=True)
class Group:
    """What the kinship of a group says (Lacy 1995, Zoo Biol. 14:565-577). `unknown`: the animals with a parent that is
    not known; with any, mean kinship is at least, and diversity and founder genomes at most, what stands here."""

    mean_kinship: dict[str, float]
    unknown: tuple[str, ...]

    @property
    def mean(self) -> float:
        """The mean of all mean kinships: what the inbreeding of young of random pairs, selfing too, would be."""
        return sum(self.mean_kinship.values()) / len(self.mean_kinship)

    @property
    def gene_diversity(self) -> float:
        """The share of the founders' gene diversity that is left: 1 less the mean kinship."""
        return 1 - self.mean

    @property
    def founder_genomes(self) -> float:
        """How many founders, unrelated and each with all its genes, would have that diversity: 1 / (2 x mean)."""
        return 1 / (2 * self.mean)


def group(found: Kin) -> Group:
    """Return the measures of a group. Mean kinship is the mean of an animal's kinships with all of it, itself too.

    >>> pair = kin(["a", "b"], {})
    >>> group(pair).gene_diversity, group(pair).founder_genomes
    (0.75, 2.0)
    """
    unknown = tuple(name for name, known in zip(found.names, found.known, strict=True) if known == 0)
    return Group(dict(zip(found.names, found.expected.mean(axis=1).tolist(), strict=True)), unknown)
