"""Kinship of a group, and whom to pair with whom, against definitions, worked pedigrees, simulation and brute force."""

import itertools
import json
import random
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from subprocess import CompletedProcess

import numpy as np
import pytest
from numpy.typing import NDArray

from etholog import animals, figures
from etholog.analysis.kin import group, kin
from etholog.analysis.plan import UNPAIRED, assign, plan
from etholog.animals import readiness
from etholog.animals.availability import Free
from etholog.animals.pedigree import Parents, table
from etholog.base.refusal import Refusal
from etholog.ethogram import at_hand
from tests.animals.test_kinship import drawn, matrix
from tests.make import CardLine, write_card

TODAY = date(2026, 6, 1)

# The Jicaque pedigree (Chapman & Jacquard 1971), as R's ribd has it: animal, father, mother; 0 unknown.
JICAQUE = (
    "1 0 0;2 0 0;3 0 0;4 0 0;5 0 0;6 0 0;7 1 2;8 1 2;9 3 7;10 4 9;11 3 7;12 5 9;13 3 7;14 8 6;15 11 10;16 11 12;"
    "17 14 13;18 14 13;Julio 15 17;Mencha 16 18;Son1 Julio Mencha;Son2 Julio Mencha"
)
ROWS = [row.split() for row in JICAQUE.split(";")]
PEDIGREE = {who: Parents.of("" if dam == "0" else dam, "" if sire == "0" else sire) for who, sire, dam in ROWS}


def test_kinship_of_the_jicaque_is_that_of_hendersons_matrix() -> None:
    """Half of A = T D T' (Henderson 1976, Biometrics 32:69-83)."""
    names = [row[0] for row in ROWS]
    at = {name: str(i) for i, name in enumerate(names)} | {"0": ""}
    found = kin(names, PEDIGREE)
    assert found.expected == pytest.approx(matrix([(at[dam], at[sire]) for _, sire, dam in ROWS]))
    assert (found.low == found.expected).all()
    assert (found.high == found.expected).all()
    # Worked by hand from the definition: 15 is of full sibs' line (11 and 9 are full sibs, 10 is 9's), so F = 1/8.
    assert 2 * found.expected[names.index("15"), names.index("15")] - 1 == pytest.approx(1 / 8)


# Kinship with Son1, in the order of ROWS: sgkit 0.10.0, `pedigree_kinship` (diploid method), 2026-11-28.
SON1 = [
    0.109375, 0.109375, 0.15625, 0.03125, 0.03125, 0.0625, 0.1875, 0.140625, 0.203125, 0.1484375, 0.234375, 0.1484375,
    0.234375, 0.1640625, 0.25390625, 0.25390625, 0.26171875, 0.26171875, 0.37109375, 0.37109375, 0.591796875,
    0.37109375,
]  # fmt: skip


def test_kinship_of_the_jicaque_is_that_of_an_independent_library() -> None:
    names = [row[0] for row in ROWS]
    found = kin(names, PEDIGREE)
    assert found.expected[names.index("Son1")].tolist() == SON1
    told = found.inbreeding(names.index("Julio"), names.index("Mencha"))
    assert told == (0.18359375,) * 3  # sgkit, as above


# Inbreeding of the young, as textbooks have it (Wright 1922, Am. Nat. 56:330-338; Falconer & Mackay 1996, chapter 5;
# from memory).
TEXTBOOK = [
    ("full sibs", {"a": ("d", "s"), "b": ("d", "s")}, 1 / 4),
    ("half sibs", {"a": ("d", "s"), "b": ("d", "t")}, 1 / 8),
    ("parent and child", {"a": ("b", "s")}, 1 / 4),
    ("first cousins", {"a": ("p", "x"), "b": ("q", "y"), "p": ("d", "s"), "q": ("d", "s")}, 1 / 16),
    (
        "double first cousins",
        {"a": ("p", "r"), "b": ("q", "t"), "p": ("d", "s"), "q": ("d", "s"), "r": ("e", "u"), "t": ("e", "u")},
        1 / 8,
    ),
    ("grandparent and grandchild", {"a": ("p", "x"), "p": ("b", "s")}, 1 / 8),
    ("uncle and niece", {"a": ("p", "x"), "p": ("d", "s"), "b": ("d", "s")}, 1 / 8),
]


@pytest.mark.parametrize(("of", "parents", "inbred"), TEXTBOOK)
def test_textbook_pairs_have_textbook_inbreeding(of: str, parents: dict[str, tuple[str, str]], inbred: float) -> None:
    found = kin(["a", "b"], {name: Parents.of(*up) for name, up in parents.items()})
    assert found.expected[0, 1] == inbred, of


def test_sibs_paired_again_and_again_are_as_inbred_as_in_the_textbook() -> None:
    """Falconer & Mackay 1996, table 5.1, full sibs: 0, .25, .375, .5, .594, .672 (from memory)."""
    parents = {}
    for n in range(1, 7):
        for sex in "ds":
            parents[f"{sex}{n}"] = Parents.of(f"d{n - 1}", f"s{n - 1}")
    names = [f"d{n}" for n in range(1, 7)]
    found = kin(names, parents).expected.diagonal() * 2 - 1
    assert found.tolist() == [0, 1 / 4, 3 / 8, 1 / 2, 19 / 32, 43 / 64]


def test_gene_dropping_agrees_with_the_exact_kinship() -> None:
    """MacCluer et al. 1986 (Zoo Biol. 5:147-160): genes dropped down the pedigree; within four standard errors."""
    names, drops = [row[0] for row in ROWS], 20_000
    chance = np.random.default_rng(1)
    genes: dict[str, NDArray[np.int64]] = {}
    for i, (who, sire, dam) in enumerate(ROWS):
        sides = []
        for side, up in enumerate((dam, sire)):
            if up == "0":
                sides.append(np.full(drops, 2 * i + side))
            else:
                pick = chance.integers(0, 2, drops)
                sides.append(genes[up][pick, np.arange(drops)])
        genes[who] = np.array(sides)
    found = kin(names, PEDIGREE)
    for a, b in itertools.combinations(range(len(names)), 2):
        one, other = genes[names[a]], genes[names[b]]
        same = np.mean([one[i] == other[j] for i in (0, 1) for j in (0, 1)], axis=0)
        error = same.std() / np.sqrt(drops)
        assert abs(same.mean() - found.expected[a, b]) <= 4 * error + 1e-12, (names[a], names[b])


@pytest.mark.parametrize("seed", range(5))
def test_the_table_is_that_of_the_pedigree_with_several_possible_parents(seed: int) -> None:
    chance = random.Random(seed)
    parents = drawn(chance)
    names = list(parents)
    found, plain = kin(names, parents), table(names, parents)
    for a, b in itertools.combinations_with_replacement(range(len(names)), 2):
        between = plain.between(names[a], names[b])
        shown = found.low[a, b], found.expected[a, b], found.high[a, b]
        assert shown == pytest.approx((between.low, between.expected, between.high))


def test_gene_diversity_and_founder_genomes_by_their_definitions() -> None:
    """Lacy 1995 (Zoo Biol. 14:565-577), worked by hand: n unrelated founders have a mean kinship of 1 / (2 n); two full
    sibs of theirs each (1/2 + 1/4) / 2 = 3/8."""
    founders = group(kin([*"abcd"], {}))
    assert (founders.mean, founders.gene_diversity, founders.founder_genomes) == (1 / 8, 7 / 8, 4)
    sibs = group(kin(["x", "y"], {name: Parents.of("D", "S") for name in "xy"}))
    assert (sibs.mean, sibs.gene_diversity, sibs.founder_genomes) == pytest.approx((3 / 8, 5 / 8, 4 / 3))
    assert sibs.unknown == ()
    assert founders.unknown == tuple("abcd")


def days(first: int, last: int) -> tuple[date, date]:
    return TODAY + timedelta(days=first), TODAY + timedelta(days=last)


@pytest.mark.parametrize("seed", range(25))
def test_the_assignment_is_the_best_of_all(seed: int) -> None:
    """Every way to give each female one turn of a male, or none, is gone through."""
    chance = random.Random(seed)
    males = [Free(f"M{i}", "male", *days(0, chance.choice((6, 14, 30)))) for i in range(3)]
    females = [Free(f"F{i}", "female", *days(chance.choice((0, 3, 14)), chance.choice((10, 40)))) for i in range(4)]
    cost = np.array([[chance.choice((0, 0.0625, 0.125, 0.25)) for _ in females] for _ in males])
    rest = 14

    def meets(he: Free, she: Free, turn: int) -> bool:
        day = he.first + timedelta(days=turn * rest)
        if day > he.last:
            return False
        if day + timedelta(days=rest) > he.last:  # his last turn: that day or later
            day = max(day, she.first)
        return she.first <= day <= min(he.last, she.last)

    options = [
        [None, *((m, turn) for m in range(3) for turn in range(3) if meets(males[m], she, turn))] for she in females
    ]
    best = 1e9
    for way in itertools.product(*options):
        told = [turn for turn in way if turn is not None]
        if len(set(told)) == len(told):
            total = sum(UNPAIRED if turn is None else cost[turn[0], f] for f, turn in enumerate(way))
            best = min(best, total)
    found = assign(males, females, cost, rest)
    mine = sum(cost[m, f] for m, f, _ in found) + UNPAIRED * (len(females) - len(found))
    assert mine == pytest.approx(best)
    for m, he in enumerate(males):
        own = sorted(day for o, _, day in found if o == m)
        assert all((b - a).days >= rest for a, b in itertools.pairwise(own))
        assert all(he.first <= day <= he.last for day in own)


SPECIES = ("species", "2020", "Brachypelma smithi")
BORN = {"dam": ("dam", "2020", "D"), "sire": ("sire", "2020", "S")}
READY = (("moult", "2026-03-01", "last"), ("sperm_web", "2026-05-01"))


def herd(folder: Path) -> None:
    """Two males and two females, brother and sister each; a third male is lent, a fourth of another form."""
    for who, lines in {
        "M-1": (*BORN.values(), *READY),
        "M-2": (("dam", "2020", "E"), ("sire", "2020", "T"), *READY),
        "M-3": (*READY, ("lent", "2026-05-01", "Anna")),
        "M-4": (*READY, ("form", "2020", "coast")),
        "F-1": (*BORN.values(), ("moult", "2026-03-01")),
        "F-2": (("dam", "2020", "E"), ("sire", "2020", "T"), ("moult", "2026-03-01")),
        "F-3": (("moult", "2026-05-30"),),
    }.items():
        sex: CardLine = ("sex", "2020", "male" if who[0] == "M" else "female")
        write_card(folder, who, sex, SPECIES, *lines)


def test_a_plan_pairs_by_weeks_and_never_zero_for_unknown(tmp_path: Path) -> None:
    herd(tmp_path)
    known = animals.read(tmp_path)
    with pytest.raises(Refusal, match="one species and form at a time"):
        plan(known, at_hand(tmp_path), TODAY)
    found = plan(known, at_hand(tmp_path), TODAY, form="")
    pairs = {(row.male, row.female): row for row in found.pairs.itertuples()}
    assert {("M-1", "F-2"), ("M-2", "F-1")} <= set(pairs)
    assert pairs["M-1", "F-2"].inbreeding == 0  # both pedigrees known one generation back
    assert pairs["M-1", "F-2"].next_best == "M-2"
    assert pairs["M-1", "F-2"].next_best_inbreeding == 0.25
    (third,) = (row for row in found.pairs.itertuples() if row.female == "F-3")
    assert np.isnan(third.inbreeding)
    assert "they may be kin" in third.unknown
    assert third.first == date(2026, 6, 29)  # hardened on the 27th; the next turn of the male
    why = dict(zip(found.animals["animal"], found.animals["why_not"], strict=True))
    assert "nobody knows until when" in why["M-3"]
    assert "M-4" not in why
    assert list(found.pairs["week"]) == sorted(found.pairs["week"])
    assert figures.plan(found).content("svg")


def test_a_female_is_free_until_her_next_moult_may_be_near(tmp_path: Path) -> None:
    herd(tmp_path)
    write_card(tmp_path, "F-4", ("sex", "2020", "female"), SPECIES, ("moult", "2025-10-01"))
    told = plan(animals.read(tmp_path), at_hand(tmp_path), TODAY, form="").animals.set_index("animal")
    assert told.loc["F-4", "free_until"] == date(2026, 8, 2)  # 60 days before a year is over


@pytest.mark.parametrize(("first", "until"), [("2026-05-20", date(2026, 11, 16)), ("2023-05-20", None)])
def test_a_male_whose_last_moult_nobody_told_was_mature_when_he_was_paired_first(
    first: str, until: date | None, tmp_path: Path
) -> None:
    """Else one that was paired once, years ago, would be proposed for ever."""
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), SPECIES, ("paired", first, "M-1"), ("moult", "2026-04-01"))
    write_card(tmp_path, "M-1", ("sex", "2020", "male"), SPECIES)
    told = plan(animals.read(tmp_path), at_hand(tmp_path), TODAY).animals.set_index("animal")
    assert told.loc["M-1", "free_until"] == until
    assert (f"mature by {first}, when paired first" in told.loc["M-1", "why_not"]) == (until is None)


def test_whom_another_card_alone_names_is_not_planned_for(tmp_path: Path) -> None:
    """Nobody says that he lives, or is here: he may be another keeper's, or a name misspelt."""
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), SPECIES, ("moult", "2026-03-01"))
    write_card(tmp_path, "F-2", ("sex", "2020", "female"), SPECIES, ("paired", "2026-05-20", "M-1"))
    found = plan(animals.read(tmp_path), at_hand(tmp_path), TODAY)
    assert list(found.animals["animal"]) == ["F-1", "F-2"]
    assert found.pairs.empty
    write_card(tmp_path, "M-1", ("moult", "2026-03-01", "last"))
    found = plan(animals.read(tmp_path), at_hand(tmp_path), TODAY)
    assert [*zip(found.pairs["male"], found.pairs["female"], strict=True)] == [("M-1", "F-1")]


@pytest.mark.parametrize("unknown", ["M-1", "M-2"])
def test_of_two_males_the_one_that_is_surely_no_kin_comes_first(unknown: str, tmp_path: Path) -> None:
    """Where no two of a group are kin, he whose parents nobody told is still not as good as a known stranger."""
    her = (("dam", "2020", "E"), ("sire", "2020", "T"), ("moult", "2026-03-01"))
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), SPECIES, *her)
    for who, dam, sire in (("M-1", "G", "H"), ("M-2", "J", "K")):
        parents: list[CardLine] = [] if who == unknown else [("dam", "2020", dam), ("sire", "2020", sire)]
        write_card(tmp_path, who, ("sex", "2020", "male"), SPECIES, ("moult", "2026-03-01", "last"), *parents)
    (pair,) = plan(animals.read(tmp_path), at_hand(tmp_path), TODAY).pairs.itertuples()
    assert (pair.male, pair.inbreeding) == ("M-2" if unknown == "M-1" else "M-1", 0)


def test_who_was_to_be_back_from_a_loan_by_now_is_planned_with_a_word_on_it(tmp_path: Path) -> None:
    herd(tmp_path)
    write_card(tmp_path, "F-2", ("lent", "2026-04-01", "Anna until 2026-05-20"))
    pairs = plan(animals.read(tmp_path), at_hand(tmp_path), TODAY, form="").pairs
    assert "F-2: lent to Anna since 2026-04-01, until 2026-05-20" in pairs.set_index("female")["unknown"]["F-2"]


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ((("born", "2025-09"),), "she may not be adult: born 2025-09"),
        ((("born", "2025-05"),), ""),
        ((("moult", "2025-10-01"), ("moult", "2026-02-01")), "she may not be adult: moulted 2025-10-01 and 2026-02-01"),
        ((("moult", "2025-08-01"), ("moult", "2026-02-01")), ""),
        ((("size", "2026-02-01", "", "40"),), "she may not be adult: leg span 40 mm, and F-1 of her species 130 mm"),
        ((("size", "2026-02-01", "", "65"),), ""),
        # Whoever was paired was adult to her keeper.
        ((("born", "2025-09"), ("paired", "2025-12-01", "M-1"), ("moult", "2026-03-01")), ""),
    ],
)
def test_who_may_be_growing_yet_is_proposed_by_the_keeper_alone(
    lines: tuple[CardLine, ...], why: str, tmp_path: Path
) -> None:
    herd(tmp_path)
    write_card(
        tmp_path, "F-1", ("size", "2026-01-01", "", "130"), ("paired", "2025-01-01", "M-9"), ("moult", "2026-03-01")
    )
    write_card(tmp_path, "F-4", ("sex", "2020", "female"), SPECIES, *lines)
    known, kept = animals.read(tmp_path), at_hand(tmp_path)
    found = plan(known, kept, TODAY, form="")
    assert dict(zip(found.animals["animal"], found.animals["why_not"], strict=True))["F-4"] == why
    assert ("F-4" in set(found.now["female"])) == (not why)
    against = [fact.text for fact in readiness.facts("M-2", "F-4", known, kept, TODAY) if fact.side == "against"]
    assert ([text for text in against if "adult" in text] == [f"F-4: {why}"]) == bool(why)
    if why:
        (fixed,) = plan(known, kept, TODAY, form="", fix=[("M-2", "F-4")]).pairs.query("female == 'F-4'").itertuples()
        assert why in fixed.unknown


@pytest.mark.slow
def test_the_keeper_changes_a_pair_and_it_is_computed_anew(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    herd(tmp_path)
    words = ("plan", "--form", "", "--today", "2026-06-01")
    changed = etholog(*words, "--fix", "M-1:F-1", "--forbid", "M-2:F-3", "--json", cwd=tmp_path)
    assert changed.returncode == 0
    told = json.loads(changed.stdout)
    pairs = {(row["male"], row["female"]): row for row in told["pairs"]}
    assert pairs["M-1", "F-1"]["fixed"]
    assert pairs["M-1", "F-1"]["inbreeding"] == 0.25
    assert ("M-2", "F-3") not in pairs
    assert told["group"]["with_an_unknown_parent"] == ["F-3", "M-3"]
    written = etholog(*words, "--ics", "plan.ics", "--draw", "plan.svg", cwd=tmp_path)
    assert "3 events" in written.stderr
    assert "at most" in written.stderr
    assert (tmp_path / "plan.ics").read_text(encoding="utf-8").count("BEGIN:VEVENT") == 3
    assert (tmp_path / "plan.svg").exists()
    for said, why in [
        (("--fix", "M-3:F-1"), "M-3 is not free (lent to Anna"),
        (("--fix", "F-1:M-1"), "write the male first"),
        (("--fix", "M-1:F-1", "--forbid", "M-1:F-1"), "fixed and forbidden"),
        (("--species", "Brachypelma smithi", "--form", "hills"), "form 'hills' of Brachypelma smithi; there are: Bra"),
        (("--species", "Nosuch genus"), "no living animal of Nosuch genus; there are: Brachypelma"),
        (("--species", "Brachypelma smithii"), "did you mean 'Brachypelma smithi'? There are: Brachypelma"),
    ]:
        refused = etholog(*words, *said, cwd=tmp_path)
        assert refused.returncode == 2
        assert why in refused.stderr
