"""The young of a sac as one lot: counts that close, shares, placements, and animals raised out of it."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etholog import animals
from etholog.animals import care, entering, notebook, young
from etholog.animals.entering import NewEntry
from etholog.animals.lot import parted
from etholog.base.refusal import Refusal
from etholog.ethogram import at_hand
from tests.make import CardLine, marks, write_card, write_session

Run = Callable[..., CompletedProcess[str]]
HER = (("sex", "2022", "female"), ("species", "2022", "Brachypelma smithi"), ("form", "2022", "coast"))
SAC = (("paired", "2026-01-01", "M-1"), ("paired", "2026-01-11", "M-2"), ("sac", "2026-05-01"))
COUNTED = (
    ("count", "2026-06-15", "eggs", "200"),
    ("count", "2026-06-15", "bad eggs", "20"),
    ("count", "2026-06-20", "nymphs", "150"),
)


def herd(folder: Path, *more: CardLine) -> animals.Animals:
    for male in ("M-1", "M-2"):
        write_card(folder, male, ("sex", "2022", "male"))
    write_card(folder, "F-1", *HER, *SAC, *more)
    return animals.read(folder)


@pytest.mark.parametrize(
    ("more", "words", "asked"),
    [
        # Nobody wrote down the dead: the counts don't close, and that is told too.
        (COUNTED, "laid 220 = alive 150 + dead 20, and 50 not told of", True),
        ((*COUNTED, ("count", "2026-06-20", "dead nymphs", "50")), "laid 220 = alive 150 + dead 70", False),
        (
            (*COUNTED, ("count", "2026-06-25", "dead nymphs", "10"), ("placed", "2026-07-01", "Anna", "40")),
            "laid 220 = alive 100 + dead 30 + placed 40, and 50 not told of",
            True,
        ),
        ((*COUNTED, ("count", "2026-07-20", "spiderlings", "230")), "alive 230 + dead 20, which is 30 too many", True),
        ((*COUNTED[2:], ("placed", "2026-07-01", "", "160")), ", which is 10 too many", True),
        # More left than were counted alive: so more were, and the rest died.
        ((*COUNTED, ("placed", "2026-07-01", "", "160")), "alive 0 + dead 20 + placed 160, and 40 not told of", True),
        # What was counted when she had moulted, or was paired again, is still of that sac.
        ((*COUNTED[:2], ("moult", "2026-06-17"), *COUNTED[2:]), "laid 220 = alive 150 + dead 20, and 50", True),
        ((*COUNTED[:2], ("paired", "2026-06-18", "M-1"), *COUNTED[2:]), "laid 220 = alive 150 + dead 20", True),
        # On one day at two stages: both live.
        ((*COUNTED, ("count", "2026-06-20", "eggs with legs", "50")), "laid 220 = alive 200 + dead 20", False),
        (  # opened when they had legs: what was bad is not all that was laid
            (
                ("count", "2026-06-10", "eggs with legs", "150"),
                ("count", "2026-06-10", "bad eggs", "12"),
            ),
            "laid 162 = alive 150 + dead 12",
            False,
        ),
        (
            (
                ("count", "2026-06-10", "eggs with legs", "150"),
                ("count", "2026-06-12", "bad eggs", "12"),
            ),
            "first counted 150 = alive 138 + dead 12",
            False,
        ),
    ],
)
def test_counts_close_or_it_is_told(more: tuple[CardLine, ...], words: str, asked: bool, tmp_path: Path) -> None:
    known = herd(tmp_path, *more)
    sums = young.lot(known, "F-1").lot.closing
    assert sums is not None
    assert words in sums.words
    assert sums.began == sums.alive + sums.dead + sums.placed + sums.raised + sums.missing
    assert any("don't close" in found.what for found in animals.questions(known)) == asked


@pytest.mark.parametrize(
    "more",
    [
        COUNTED,
        (*COUNTED, ("count", "2026-06-20", "dead nymphs", "10")),
        (*COUNTED, ("placed", "2026-07-01", "Anna", "160")),
        (*COUNTED, ("placed", "2026-07-01", "Anna", "40"), ("count", "2026-08-01", "spiderlings", "90")),
        (*COUNTED, ("count", "2026-07-10", "eggs with legs", "5"), ("count", "2026-07-10", "nymphs", "100")),
    ],
)
def test_counts_close_by_the_command_that_is_told(more: tuple[CardLine, ...], tmp_path: Path) -> None:
    (found,) = [found for found in animals.questions(herd(tmp_path, *more)) if "don't close" in found.what]
    kind, *words = found.remedy.partition("etholog card F-1 ")[2].split()
    assert words[-2] == "--on"
    entry = entering.typed(kind, words[:-2], words[-1])
    entering.write(entering.propose(animals.read(tmp_path), [NewEntry("F-1", entry)], date(2026, 11, 1)))
    known = animals.read(tmp_path)
    sums = young.lot(known, "F-1").lot.closing
    assert sums is not None
    assert sums.missing == 0
    assert not [found for found in animals.questions(known) if "don't close" in found.what]


def test_a_lot_says_how_many_live_where_some_died_or_left_since(tmp_path: Path) -> None:
    known = herd(tmp_path, *COUNTED, ("count", "2026-06-25", "dead nymphs", "150"))
    assert young.lot(known, "F-1").lot.words == "laid 220, eggs 200 (20 lost), nymphs 150 (50 lost), alive 0"


def test_those_that_were_placed_are_not_lost(tmp_path: Path) -> None:
    known = herd(tmp_path, *COUNTED, ("placed", "2026-07-01", "", "40"), ("count", "2026-08-01", "spiderlings", "100"))
    assert (
        young.lot(known, "F-1").lot.words
        == "laid 220, eggs 200 (20 lost), nymphs 150 (50 lost), spiderlings 100 (10 lost)"
    )


TWO_SACS = (("pulled", "2026-06-10"), ("sac", "2026-08-01"))


def told(folder: Path, *words: str, on: str = "2026-08-10") -> list[str]:
    """Write an entry as it is typed, and return what is asked."""
    entry = entering.typed(words[0], words[1:], on)
    proposal = entering.propose(animals.read(folder), [NewEntry("F-1", entry)], date(2026, 11, 1))
    entering.write(proposal)
    return [f"{found.what}; {found.remedy}" for found in proposal.asked]


def test_of_which_of_two_sacs_is_asked_where_it_is_not_clear(tmp_path: Path) -> None:
    herd(tmp_path, *TWO_SACS)
    (asked,) = told(tmp_path, "opened", "eggs with legs")
    assert "of which sac? Taken for that of 2026-08-01; that of 2026-05-01 may be meant" in asked
    assert "etholog card F-1 opened eggs with legs of 2026-05-01" in asked
    # Once the first is opened and its young are gone, only the second is left.
    assert told(tmp_path, "opened", "nymphs", "of", "2026-05-01") == []
    assert told(tmp_path, "count", "nymphs", "of", "2026-05-01", "30") == []
    assert told(tmp_path, "placed", "Zoe", "30", "of", "2026-05-01") == []
    assert told(tmp_path, "pulled", on="2026-09-01") == []
    assert told(tmp_path, "count", "eggs", "90", on="2026-09-02") == []
    first, second = (young.lot(animals.read(tmp_path), "F-1", sac) for sac in ("2026-05-01", "2026-08-01"))
    assert (first.opened and first.opened.words, second.opened and second.opened.words) == ("nymphs", "eggs with legs")
    assert (first.lot.closing and first.lot.closing.words) == "first counted 30 = alive 0 + dead 0 + placed 30"
    assert (second.lot.closing and second.lot.closing.words) == "laid 90 = alive 90 + dead 0"


def test_a_male_has_no_lot_and_is_not_asked_for_a_sac(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="M-1 is a male: a lot is the young of a female's sac"):
        young.lot(herd(tmp_path), "M-1")


def test_a_sac_that_is_not_there_is_asked_about(tmp_path: Path) -> None:
    herd(tmp_path, *TWO_SACS)
    (asked,) = told(tmp_path, "pulled", "of", "2025-05-01")
    assert "no sac of F-1 on 2025-05-01; there are those of 2026-05-01, 2026-08-01" in asked
    assert any("no sac of F-1 on 2025-05-01" in found.what for found in animals.questions(animals.read(tmp_path)))


def test_young_of_an_earlier_sac_get_its_sire(tmp_path: Path) -> None:
    herd(tmp_path, *TWO_SACS, ("paired", "2026-08-20", "M-3"), ("sac", "2026-10-01"))
    told(tmp_path, "raised", "F-31", "of", "2026-05-01", on="2026-10-05")
    known = animals.read(tmp_path)
    assert [who for who, _ in known.parents["F-31"].sire] == ["M-1", "M-2"]
    assert [one.who for one in young.lot(known, "F-1", "2026-05-01").lot.left] == ["F-31"]


@pytest.mark.parametrize("words", [("placed", "Zoe 30"), ("placed", "Zoe", "30"), ("count", "nymphs 30")])
def test_words_and_number_may_stand_in_one_pair_of_quotes(words: tuple[str, ...], tmp_path: Path) -> None:
    herd(tmp_path, *COUNTED)
    told(tmp_path, *words)
    entry = animals.read(tmp_path).cards["F-1"].last(words[0])
    assert entry
    assert (entry.words, entry.number) in (("Zoe", 30), ("nymphs", 30))


@given(st.integers(0, 3000), st.lists(st.integers(1, 50), min_size=1, max_size=6))
def test_shares_are_whole_and_add_up(number: int, parts: list[int]) -> None:
    """Largest remainder (Hamilton): whole numbers that add up, none further from its share than one (the quota rule:
    Balinski & Young 1982, Fair Representation; from memory)."""
    shares = {str(at): part / sum(parts) for at, part in enumerate(parts)}
    found = parted(number, shares)
    assert sum(found.values()) == number
    assert all(abs(found[who] - number * share) < 1 for who, share in shares.items())


def test_shares_are_as_in_the_textbook() -> None:
    """The worked example of encyclopaedias for largest remainders (from memory): 100,000 votes, 10 seats."""
    votes = {"Y": 47_000, "W": 16_000, "R": 15_900, "G": 12_000, "B": 6_000, "P": 3_100}
    seats = parted(10, {who: n / 100_000 for who, n in votes.items()})
    assert seats == {"Y": 5, "W": 2, "R": 1, "G": 1, "B": 1, "P": 0}


@pytest.mark.slow
def test_an_animal_raised_out_of_a_lot_has_a_card_with_its_parents(etholog: Run, tmp_path: Path) -> None:
    herd(tmp_path, *COUNTED)
    done = etholog("card", "F-1", "raised", "F-31", "--on", "2026-07-02", "--folder", tmp_path)
    assert "F-31: dam F-1 on 2026-07-02" in done.stdout
    known = animals.read(tmp_path)
    one = known.find("F-31")
    assert one is not None
    assert (one.species, one.fact("form")) == ("Brachypelma smithi", "coast")
    assert known.parents["F-31"].dam == (("F-1", 1.0),)
    assert known.parents["F-31"].sire == (("M-1", 0.5), ("M-2", 0.5))
    assert not [found for found in animals.questions(known) if "F-31" in found.what]
    # A card that was there keeps what it says.
    write_card(tmp_path, "F-32", ("sire", "2026-07-01", "M-2"))
    assert etholog("card", "F-1", "raised", "F-32", "--on", "2026-07-02", "--folder", tmp_path).returncode == 0
    assert animals.read(tmp_path).parents["F-32"].sire == (("M-2", 1.0),)


def test_who_counts_dead_ones_alone_is_asked_whether_any_live(tmp_path: Path) -> None:
    herd(tmp_path, ("opened", "2026-06-15"))
    (asked,) = told(tmp_path, "count", "bad", "eggs", "40", on="2026-06-15")
    assert asked.startswith("40 bad eggs, and the living were not counted: are there any?; if none: ")
    assert not young.lot(animals.read(tmp_path), "F-1").over
    typed = asked.partition("etholog card F-1 ")[2].split(" --on ")
    assert told(tmp_path, *typed[0].split(), on=typed[1]) == []
    closed = young.lot(animals.read(tmp_path), "F-1")
    assert (closed.over and closed.over.text) == "2026-06-15"
    assert (closed.lot.closing and closed.lot.closing.words) == "laid 40 = alive 0 + dead 40"
    assert told(tmp_path, "count", "bad", "eggs", "2", on="2026-06-16") == []


def test_who_did_not_touch_her_is_no_sire_of_a_further_sac(tmp_path: Path) -> None:
    write_card(tmp_path, "F-1", *HER, ("paired", "2026-05-01", "M-2"), ("sac", "2026-08-01"), ("sac", "2026-09-15"))
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", marks((1000, "walking", "onset")))
    known = animals.read(tmp_path)
    assert [young.lot(known, "F-1", sac).sires for sac in ("2026-08-01", "2026-09-15")] == [("M-2",), ("M-2",)]


def test_who_places_more_than_are_alive_is_asked(tmp_path: Path) -> None:
    known = herd(tmp_path, *COUNTED, ("placed", "2026-07-01", "Anna", "100"), ("placed", "2026-07-02", "", "60"))
    assert [found.what for found in animals.questions(known) if "by the counts" in found.what] == [
        "placed 60, and 50 are alive by the counts"
    ]


def test_a_table_is_asked_the_same_as_what_is_typed(tmp_path: Path) -> None:
    known = herd(tmp_path, *COUNTED)
    table = tmp_path / "young.csv"
    table.write_text(
        "animal,entry,on,words,number\nF-1,raised,2026-07-02,F-31,\nF-1,placed,2026-07-03,Anna,40\n"
        'F-1,split,2026-07-01,"Anna 50, me 101",\nF-1,incubated,2026-06-10,,26.5\n',
        encoding="utf-8",
    )
    read, unread = notebook.read(table)
    proposal = entering.propose(known, read, date(2026, 11, 1))
    assert not unread
    assert not proposal.refused
    assert {one.card.id for one in proposal.proposed} == {"F-1", "F-31"}
    assert [found.what for found in proposal.asked] == ["split 151, and 150 are alive by the counts"]
    entering.write(proposal)
    again = entering.propose(animals.read(tmp_path), read, date(2026, 11, 1), once=True)
    assert (again.there, again.proposed) == (4, ())


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["split", "half each"], "who gets how many?"),
        (["placed", "Anna", "2.5"], "whole"),
        (["placed", "Anna"], "wants a number"),
        (["raised", "F-1"], "own young"),
        (["raised", "a/b"], "can't name an animal"),
        (["incubated", "26 g"], "this takes °C"),
    ],
)
def test_what_a_lot_can_not_be_is_refused(words: list[str], why: str, tmp_path: Path) -> None:
    known = herd(tmp_path, *COUNTED)
    with pytest.raises(animals.entering.Refusal, match=why):
        entry = entering.typed(words[0], words[1].split(), "2026-07-01") if len(words) == 2 else None
        entry = entry or entering.typed(words[0], words[1:], "2026-07-01")
        entering.write(entering.propose(known, [NewEntry("F-1", entry)], date(2026, 11, 1)))
    assert len(known.cards["F-1"].entries) == len(animals.read(tmp_path).cards["F-1"].entries)


@pytest.mark.slow
def test_a_shared_page_of_young_names_no_buyer(etholog: Run, tmp_path: Path) -> None:
    known = herd(tmp_path, ("shares", "2026-01-01", "Berta 1, me 2"), *COUNTED, ("placed", "2026-07-01", "Anna", "40"))
    shown = etholog("card", "F-1", "--lot", "--folder", tmp_path).stdout
    assert "placed 40 with Anna" in shown
    assert "split Berta 37, me 73" in shown  # 110 are left
    page = tmp_path / "young.html"
    for more, there in (((), False), (("--names",), True)):
        assert etholog("card", "F-1", "--lot", "-o", page, *more, "--folder", tmp_path).returncode == 0
        text = page.read_text(encoding="utf-8")
        assert "placed 40" in text
        assert ("Anna" in text, "Berta" in text) == (there, there)
    assert "of F-1 on 2026-01-01; there are those of 2026-05-01" in (
        etholog("card", "F-1", "--lot", "2026-01-01", "--folder", tmp_path).stderr
    )
    assert len(known.cards) == 3


def test_what_is_due_for_a_sac_follows_its_stage(tmp_path: Path) -> None:
    sac = (("pulled", "2026-06-10"), ("turned", "2026-06-12"))
    herd(tmp_path, *sac)
    assert due(tmp_path) == {"incubator": "2026-06-15"}
    write_card(tmp_path, "F-1", ("opened", "2026-06-15", "eggs with legs"), ("count", "2026-06-15", "ewl", "200"))
    assert due(tmp_path) == {"young": "2026-06-18"}
    write_card(tmp_path, "F-1", ("count", "2026-07-20", "spiderlings", "190"))
    tasks = care.due(animals.read(tmp_path), at_hand(tmp_path), date(2026, 6, 10))
    assert "part, feed and label the young (190 of F-1 2026-05-01)" in [task.what for task in tasks]


def test_slow_young_are_looked_after_beyond_their_window(tmp_path: Path) -> None:
    """That of a sac of 2026-05-01 ends on 2026-07-24."""
    herd(tmp_path, ("pulled", "2026-06-10"), ("turned", "2026-07-22"))
    assert due(tmp_path, date(2026, 8, 1)) == {"incubator": "2026-07-25"}
    write_card(tmp_path, "F-1", ("opened", "2026-08-01"), ("count", "2026-08-01", "nymphs", "200"))
    assert due(tmp_path, date(2026, 8, 20)) == {"young": "2026-08-04"}
    assert due(tmp_path, date(2027, 8, 20)) == {}


def due(folder: Path, today: date = date(2026, 6, 10)) -> dict[str, str]:
    tasks = care.due(animals.read(folder), at_hand(folder), today)
    return {task.kind: task.first.isoformat() for task in tasks if task.kind in ("incubator", "young", "count")}


@pytest.mark.slow
def test_a_lot_has_a_label(etholog: Run, tmp_path: Path) -> None:
    herd(tmp_path, *COUNTED, ("pulled", "2026-06-10"), ("incubated", "2026-06-10", "", "26.5"))
    shown = etholog("label", "F-1", "--lot", "--folder", tmp_path).stdout.splitlines()
    assert shown[0] == "F-1 2026-05-01"
    assert "dam F-1; sire M-1 or M-2" in shown
    assert "150 alive, nymphs 2026-06-20" in shown
    assert "at 26.5 °C" in shown
    assert etholog("label", "F-1", "--lot", "-o", tmp_path / "lot.pdf", "--folder", tmp_path).returncode == 0


def test_the_young_of_an_earlier_sac_are_looked_after_too(tmp_path: Path) -> None:
    """She was paired again, and laid again: what was taken from her before is still in the incubator."""
    herd(tmp_path, ("pulled", "2026-06-10"), ("paired", "2026-06-12", "M-1"))
    assert due(tmp_path)["incubator"] == "2026-06-13"
    nymphs = ("opened", "2026-07-05", "nymphs of 2026-05-01"), ("count", "2026-07-05", "nymphs of 2026-05-01", "80")
    write_card(tmp_path, "F-1", ("sac", "2026-07-01"), *nymphs)
    assert due(tmp_path) == {"young": "2026-07-08"}
    known, day = animals.read(tmp_path), date(2026, 7, 6)
    pages = [dict(young.sections(known, young.lot(known, "F-1", on), at_hand(tmp_path), day)) for on in SACS]
    first, second = ("; ".join(page["What is due"]) for page in pages)
    assert "look at the nymphs" in first
    assert "spiderlings are expected" not in first
    assert "spiderlings are expected" in second
    assert "look at the nymphs" not in second


SACS = ("2026-05-01", "2026-07-01")


def test_the_split_that_is_told_is_of_that_sac(tmp_path: Path) -> None:
    herd(tmp_path, *COUNTED, ("shares", "2026-01-01", "Anna 1, me 1"), ("sac", "2026-07-01"))
    known = animals.read(tmp_path)
    page = dict(young.sections(known, young.lot(known, "F-1", SACS[0]), at_hand(tmp_path), date(2026, 7, 6)))
    (told_,) = [line for line in page["Whose they are"] if "to agree on it" in line]
    assert told_.endswith("etholog card F-1 split Anna 75, me 75 of 2026-05-01")
