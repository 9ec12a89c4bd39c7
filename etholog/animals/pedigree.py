"""Kinship from dams and sires."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter

from etholog.base.refusal import Refusal


@dataclass(frozen=True)
class Parents:
    """An animal's dam and sire; '' where unknown."""

    dam: str = ""
    sire: str = ""

    @property
    def known(self) -> set[str]:
        """Those that are known."""
        return {self.dam, self.sire} - {""}


UNKNOWN = Parents()


def kinship(one: str, other: str, parents: Mapping[str, Parents]) -> float:
    """Return the coefficient of kinship of two animals: the chance that a gene of one and a gene of the other are
    copies of one ancestor's, which is the inbreeding coefficient of their young (Wright 1922, Am. Nat. 56:330-338).

    Unknown parents count as unrelated, so this is the least that it can be. Raises Refusal for an animal that would be
    its own ancestor. Written here, by the tabular method, because no general-purpose library has it.
    """
    line = ancestors(one, parents) | ancestors(other, parents)
    between: dict[tuple[str, str], float] = {}
    done: list[str] = []
    for name in founders_first(line, parents):
        up = parents.get(name, UNKNOWN)
        for older in done:
            share = sum(between[parent, older] for parent in (up.dam, up.sire) if parent) / 2
            between[name, older] = between[older, name] = share
        inbred = between[up.dam, up.sire] if up.dam and up.sire else 0.0
        between[name, name] = (1 + inbred) / 2
        done.append(name)
    return between[one, other]


def common(one: str, other: str, parents: Mapping[str, Parents]) -> set[str]:
    """Return the nearest ancestors that both have, or one of the two where it is the other's ancestor."""
    both = ancestors(one, parents) & ancestors(other, parents)
    return both - {name for shared in both for name in ancestors(shared, parents) - {shared}}


def ancestors(name: str, parents: Mapping[str, Parents]) -> set[str]:
    """Return the animal itself and all its known ancestors."""
    found, waiting = set[str](), [name]
    while waiting:
        one = waiting.pop()
        if one not in found:
            found.add(one)
            waiting += parents.get(one, UNKNOWN).known
    return found


def founders_first(names: Iterable[str], parents: Mapping[str, Parents]) -> list[str]:
    """Return the animals, each after its known parents. Raises Refusal for one that would be its own ancestor."""
    try:
        return list(TopologicalSorter({name: parents.get(name, UNKNOWN).known for name in names}).static_order())
    except CycleError as error:
        circle = " < ".join(error.args[1])
        raise Refusal(f"an animal would be its own ancestor: {circle}; look at dam and sire on these cards") from None
