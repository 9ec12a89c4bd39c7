"""All cards together: kinship, pairings, attempts, and what does not fit."""

import itertools
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etholog import animals
from etholog.animals.attempts import attempts
from etholog.animals.pedigree import Chances, Parents, common, kinship
from etholog.base.dates import Day
from etholog.base.refusal import Refusal
from etholog.session.closing import QUESTIONS
from tests.make import CardLine, marks, write_card, write_session

# Wright 1922, Am. Nat. 56:330-338: the inbreeding of the young of relatives, which is the parents' kinship. The values
# are in every handbook (Falconer & Mackay 1996, table 5.1; from memory).
FAMILY = {
    "son": Parents.of("mother", "father"),
    "daughter": Parents.of("mother", "father"),
    "half": Parents.of("mother", "stranger"),
    "cousin a": Parents.of("daughter", "in-law 1"),
    "cousin b": Parents.of("in-law 2", "son"),
    "child": Parents.of("daughter", "son"),
}
RELATIONS = [
    ("son", "daughter", 1 / 4),
    ("mother", "son", 1 / 4),
    ("son", "half", 1 / 8),
    ("mother", "cousin a", 1 / 8),
    ("daughter", "cousin b", 1 / 8),
    ("cousin a", "cousin b", 1 / 16),
    ("mother", "father", 0),
    ("child", "child", (1 + 1 / 4) / 2),
    ("child", "son", 3 / 8),
]


@pytest.mark.parametrize(("one", "other", "expected"), RELATIONS)
def test_kinship_of_relatives_as_in_the_handbooks(one: str, other: str, expected: float) -> None:
    assert kinship(one, other, FAMILY).expected == expected
    assert kinship(other, one, FAMILY).expected == expected


def test_inbreeding_of_a_published_pedigree() -> None:
    """The worked example of R's pedigreeTools (function `inbreeding`, its expected values)."""
    sire, dam = ["", "", "1", "1", "4", "5"], ["", "", "2", "", "3", "2"]
    parents = {str(i): Parents.of(d, s) for i, (s, d) in enumerate(zip(sire, dam, strict=True), 1)}
    assert [2 * kinship(i, i, parents).expected - 1 for i in "123456"] == [0, 0, 0, 0, 0.125, 0.125]


@st.composite
def pedigrees(draw: st.DrawFn) -> dict[str, Parents]:
    """A few animals, each with parents among those before it."""
    found: dict[str, Parents] = {"0": Parents(), "1": Parents()}
    for n in range(2, draw(st.integers(3, 6))):
        older = ["", *map(str, range(n))]
        found[str(n)] = Parents.of(draw(st.sampled_from(older)), draw(st.sampled_from(older)))
    return found


def _sure(chances: Chances) -> str:
    return chances[0][0] if chances else ""


@given(pedigrees())
@settings(max_examples=40, deadline=None)
def test_kinship_is_what_passing_on_every_gene_in_every_way_gives(parents: dict[str, Parents]) -> None:
    """The definition itself, by going through all ways in which each parent passes on one of its two genes."""
    names = list(parents)
    passes = [(name, up) for name in names for up in (_sure(parents[name].dam), _sure(parents[name].sire))]
    ways = [(0,) if not up else (0, 1) for _, up in passes]
    one, other = names[-1], names[-2]
    total = shared = 0
    for way in itertools.product(*ways):
        genes: dict[str, tuple[str, str]] = {}
        for at, name in enumerate(names):
            own = []
            for side in (0, 1):
                up = passes[2 * at + side][1]
                own.append(genes[up][way[2 * at + side]] if up else f"{name}{side}")
            genes[name] = (own[0], own[1])
        for a, b in itertools.product(genes[one], genes[other]):
            total, shared = total + 1, shared + (a == b)
    assert kinship(one, other, parents).expected == pytest.approx(shared / total)


def test_a_cycle_in_the_pedigree_is_refused_by_name() -> None:
    parents = {"a": Parents.of("b", ""), "b": Parents.of("", "c"), "c": Parents.of("a", "")}
    with pytest.raises(Refusal, match="would be its own ancestor: "):
        kinship("a", "b", parents)


@pytest.mark.slow
def test_a_long_line_is_no_trouble() -> None:
    parents = {str(n): Parents.of(str(n - 1), "") for n in range(1, 900)}
    assert kinship("899", "0", parents).expected == pytest.approx(0.5**900)
    assert common("899", "5", parents) == {"5"}


def test_two_cards_of_one_animal_are_told_of(tmp_path: Path) -> None:
    write_card(tmp_path, "F-1", ("moult", "2026-01-01"))
    copy = tmp_path / "animals" / "F-1 copy.jsonl"
    copy.write_bytes((tmp_path / "animals" / "F-1.jsonl").read_bytes())
    write_card(tmp_path, "F-2", ("renamed", "2026-01-01", "F-1"))
    known = animals.read(tmp_path)
    assert len(known.findings) == 1
    assert all("F-1 is on" in fault.what for fault in known.findings)
    assert list(known.cards) == ["F-1"]
    assert known.cards["F-1"].names == ("F-2", "F-1")


@pytest.mark.slow
def test_what_does_not_fit_is_asked_about(tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]) -> None:
    write_card(
        tmp_path, "F-1", ("sex", "2022", "female"), ("dam", "2022", "F-0"), ("sire", "2022", "F-2"), ("sac", "2025-05")
    )
    write_card(tmp_path, "F-2", ("sex", "2022", "female"), ("died", "2025-01-01"), ("moult", "2025-03-01"))
    asked = list(map(str, animals.questions(animals.read(tmp_path))))
    for words in (
        "dam 'F-0' has no card",
        "sire 'F-2' is female, as its card or a session says",
        "no pairing of F-1 before it is known",
        "died on 2025-01-01",
    ):
        assert any(words in question for question in asked), words
    done = etholog("check", tmp_path)
    assert done.returncode == 1
    assert "dam 'F-0' has no card" in done.stdout


@pytest.mark.slow
def test_a_cycle_on_the_cards_is_found_by_check(tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]) -> None:
    write_card(tmp_path, "F-1", ("dam", "2022", "F-2"))
    write_card(tmp_path, "F-2", ("dam", "2022", "F-1"))
    done = etholog("check", tmp_path)
    assert (done.returncode, "would be its own ancestor" in done.stdout) == (1, True)


def life(folder: Path, *told: CardLine) -> list[str]:
    write_card(folder, "F-1", ("sex", "2020", "female"), *told)
    write_card(folder, "M-1", ("sex", "2020", "male"))
    write_card(folder, "M-2", ("sex", "2020", "male"))
    return [f"{'+'.join(one.sires)} {one.end}" for one in attempts(animals.read(folder), "F-1")]


P1, P2 = ("paired", "2026-01-01", "M-1"), ("paired", "2026-02-01", "M-2")
LIVES = [
    ((P1,), ["M-1 open"]),
    ((P1, P2), ["M-1+M-2 open"]),
    ((P1, ("moult", "2026-01-20"), P2), ["M-1 moult", "M-2 open"]),  # the moult sheds what M-1 gave
    ((P1, ("sac", "2026-03-01")), ["M-1 sac"]),
    ((P1, ("sac", "2026-01-20"), P2), ["M-1 sac", "M-1+M-2 open"]),
    ((P1, ("sac", "2026-03-01"), ("sac", "2026-05-01")), ["M-1 sac", "M-1 sac"]),  # a second sac, no second pairing
    ((P1, ("died", "2026-03-01")), ["M-1 died"]),
    ((P1, ("sac", "2026-03-01"), ("moult", "2026-06-01"), ("paired", "2026-07-01", "M-2")), ["M-1 sac", "M-2 open"]),
    ((("sac", "2026-03-01"),), [" sac"]),  # no pairing known
    ((("moult", "2026-01-01"), P1), ["M-1 open"]),  # on one day, the moult came first
]


@pytest.mark.parametrize(("told", "expected"), LIVES)
def test_attempts_end_with_a_sac_a_moult_or_her_death(
    told: tuple[CardLine, ...], expected: list[str], tmp_path: Path
) -> None:
    assert life(tmp_path, *told) == expected


def test_a_moult_known_to_the_month_asks_what_came_first(tmp_path: Path) -> None:
    life(tmp_path, ("paired", "2026-01-15", "M-1"), ("moult", "2026-01"))
    (one,) = attempts(animals.read(tmp_path), "F-1")
    assert one.doubts == ("moult 2026-01 and pairing 2026-01-15: which came first?",)


@pytest.mark.parametrize("told", [("F-1", "female"), ("M-1", "male")])
@pytest.mark.parametrize("on", ["F-1", "M-1"])
def test_one_sex_that_is_known_says_who_is_who(told: tuple[str, str], on: str, tmp_path: Path) -> None:
    write_card(tmp_path, told[0], ("sex", "2020", told[1]))
    write_card(tmp_path, on, ("paired", "2026-03-01", "M-1" if on == "F-1" else "F-1"))
    (pairing,) = animals.read(tmp_path).pairings
    assert (pairing.male, pairing.female) == ("M-1", "F-1")


def test_a_sac_eaten_in_the_month_in_which_it_was_laid_is_that_sac(tmp_path: Path) -> None:
    life(tmp_path, ("paired", "2026-01-15", "M-1"), ("sac", "2026-07-15"), ("eaten", "2026-07"))
    (one,) = attempts(animals.read(tmp_path), "F-1")
    assert one.eaten
    assert not one.guarding


def test_sperm_stored_before_an_earlier_sac_leaves_the_sire_unsure(tmp_path: Path) -> None:
    first = (("paired", "2026-01-15", "M-1"), ("sac", "2026-04-15"), ("eaten", "2026-04-20"))
    life(tmp_path, *first, ("paired", "2026-05-15", "M-2"), ("sac", "2026-08-15"))
    one, two = attempts(animals.read(tmp_path), "F-1")
    assert (one.sires, two.sires) == (("M-1",), ("M-1", "M-2"))
    assert two.doubts == ("sire unsure: M-1 or M-2",)


def test_sessions_and_cards_know_the_same_pairings(repository: Path) -> None:
    known = animals.read(repository / "examples" / "season")
    assert not known.findings
    assert not list(animals.questions(known))
    assert len([pairing for pairing in known.pairings if pairing.file]) == 28  # the second observer's record is none
    assert {pairing.male for pairing in known.pairings_of("F-Umbra")} == {"M-Slate", "M-Onyx", "M-Basalt", "M-Flint"}
    assert kinship("M-Basalt", "F-Umbra", known.parents).expected == 1 / 8  # one dam


@pytest.mark.slow
def test_the_cards_of_the_example_are_made_from_its_notebook(repository: Path, tmp_path: Path) -> None:
    import subprocess
    import sys

    subprocess.run([sys.executable, repository / "examples" / "make_cards.py", tmp_path], check=True)
    kept = repository / "examples" / "season" / "animals"
    assert {f.name: f.read_bytes() for f in kept.iterdir()} == {
        f.name: f.read_bytes() for f in (tmp_path / "animals").iterdir()
    }


@pytest.mark.parametrize("began", ["2026-03-01T00:10:00+13:00", "2026-03-01T23:50:00-05:00"])
def test_a_pairing_is_of_the_day_that_the_wall_showed(began: str, tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", marks((1000, "walking", "onset")), began=began)
    (pairing,) = animals.read(tmp_path).pairings
    assert pairing.on == Day.parse("2026-03-01")


@pytest.mark.slow
def test_an_animal_that_only_sessions_know_has_a_life_too(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", marks((1000, "walking", "onset")))
    known = animals.read(tmp_path)
    assert (known.known(), known.sex_of("M-1"), known.sex_of("F-1")) == (["F-1", "M-1"], "male", "female")
    shown = etholog("card", "M-1", "--folder", tmp_path)
    assert (shown.returncode, "paired with F-1: no contact" in shown.stdout) == (0, True)
    assert "F-1 has no card" in etholog("ready", "M-1", "F-1", "--folder", tmp_path).stdout


@pytest.mark.slow
def test_a_male_who_was_killed_is_dead_without_a_word_on_his_card(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    (ended,) = (question for question in QUESTIONS if question.name == "ended")
    close = {"n": 2, "do": "close", "t": 60_000, "outcome": {"ended": ended.answer("5")}}
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", [*marks((1000, "walking", "onset")), close])
    write_card(tmp_path, "M-1", ("sex", "2025", "male"), ("moult", "2025-11", "last"), ("meal", "2026-04-01", "small"))
    write_card(tmp_path, "F-1", ("sex", "2025", "female"), ("meal", "2026-04-01", "small"))
    assert animals.read(tmp_path).died("M-1") == Day.parse("2026-05-03")
    assert animals.read(tmp_path).died("F-1") is None
    assert "M-1 died on 2026-05-03" in etholog("ready", "M-1", "F-1", "--folder", tmp_path).stdout
    assert ", died 2026-05-03" in etholog("card", "M-1", "--folder", tmp_path).stdout
    due = etholog("due", "--today", "2026-05-20", "--folder", tmp_path).stdout
    assert "F-1" in due
    assert "M-1 " not in due
    write_card(tmp_path, "M-1", ("paired", "2026-06-01", "F-1"))  # so it was another, or he came round
    assert animals.read(tmp_path).died("M-1") is None


def test_a_pairing_that_was_watched_and_written_down_is_one(tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", marks((1000, "walking", "onset")))
    write_card(
        tmp_path, "M-1", ("sex", "2025", "male"), ("paired", "2026-05-03", "F-1"), ("paired", "2026-05-04", "F-1")
    )
    write_card(tmp_path, "F-1", ("sex", "2025", "female"), ("paired", "2026-05-03", "M-1"))
    met = animals.read(tmp_path).pairings_of("F-1")
    assert [(pairing.on.text, pairing.evidence) for pairing in met] == [("2026-05-03", 0), ("2026-05-04", -1)]


@pytest.mark.parametrize(
    ("counted", "young", "rung"),
    [
        ((), None, 6),
        ((("eggs", "180"),), None, 6),
        ((("bad eggs", "180"), ("eggs with legs", "40")), 40, 7),
        ((("eggs", "180"), ("nymphs", "150"), ("spiderlings", "120")), 120, 7),
        ((("Eier", "300"),), None, 6),
        ((("huevos", "150"), ("dead", "200"), ("infertile eggs (bad)", "250")), None, 6),
    ],
)
def test_eggs_are_no_young_yet(tmp_path: Path, counted: tuple[CardLine, ...], young: float | None, rung: int) -> None:
    told = [("count", "2026-07-01", *one) for one in counted]
    write_card(
        tmp_path, "F-1", ("sex", "2025", "female"), ("paired", "2026-01-05", "M-1"), ("sac", "2026-05-20"), *told
    )
    (one,) = attempts(animals.read(tmp_path), "F-1")
    assert (one.young, one.rung) == (young, rung)
