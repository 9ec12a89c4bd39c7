"""One animal under two names: what is asked before it is founded, and how it is put right without a file rewritten."""

import difflib
import re
import shlex
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etholog import animals, season
from etholog.animals import entering, naming
from etholog.animals.card import Entry
from etholog.base.dates import Day
from etholog.base.refusal import Refusal
from etholog.commands import main
from tests.make import marks, write_card, write_session

COURTED = [*marks((1000, "walking", "onset"), (4000, "drumming", "onset")), {"do": "close", "t": 9000, "outcome": {}}]


def workspace(folder: Path) -> Path:
    (folder / "sessions").mkdir()
    write_session(folder / "sessions" / "a.jsonl", COURTED, male="M-Anton", female="F-Umbra")
    write_session(folder / "sessions" / "b.jsonl", COURTED, male="M-Antn", female="F-Umbra")
    write_card(folder, "M-Anton", ("sex", "2025", "male"), ("meal", "2026-04-01", "small"))
    return folder


def test_a_renaming_reaches_sessions_and_cards_and_can_be_taken_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    where = ("--folder", str(workspace(tmp_path)))
    before = {path: path.read_bytes() for path in tmp_path.rglob("*.jsonl")}
    assert [found.what for found in naming.twins(animals.read(tmp_path))] == ["M-Antn and M-Anton may be one animal"]
    assert main(["card", "M-Antn", "meal", "large", *where, "--on", "2026-04-20"]) == 0  # a session knows that name
    assert main(["card", "M-Antom", "meal", *where, "--on", "2026-04-20"]) == 1
    assert "M-Antom is new, and M-Anton is there" in capsys.readouterr().err
    (tmp_path / "animals" / "M-Antom.jsonl").unlink()
    assert main(["card", "M-Antn", "renamed", "M-Anton", *where]) == 1  # asked about, and written
    assert "from now on M-Antn and M-Anton are one animal" in capsys.readouterr().err
    known = animals.read(tmp_path)
    assert known.known() == ["F-Umbra", "M-Anton"]
    assert [met.file.name for met in known.pairings_of("M-Antn") if met.file] == ["a.jsonl", "b.jsonl"]
    assert [meal.on.text for meal in known.cards["M-Anton"].all("meal")] == ["2026-04-01", "2026-04-20"]
    assert set(season.read(tmp_path).sessions["male"]) == {"M-Anton"}
    assert list(naming.twins(known)) == []
    assert main(["show", str(tmp_path / "sessions" / "b.jsonl")]) == 0
    assert "M-Antn is called M-Anton now" in capsys.readouterr().out
    assert all(path.read_bytes() == content for path, content in before.items())  # both values are kept
    assert main(["card", "M-Anton", "undo", "M-Antn:2", *where]) == 0
    assert set(season.read(tmp_path).sessions["male"]) == {"M-Anton", "M-Antn"}


def test_who_is_not_there_is_renamed_only_with_a_question(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    where = ("--folder", str(tmp_path))
    assert main(["card", "M-Antn", "renamed", "M-Anton", *where]) == 1
    assert "M-Antn is new: no card and no session has that name" in capsys.readouterr().err
    assert main(["card", "M-Anton", "meal", "large", *where]) == 0
    assert main(["card", "M-Anton", "renamed", "M-Antonio", *where]) == 0


def test_two_that_met_or_are_of_two_sexes_are_never_one(tmp_path: Path) -> None:
    where = ("--folder", str(workspace(tmp_path)))
    for words in (("M-Anton", "renamed", "F-Umbra"), ("F-Umbra", "renamed", "M-Antn")):
        assert main(["card", *words, *where]) == 2


def test_names_are_asked_about_before_the_clock(tmp_path: Path) -> None:
    known = animals.read(workspace(tmp_path))
    assert naming.asked("M-Anton", "F-Umbra", known) == []
    told = [str(found) for found in naming.asked("m-anton", "M-Anton", known)]
    assert "did you mean M-Anton or M-Antn?" in told[0]
    assert "stands here as the female" in told[1]
    (tmp_path / "empty").mkdir()
    assert naming.asked("M-1", "F-1", animals.read(tmp_path / "empty")) == []


def test_a_circle_of_renamings_is_told_of(tmp_path: Path) -> None:
    write_card(tmp_path, "A", ("renamed", "2026", "B"))
    write_card(tmp_path, "B", ("renamed", "2026", "A"))
    assert any("circle" in found.what for found in animals.read(tmp_path).findings)


def test_a_name_in_two_sexes_is_told_of(tmp_path: Path) -> None:
    workspace(tmp_path)
    write_session(tmp_path / "sessions" / "c.jsonl", COURTED, male="F-Umbra", female="F-Clay")
    found = [str(one) for one in naming.twins(animals.read(tmp_path))]
    assert any("F-Umbra is the male here, and the female in a.jsonl" in one for one in found)
    both = naming.asked("F-New", "F-New", animals.read(tmp_path / "empty"))
    assert [found.what for found in both] == ["F-New stands here as the male and as the female"]


def test_a_card_in_two_sexes_is_told_of_until_the_wrong_one_is_taken_back(tmp_path: Path) -> None:
    write_card(tmp_path, "F-1", ("sex", "2026-01-04", "unknown"), ("sex", "2026-02", "male"))
    assert list(naming.twins(animals.read(tmp_path))) == []
    assert main(["card", "F-1", "sex", "female", "--on", "2026-03", "--folder", str(tmp_path)]) == 1
    (found,) = naming.twins(animals.read(tmp_path))
    assert found.what == "the card of F-1 says male on 2026-02 and female on 2026-03"
    assert found.remedy == "take back the one that is wrong: etholog card F-1 undo 2, or undo 3"
    assert main(["card", "F-1", "undo", "2", "--folder", str(tmp_path)]) == 0
    assert list(naming.twins(animals.read(tmp_path))) == []


def test_a_session_without_names_is_asked_nothing_and_a_name_renamed_since_is_meant_by_the_new_one(
    tmp_path: Path,
) -> None:
    workspace(tmp_path)
    write_session(tmp_path / "sessions" / "c.jsonl", COURTED, male="", female="")
    write_card(tmp_path, "M-Old", ("renamed", "2026", "M-Anton"))
    known = animals.read(tmp_path)
    assert list(naming.twins(known, ("", ""))) == []
    assert [found.what for found in naming.twins(known, ("M-Old", ""))] == ["M-Antn and M-Anton may be one animal"]


def test_no_name_that_no_file_can_carry(tmp_path: Path) -> None:
    known = animals.read(workspace(tmp_path))
    with pytest.raises(Refusal, match="can't name an animal"):
        naming.renaming(known, known.cards["M-Anton"], Entry(0, "renamed", Day.parse("2026"), words="a/b"))


def test_undo_writes_into_the_file_in_which_the_entry_stands_whatever_its_name(tmp_path: Path) -> None:
    write_card(tmp_path, "M-Antn", ("meal", "2026-04-20", "large"), ("renamed", "2026-05-01", "M-Anton"))
    write_card(tmp_path, "M-Anton", ("sex", "2025", "male"))
    kept = (tmp_path / "animals" / "M-Antn.jsonl").rename(tmp_path / "animals" / "from a stick.jsonl")
    where = ("--folder", str(tmp_path))
    assert main(["card", "M-Anton", "undo", "M-Antn:1", *where]) == 0
    assert sorted(path.name for path in kept.parent.iterdir()) == ["M-Anton.jsonl", "from a stick.jsonl"]
    assert animals.read(tmp_path).cards["M-Anton"].all("meal") == []


def alike(one: str, other: str) -> bool:
    """The same rule once more, every pair letter by letter with the standard library's matcher."""
    one, other = sorted((one.casefold(), other.casefold()))
    if re.sub(r"[\s_-]", "", one) == re.sub(r"[\s_-]", "", other):
        return True
    if one[:1] != other[:1] or re.findall(r"\d+", one) != re.findall(r"\d+", other):
        return False
    return difflib.SequenceMatcher(None, one, other).ratio() >= 0.85


@given(st.lists(st.text("aAbBnNoO1-_ ß", min_size=1, max_size=14), unique=True, max_size=12))
def test_of_many_names_those_alike_are_found_that_comparing_every_pair_finds(names: list[str]) -> None:
    near = naming.Alike(names)
    found = {(one, other) for one, other in combinations(names, 2) if other in near.to(one)}
    assert found == {(one, other) for one, other in combinations(names, 2) if alike(one, other)}


def test_the_command_that_takes_back_can_be_typed_whatever_the_name(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Gathered animals of one name are called `F-1 (bea)`, which a shell takes apart."""
    write_card(tmp_path, "F-1", ("sex", "2020", "female"))
    write_card(tmp_path, "F-1 (bea)", ("sex", "2020", "female"))
    assert main(["card", "F-1 (bea)", "renamed", "F-1", "--folder", str(tmp_path)]) == 1
    told = capsys.readouterr().err.partition("if that is wrong: ")[2].strip()
    assert main([*shlex.split(told)[1:], "--folder", str(tmp_path)]) == 0
    assert animals.read(tmp_path).known() == ["F-1", "F-1 (bea)"]


def test_a_pairing_with_one_who_had_died_is_asked_about_as_it_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_card(tmp_path, "M-1", ("sex", "2020", "male"), ("died", "2026-01-10", "killed by F-1"))
    write_card(tmp_path, "F-1", ("sex", "2020", "female"))
    for day, asked in (("2026-01-10", False), ("2026-01-20", True)):
        assert main(["card", "F-1", "paired", "M-1", "--on", day, "--folder", str(tmp_path)]) == asked
        assert ("M-1 died on 2026-01-10" in capsys.readouterr().err) == asked


@pytest.mark.parametrize("beside", ["F-1 (1).jsonl", "copy of F-1.jsonl"])
def test_of_two_files_of_a_card_the_fuller_counts(tmp_path: Path, beside: str) -> None:
    # A program that keeps two machines alike has taken a copy when less was written, and a renaming stood.
    write_card(tmp_path, "F-1", ("sex", "2025", "female"), ("renamed", "2026-04-01", "F-2"))
    whole = tmp_path / "animals" / "F-1.jsonl"
    early = whole.read_bytes()
    entering.undo(animals.read(tmp_path), "F-2", "2")
    write_card(tmp_path, "F-1", ("moult", "2026-05-01"))
    whole.with_name(beside).write_bytes(early)
    known = animals.read(tmp_path)
    assert [entry.kind for entry in known.cards["F-1"].entries] == ["sex", "moult"]
    assert known.cards["F-1"].path == whole
    assert [str(found) for found in known.findings] == [
        f"{whole.with_name(beside)}: F-1 is on F-1.jsonl as well; one animal, one card: left out"
    ]
    assert naming.names(tmp_path).now == {}
