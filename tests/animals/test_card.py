"""Cards: what they take, what they refuse, what they ask, and that nothing once written is lost."""

import random
from collections.abc import Callable
from datetime import date
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etholog.animals import card
from etholog.animals.card import KINDS, Entry
from etholog.base.dates import Day, between
from etholog.base.journal import Draft
from etholog.base.refusal import Refusal
from tests.make import write_card

Run = Callable[..., CompletedProcess[str]]


@pytest.fixture
def said(etholog: Run, tmp_path: Path) -> Callable[..., CompletedProcess[str]]:
    """`etholog card ...` in a workspace of its own."""

    def run(*words: object) -> CompletedProcess[str]:
        return etholog("card", *words, cwd=tmp_path)

    return run


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("2026-05-03", date(2026, 5, 3), date(2026, 5, 3)),
        ("2024-02", date(2024, 2, 1), date(2024, 2, 29)),  # a leap year
        ("2023-02", date(2023, 2, 1), date(2023, 2, 28)),
        ("2026", date(2026, 1, 1), date(2026, 12, 31)),
    ],
)
def test_a_date_may_be_partial(text: str, first: date, last: date) -> None:
    assert (Day.parse(text).first, Day.parse(text).last) == (first, last)


@pytest.mark.parametrize("text", ["2026-02-30", "2023-02-29", "2026-13", "03.05.2026", "26", "2026-5-3", "", "٢٠٢٦"])
def test_no_date_is_refused_with_what_to_write(text: str) -> None:
    with pytest.raises(Refusal, match="is not a date"):
        Day.parse(text)


@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)), st.dates(date(1900, 1, 1), date(2100, 1, 1)))
def test_days_between_partial_dates_hold_the_true_number(one: date, other: date) -> None:
    for cut_one in (4, 7, 10):
        for cut_other in (4, 7, 10):
            a, b = Day.parse(one.isoformat()[:cut_one]), Day.parse(other.isoformat()[:cut_other])
            low, high = a.days_until(b)
            assert low <= (other - one).days <= high
            assert not (a.before(b) and one >= other)
    assert between((0, 0)) == "0 days"


@pytest.mark.slow
def test_a_new_card_is_said_to_be_one(said: Run) -> None:
    assert said("F-1", "sex", "female", "--on", "2022").stdout == "F-1: sex female on 2022  [#1, a new card]\n"
    assert said("F-1", "meal", "small", "--on", "2026-05-03").stdout.endswith("[#2]\n")
    slip = said("f-1", "meal", "small", "--on", "2026-05-04")
    assert slip.returncode == 2
    assert "differ in capitals alone" in slip.stderr


@pytest.mark.slow
def test_entries_come_back_as_they_were_told(said: Run, tmp_path: Path) -> None:
    said("F-1", "sex", "female", "--on", "2022")
    said("F-1", "species", "Brachypelma", "smithi", "--on", "2022")
    said("F-1", "meal", "small", "--on", "2026-05-03", "--note", "a cricket, not quite eaten")
    said("F-1", "weight", "38.5", "--on", "2026-05-04", "--unsure")
    said("F-1", "count", "nymphs", "214", "--on", "2026-05-05")
    one = card.read(tmp_path / "animals" / "F-1.jsonl")
    assert (one.id, one.sex, one.species) == ("F-1", "female", "Brachypelma smithi")
    assert [(e.kind, e.on.text, e.sure, e.words, e.number, e.note) for e in one.entries[2:]] == [
        ("meal", "2026-05-03", True, "small", None, "a cricket, not quite eaten"),
        ("weight", "2026-05-04", False, "", 38.5, ""),
        ("count", "2026-05-05", True, "nymphs", 214.0, ""),
    ]
    shown = said("F-1").stdout
    assert "leg span" not in shown
    assert "weight 38.5 g (unsure)" in shown


@pytest.mark.slow
def test_a_fact_told_again_replaces_the_one_before(said: Run, tmp_path: Path) -> None:
    said("F-1", "species", "Brachypelma vagans", "--on", "2022")
    said("F-1", "species", "Tliltocatl vagans", "--on", "2020")
    assert card.read(tmp_path / "animals" / "F-1.jsonl").species == "Tliltocatl vagans"


@pytest.mark.slow
def test_undo_takes_back_and_can_be_taken_back(said: Run, tmp_path: Path) -> None:
    said("F-1", "moult", "--on", "2026-01-02")
    said("F-1", "moult", "--on", "2026-01-20")
    assert "taken back: moult on 2026-01-20" in said("F-1", "undo", "2").stdout
    path = tmp_path / "animals" / "F-1.jsonl"
    assert [entry.on.text for entry in card.read(path).entries] == ["2026-01-02"]
    assert path.read_text().count("2026-01-20") == 1  # nothing written ever changes
    assert said("F-1", "undo", "2").returncode == 2
    book = card.open_or_create(path)
    card.take_back(book, 3, "")
    book.close()
    assert [entry.on.text for entry in card.read(path).entries] == ["2026-01-02", "2026-01-20"]


@pytest.mark.slow
def test_a_slip_in_a_name_that_is_taken_back_leaves_no_animal(said: Run) -> None:
    said("F-Opal", "meal", "small", "--on", "2026-01-02")
    asked = "F-Opall is new, and F-Opal is there: it may be the same animal"
    for n in ("1", "3"):
        assert asked in said("F-Opall", "meal", "small", "--on", "2026-01-02").stderr
        said("F-Opall", "undo", n)
        assert "F-Opall" not in said().stdout
    assert "did you mean 'F-Opal'" in said("F-Opall").stderr


REFUSED = [
    (("mael", "small"), "did you mean 'meal'"),
    (("meal", "cricket"), "takes small, middling, large, refused, not 'cricket'; put other words into --note\n"),
    (("sex", "femal"), "did you mean 'female'"),
    (("weight",), "wants a number in g"),
    (("weight", "0"), "can't be 0"),
    (("weight", "-3"), "can't be -3"),
    (("count", "nymphs", "2.5"), "whole"),
    (("sperm_web", "--on", "2026-01"), "said of a male alone"),
    (("moult", "--on", "2026-02-31"), "is not a date"),
    (("meal", "small", "--on", "2019-01-01"), "was born on 2020"),
    (("meal", "small", "--on", "2026-06-02"), "died on 2026-06-01"),
    (("died", "--on", "2026-04-30"), "has moult on 2026-05-01, after that"),
    (("dam", "F-1"), "its own dam"),
    (("water", "much"), "takes no words"),
    (("weight", "21cm"), "'21cm' is in cm; this takes g"),
    (("weight", "1,234"), "is '1,234' 1234 or 1.234?"),
    (("sire", "M-1:2 or M-2"), "give each possible parent a weight above 0, or none"),
    (("sac", "2026-05-20"), "'2026-05-20' looks like a date; write --on 2026-05-20"),
    (("got", "2026-05"), "write --on 2026-05"),
]


@pytest.mark.slow
@pytest.mark.parametrize(("words", "why"), REFUSED)
def test_what_cannot_be_is_refused_and_nothing_is_written(
    words: tuple[str, ...], why: str, said: Run, tmp_path: Path
) -> None:
    facts = ("sex", "2020", "female"), ("born", "2020"), ("moult", "2026-05-01"), ("died", "2026-06-01")
    write_card(tmp_path, "F-1", *facts)
    before = (tmp_path / "animals" / "F-1.jsonl").read_bytes()
    done = said("F-1", *words)
    assert done.returncode == 2
    assert why in done.stderr
    assert "Traceback" not in done.stderr
    assert (tmp_path / "animals" / "F-1.jsonl").read_bytes() == before


@pytest.mark.slow
def test_her_sac_is_opened_and_counted_after_her_death(said: Run) -> None:
    for words in (("sac", "2026-07-01"), ("died", "2026-08-01"), ("pulled", "2026-08-02"), ("opened", "2026-08-20")):
        said("F-1", words[0], "--on", words[1])
    assert said("F-1", "count", "nymphs", "210", "--on", "2026-09-01").returncode == 0
    assert said("F-1", "eaten", "--on", "2026-09-01").returncode == 2
    said("F-2", "sac", "--on", "2026-07-01")
    said("F-2", "pulled", "--on", "2026-08-02")
    assert said("F-2", "died", "--on", "2026-08-01").returncode == 0


@pytest.mark.slow
def test_a_further_moult_of_a_mature_male_is_asked_about(said: Run) -> None:
    said("M-1", "sex", "male", "--on", "2025")
    said("M-1", "moult", "last", "--on", "2025-10")
    done = said("M-1", "moult", "--on", "2026-03-01")
    assert done.returncode == 1
    assert "had the last moult on 2025-10; a mature male rarely moults again" in done.stderr


QUESTIONS = [
    ("sac", "2026-05-01", "a sac on 2026-05-01, and no pairing of F-1 before it is known"),
    ("opened", "2026-05-01", "no sac of F-1 is on the card before 2026-05-01"),
    ("meal", "2099-01-01", "still to come"),
]


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "on", "question"), QUESTIONS)
def test_what_is_odd_is_kept_and_asked_about(kind: str, on: str, question: str, said: Run) -> None:
    done = said("F-1", kind, "--on", on)
    assert done.returncode == 1
    assert question in done.stderr
    assert "if that is wrong: etholog card F-1 undo 1" in done.stderr


@pytest.mark.slow
def test_two_of_one_sex_are_paired_with_a_question(said: Run) -> None:
    for name in ("F-1", "F-2"):
        said(name, "sex", "female", "--on", "2020")
    done = said("F-1", "paired", "F-2", "--on", "2026-05-01")
    assert (done.returncode, "the cards of F-1 and F-2 both say female" in done.stderr) == (1, True)


@pytest.mark.parametrize("name", ["../F", "a/b", "", " F", "-F", ".F", "F\x1b[31m", "a" * 200, "con:1", "F?"])
def test_a_name_that_no_file_can_carry_is_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="can't name an animal"):
        card.file_name(name)


@pytest.mark.slow
def test_a_renamed_animal_answers_to_both_names(said: Run, etholog: Run, tmp_path: Path) -> None:
    said("F-1", "sex", "female", "--on", "2022")
    said("F-1", "renamed", "F-Umbra", "--on", "2026-01-01")
    said("F-1", "meal", "small", "--on", "2026-02-01")
    assert [file.name for file in (tmp_path / "animals").iterdir()] == ["F-1.jsonl"]
    for name in ("F-1", "F-Umbra"):
        assert said(name).stdout.startswith("F-Umbra, female")
        assert "before: F-1" in said(name).stdout
    said("F-2", "sex", "female", "--on", "2022")
    assert said("F-2", "renamed", "F-1", "--on", "2026-01-01").returncode == 2


TABLE = """animal,entry,on,words,number,unsure,note
F-1,sex,2022,female,,,
F-1,moult,2026-01-02,,,,"a note, with a comma
and a second line"
F-1,weight,2026-02,,38.5,yes,
M-1,moult,2025-10,last,,,
M-1,sex,2025-10,male,,,
"""


@pytest.mark.slow
def test_a_table_is_taken_in_once_and_only_on_request(said: Run, tmp_path: Path) -> None:
    (tmp_path / "old.csv").write_text("\ufeff" + TABLE, encoding="utf-8")
    dry = said("--take", "old.csv")
    assert (dry.returncode, "5 entries would be written" in dry.stderr) == (0, True)
    assert not (tmp_path / "animals").exists()
    assert "5 entries written" in said("--take", "old.csv", "--write").stderr
    one = card.read(tmp_path / "animals" / "F-1.jsonl")
    assert one.entries[1].note == "a note, with a comma\nand a second line"
    again = said("--take", "old.csv", "--write")
    assert "0 entries written, 5 are on the cards already" in again.stderr


@pytest.mark.slow
@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("F-1,meal,2026-02-30,small,,,", "old.csv: line 7: '2026-02-30' is not a date"),
        ("F-1,meal,2026-02-03,huge,,,", "old.csv: line 7: meal takes small"),
        ("M-1,sac,2026-02-03,,,,", "old.csv: line 7: sac laid on 2026-02-03: the card of M-1 says male"),
        ("F-1,meal,03/02/2026,small,,,", "old.csv: line 7: is '03/02/2026' 2026-02-03 or 2026-03-02?"),
        ("F-1,weight,2026-02-03,,heavy,,", "old.csv: line 7: 'heavy' is not a number"),
        ("F-1,note,2026-02-03,she ate,,,then hid,deep", "old.csv: line 7: more fields than columns"),
        ("../x,moult,2026-02-03,,,,", "old.csv: line 7: '../x' can't name an animal"),
    ],
)
def test_a_table_with_one_bad_line_writes_nothing(row: str, told: str, said: Run, tmp_path: Path) -> None:
    plain = TABLE.replace('"a note, with a comma\nand a second line"', "")
    (tmp_path / "old.csv").write_text(plain + row + "\n", encoding="utf-8")
    done = said("--take", "old.csv", "--write")
    assert done.returncode == 2
    assert told in done.stderr
    assert not (tmp_path / "animals").exists()


def test_a_damaged_card_keeps_what_can_be_read(tmp_path: Path) -> None:
    path = tmp_path / "F-1.jsonl"
    book = card.open_or_create(path)
    for day in range(1, 9):
        card.append(book, Entry(0, "meal", Day.parse(f"2026-05-0{day}"), words="small"), "now")
    book.close()
    whole = path.read_bytes()
    chance = random.Random(7)
    for _ in range(300):
        data = bytearray(whole)
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        path.write_bytes(data)
        try:
            one = card.read(path)
        except Refusal:
            continue  # the first line was hit
        assert len(one.entries) >= 6  # where a newline was hit, two lines are one
        assert len(one.entries) == 8 or one.findings


def test_a_line_that_is_no_entry_is_told_of(tmp_path: Path) -> None:
    path = tmp_path / "F-1.jsonl"
    book = card.open_or_create(path)
    book.append(Draft({"do": "meal", "on": "2026-05-01", "sure": True, "words": "huge"}))
    book.append(Draft({"do": "dance", "on": "2026-05-01", "sure": True}))
    book.append(Draft({"do": "meal", "on": "yesterday", "sure": True}))
    book.append(Draft({"do": "meal", "when": "2026-05-01"}))
    book.append(Draft({"do": "meal", "on": "2026-05-02", "sure": True, "words": "small"}))
    book.close()
    one = card.read(path)
    assert [entry.on.text for entry in one.entries] == ["2026-05-02"]
    assert len(one.findings) == 4


def test_every_kind_of_entry_can_be_told_and_read(tmp_path: Path) -> None:
    path = tmp_path / "A-1.jsonl"
    book = card.open_or_create(path)
    for kind, what in KINDS.items():
        words = what.choices[0] if what.choices else "a word" if "words" in what.takes else ""
        number = 3.0 if "number" in what.takes else None
        entry = Entry(0, kind, Day.parse("2026-05"), True, words, number)
        card.check(entry)
        card.append(book, entry, "now")
    book.close()
    one = card.read(path)
    assert [entry.kind for entry in one.entries] == list(KINDS)
    assert not one.findings
