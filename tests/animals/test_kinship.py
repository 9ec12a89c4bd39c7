"""Kinship with several possible parents, against a matrix computation over every way in which it may be."""

import itertools
import random
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import numpy as np
import pytest
from numpy.typing import NDArray

from etholog import animals
from etholog.animals.pedigree import Chances, Parents, generations, kinship, table
from tests.make import write_card

SEVERAL = Parents((("D", 1.0),), (("A", 0.5), ("B", 0.5)))

# Worked out by hand from the definition: with possible parents by probability the expected kinship is the mean over
# them (Lacy 2012, J. Hered. 103:197-205; the paper's own figures were not at hand). Relations as in the handbooks:
# full sibs 1/4, half sibs 1/8, parent and child 1/4.
WORKED = [
    ("x", "y", {"x": SEVERAL, "y": Parents.of("D", "A")}, (1 / 8, 3 / 16, 1 / 4)),  # half or full sibs
    ("x", "y", {"x": SEVERAL, "y": SEVERAL}, (1 / 8, 3 / 16, 1 / 4)),
    ("x", "y", {"x": SEVERAL, "y": Parents.of("E", "A")}, (0, 1 / 16, 1 / 8)),  # perhaps half sibs by him
    ("x", "A", {"x": SEVERAL}, (0, 1 / 8, 1 / 4)),  # his child, or another's
    ("x", "D", {"x": SEVERAL}, (1 / 4, 1 / 4, 1 / 4)),
    ("x", "A", {"x": Parents((("D", 1.0),), (("A", 0.75), ("B", 0.25)))}, (0, 3 / 16, 1 / 4)),
    ("x", "A", {"x": Parents((), (("A", 0.5), ("", 0.5)))}, (0, 1 / 8, 1 / 4)),  # he, or an unknown one
    ("x", "y", {"x": Parents.of("D", ""), "y": Parents.of("", "S")}, (0, 0, 0)),  # unknown: the least that it can be
]


@pytest.mark.parametrize(("one", "other", "parents", "expected"), WORKED)
def test_several_possible_parents_give_a_range_and_an_expected_value(
    one: str, other: str, parents: dict[str, Parents], expected: tuple[float, float, float]
) -> None:
    found = kinship(one, other, parents)
    assert (found.low, found.expected, found.high) == expected


def drawn(chance: random.Random) -> dict[str, Parents]:
    """Eight animals; at most three of them have a choice of two parents, so that all ways can be gone through."""
    found: dict[str, Parents] = {}
    free = 3
    for n in range(8):
        sides: list[Chances] = []
        for _ in ("dam", "sire"):
            older = [str(i) for i in range(n)]
            if n < 2 or chance.random() < 0.2:
                sides.append(())
            elif free and chance.random() < 0.3:
                free -= 1
                weight = chance.choice((0.5, 0.25, 0.9))
                first, second = chance.sample([*older, ""], 2)
                sides.append(((first, weight), (second, 1 - weight)))
            else:
                sides.append(((chance.choice(older), 1.0),))
        found[str(n)] = Parents(*sides)
    return found


def matrix(sure: list[tuple[str, str]]) -> NDArray[np.float64]:
    """Kinship as half of A = T D T' (Henderson 1976, Biometrics 32:69-83), for animals after their parents."""
    count = len(sure)
    pass_on, d = np.zeros((count, count)), np.ones(count)
    relation = np.zeros((count, count))
    for n, parents in enumerate(sure):
        for parent in filter(None, parents):
            pass_on[n, int(parent)] += 0.5
        inbred = [relation[int(p), int(p)] - 1 for p in parents if p]
        d[n] = 1 - sum(0.25 * (1 + f) for f in inbred)
        t = np.linalg.inv(np.eye(n + 1) - pass_on[: n + 1, : n + 1])
        relation[: n + 1, : n + 1] = t @ np.diag(d[: n + 1]) @ t.T
    whole: NDArray[np.float64] = relation / 2
    return whole


@pytest.mark.parametrize("seed", range(10))
def test_kinship_on_random_pedigrees_is_the_mean_over_all_ways(seed: int) -> None:
    """200 pedigrees in all. The parents of one animal may be the same twice (selfing): the algebra allows it."""
    chance = random.Random(seed)
    for _ in range(20):
        parents = drawn(chance)
        names = list(parents)
        sides = [side or (("", 1.0),) for name in names for side in (parents[name].dam, parents[name].sire)]
        ways = list(itertools.product(*sides))
        each = np.array([matrix([(w[2 * i][0], w[2 * i + 1][0]) for i in range(len(names))]) for w in ways])
        weights = np.array([np.prod([p for _, p in way]) for way in ways])
        mean = np.tensordot(weights, each, axes=1)
        found = table(names, parents)
        for a, b in itertools.combinations_with_replacement(names, 2):
            i, j = int(a), int(b)
            kin = found.between(a, b)
            assert kin.expected == pytest.approx(mean[i, j]), (parents, a, b)
            assert kin.low <= each[:, i, j].min() + 1e-12
            assert kin.high >= each[:, i, j].max() - 1e-12


def test_the_published_pedigree_of_several_sires_by_their_chances() -> None:
    # The example of Henderson 1988, J. Anim. Sci. 66:1614-1621 (its pedigree as the data set Henderson.1988 of the R
    # package polyAinv has it). His average relationships, worked out by hand with his rule; kinship is half of them.
    chances = {
        "7": (("3", 0.6), ("5", 0.4)), "8": (("1", 0.3), ("5", 0.7)), "9": (("1", 0.3), ("4", 0.6), ("5", 0.1))
    }  # fmt: skip
    sires = {"3": "1", "4": "1", "5": "3", "6": "3", "10": "1"}
    dams = {"3": "2", "4": "2", "5": "4", "6": "", "7": "6", "8": "4", "9": "6", "10": "4"}
    parents = {n: Parents(((dams[n], 1.0),) if dams[n] else (), chances.get(n) or ((sires[n], 1.0),)) for n in dams} | {
        "1": Parents(),
        "2": Parents(),
    }
    found = table([str(n) for n in range(1, 11)], parents)
    relationships = {
        ("5", "5"): 1.25, ("5", "6"): 0.375, ("7", "7"): 1.225, ("8", "8"): 1.3375, ("9", "9"): 1.13125,
        ("10", "10"): 1.25, ("1", "7"): 0.375, ("1", "8"): 0.575, ("3", "8"): 0.5875, ("5", "8"): 0.8875,
        ("6", "8"): 0.29375, ("7", "8"): 0.500625,
    }  # fmt: skip
    for (one, other), relationship in relationships.items():
        assert found.between(one, other).expected == pytest.approx(relationship / 2), (one, other)


def test_a_pedigree_is_known_as_far_as_it_has_no_hole() -> None:
    parents = {"x": Parents.of("D", "S"), "D": Parents.of("E", "T"), "S": Parents.of("F", "")}
    assert [generations(name, parents) for name in ("x", "D", "S", "F")] == [1, 1, 0, 0]
    assert generations("x", parents | {"S": Parents.of("F", "U")}) == 2


@pytest.mark.slow
def test_what_is_wrong_with_a_pedigree_is_named_and_the_rest_goes_on(
    etholog: Callable[..., CompletedProcess[str]], tmp_path: Path
) -> None:
    species = ("species", "2020", "Brachypelma smithi")
    male, female = ("sex", "2020", "male"), ("sex", "2020", "female")
    write_card(tmp_path, "F-A", female, species, ("dam", "2020", "F-B"))
    write_card(tmp_path, "F-B", female, species, ("dam", "2020", "F-A"))
    write_card(tmp_path, "M-Young", male, species, ("born", "2023-05-01"))
    write_card(tmp_path, "F-Old", female, species, ("born", "2020-05-01"), ("sire", "2020", "M-Young"))
    write_card(tmp_path, "F-C", female, species, ("sire", "2020", "F-Old"), ("dam", "2020", "M-Young"))
    write_card(tmp_path, "F-D", female, species, ("dam", "2020", "F-Old"), ("sire", "2020", "M-Young"))
    done = etholog("check", tmp_path)
    assert done.returncode == 1
    for card, record, said in (
        ("F-A", 3, "F-A would be its own ancestor: dam F-B; until that is mended its parents count as unknown"),
        ("F-B", 3, "F-B would be its own ancestor: dam F-A"),
        ("F-Old", 4, "sire 'M-Young' was born on 2023-05-01, not before F-Old (2020-05-01); mend one"),
        ("F-C", 3, "sire 'F-Old' is female, as its card or a session says; mend the sex of F-Old, or this sire"),
    ):
        assert f"{card}.jsonl: record {record}: {said}" in done.stdout
    # The others are kin as they are; those in the circle have parents that are not known.
    known = animals.read(tmp_path)
    assert kinship("F-D", "F-Old", known.parents).expected == 3 / 8  # her dam, and her full sire's line
    assert known.parents["F-A"].missing == ["dam", "sire"]
    told = etholog("plan", "--group", "--today", "2026-05-01", "--folder", tmp_path)
    assert told.returncode == 0, told.stderr
