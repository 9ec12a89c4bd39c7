"""The picture of a pedigree shows its table, without a crossing where none is needed."""

import csv
import itertools
import random
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import animals, figures
from etholog.analysis import lineage
from etholog.base.refusal import Refusal
from etholog.figures.layers import place
from tests.make import write_card

Run = Callable[..., CompletedProcess[str]]


def fewest(layers: list[list[str]], edges: list[tuple[str, str]]) -> int:
    """Count the crossings of every order of every layer: straight lines of neighbouring layers cross where their ends
    are in opposite order."""

    def crossings(orders: tuple[tuple[str, ...], ...]) -> int:
        at = {node: i for own in orders for i, node in enumerate(own)}
        level = {node: n for n, own in enumerate(orders) for node in own}
        return sum(
            level[a] == level[c] and (at[a] - at[c]) * (at[b] - at[d]) < 0
            for (a, b), (c, d) in itertools.combinations(edges, 2)
        )

    return min(crossings(orders) for orders in itertools.product(*map(itertools.permutations, layers)))


@pytest.mark.parametrize("seed", range(20))
def test_nothing_crosses_where_no_crossing_is_needed(seed: int) -> None:
    chance = random.Random(seed)
    layers = [[f"{level}{i}" for i in range(chance.randint(2, 4))] for level in range(3)]
    edges = [
        (a, b)
        for upper, lower in itertools.pairwise(layers)
        for b in lower
        for a in chance.sample(upper, chance.randint(1, 2))
    ]
    placed = place({node: level for level, own in enumerate(layers) for node in own}, edges)
    assert placed.crossings == fewest(layers, edges)
    for own in layers:
        xs = sorted(placed.at[node][0] for node in own)
        assert all(b - a >= 1 - 1e-9 for a, b in itertools.pairwise(xs))  # nobody stands on another


def family(folder: Path) -> animals.Animals:
    write_card(folder, "F-D", ("sex", "2020", "female"), ("died", "2024-05"))
    for name in ("M-S", "M-T"):
        write_card(folder, name, ("sex", "2020", "male"))
    write_card(folder, "F-A", ("sex", "2022", "female"), ("dam", "2022", "F-D"), ("sire", "2022", "M-S"))
    write_card(folder, "F-B", ("sex", "2022", "female"), ("dam", "2022", "F-D"), ("sire", "2022", "M-S:3 or M-T:1"))
    write_card(folder, "Y 1", ("dam", "2024", "F-A"))
    write_card(folder, "F-Other", ("sex", "2020", "female"))
    return animals.read(folder)


def test_the_picture_has_each_animal_and_each_possible_parent(tmp_path: Path) -> None:
    known = family(tmp_path)
    names = lineage.everybody(known)
    assert names == ["F-A", "F-B", "F-D", "M-S", "M-T", "Y 1"]
    (axes,) = figures.pedigree(known, names, "F-A").axes
    drawn = [text.get_text() for text in axes.texts]
    assert sorted(drawn) == names
    marks = {one.get_gid(): len(one.get_offsets()) for one in axes.collections}
    assert marks == {"male": 2, "female": 3, "unknown": 1, "dead": 1}
    unsure = [line for line in axes.lines if line.get_gid() == "unsure"]
    assert len(unsure) == 2  # to M-S and to M-T
    # Parents stand above their young.
    height = {text.get_text(): text.get_position()[1] for text in axes.texts}
    for name, up in known.parents.items():
        assert all(height[who] > height[name] for who in up.named)
    assert lineage.family(known, "F-A") == ["F-A", "F-D", "M-S", "Y 1"]


@pytest.mark.slow
def test_the_table_has_a_row_for_each_possible_parent_and_ped_only_what_is_certain(
    tmp_path: Path, etholog: Run
) -> None:
    family(tmp_path)
    out = tmp_path / "all.csv"
    assert etholog("card", "--pedigree", out, "--folder", tmp_path).returncode == 0
    rows = list(csv.DictReader(out.read_text(encoding="utf-8").splitlines()))
    assert [(r["parent"], r["as"], r["chance"]) for r in rows if r["animal"] == "F-B"] == [
        ("F-D", "dam", "1.0"),
        ("M-S", "sire", "0.75"),
        ("M-T", "sire", "0.25"),
    ]
    assert etholog("card", "F-A", "--pedigree", tmp_path / "a.ped", "--folder", tmp_path).returncode == 0
    assert etholog("card", "--pedigree", tmp_path / "all.ped", "--folder", tmp_path).returncode == 0
    # The six columns of a PED file: family, individual, father, mother, sex, status (from memory).
    lines = [line.split() for line in (tmp_path / "all.ped").read_text(encoding="utf-8").splitlines()]
    assert ["1", "F-A", "M-S", "F-D", "2", "0"] in lines
    assert ["1", "F-B", "0", "F-D", "2", "0"] in lines
    assert ["1", "Y_1", "0", "F-A", "0", "0"] in lines
    done = etholog("card", "--pedigree", tmp_path / "all.txt", "--folder", tmp_path)
    assert (done.returncode, "written as .svg" in done.stderr) == (2, True)


def test_too_many_are_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="too many to draw"):
        figures.pedigree(family(tmp_path), [str(n) for n in range(500)])
