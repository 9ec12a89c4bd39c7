"""What keepers type is taken as they mean it: units, two words for one kind, words after an option, a folder of 0.1."""

import shutil
from contextlib import closing
from pathlib import Path

import pytest

from etholog import animals
from etholog.base.journal import Draft, Journal
from etholog.base.workspace import workspace
from etholog.commands import main
from tests.make import RECORDS, write_card, write_session


def said(folder: Path, *words: str) -> int:
    return main(["card", *words, "--folder", str(folder)])


def test_units_and_two_words_for_one_kind(tmp_path: Path) -> None:
    assert said(tmp_path, "M-1", "size", "7.5cm", "--on", "2026-05-03") == 0
    assert said(tmp_path, "M-1", "size", "7,5", "cm", "--on", "2026-05-04") == 0
    assert said(tmp_path, "M-1", "weight", "12.5g", "--on", "2026-05-03") == 0
    assert said(tmp_path, "M-1", "weight", "12,5", "--on", "2026-05-04") == 0
    assert said(tmp_path, "M-1", "sperm", "web", "--on", "2026-05-03") == 0
    card = animals.read(tmp_path).cards["M-1"]
    assert [entry.number for entry in card.all("size")] == [75.0, 75.0]
    assert [entry.number for entry in card.all("weight")] == [12.5, 12.5]
    assert len(card.all("sperm_web")) == 1
    assert said(tmp_path, "M-1", "weight", "7.5cm") == 2


def test_words_after_an_option_are_taken(tmp_path: Path) -> None:
    assert said(tmp_path, "F-1", "meal", "--on", "2026-11-26", "small") == 0
    assert main(["card", "--folder", str(tmp_path), "--on", "2026-11-27", "F-1", "meal", "--unsure", "large"]) == 0
    assert [meal.words for meal in animals.read(tmp_path).cards["F-1"].all("meal")] == ["small", "large"]
    with pytest.raises(SystemExit) as ended:
        said(tmp_path, "F-1", "meal", "--onn", "2026-11-26")
    assert ended.value.code == 2


def test_an_adult_of_a_few_millimetres_is_asked_about(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_card(tmp_path, "M-1", ("species", "2025", "Brachypelma smithi"), ("moult", "2026-01-01", "last"))
    write_card(tmp_path, "S-1", ("species", "2025", "Brachypelma smithi"))
    assert said(tmp_path, "S-1", "size", "7.5") == 0  # a spiderling may be as small
    assert said(tmp_path, "M-1", "size", "7.5") == 1
    assert "it may be in cm; if so, write: size 7.5cm" in capsys.readouterr().err


def test_a_folder_of_0_1_without_sessions_in_it_is_taken_with_a_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    loose = tmp_path / "evenings"
    loose.mkdir()
    write_session(loose / "a.jsonl", RECORDS)
    assert workspace(loose).sessions == loose
    assert workspace(tmp_path).sessions == tmp_path / "sessions"
    assert main(["ready", "M-1", "F-1", "--folder", str(loose)]) == 0
    told = capsys.readouterr()
    assert "these two have met 1 time" in told.out
    assert "taken as a folder of sessions, as in version 0.1" in told.err
    assert main(["latency", "--to", "clasp", "--folder", str(loose)]) == 0


def test_check_says_what_the_copy_of_a_session_holds_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sessions = tmp_path / "sessions"
    sessions.mkdir()
    write_session(sessions / "a.jsonl", RECORDS, id="a")
    shutil.copy(sessions / "a.jsonl", sessions / "a (copy).jsonl")
    shutil.copy(sessions / "a.jsonl", sessions / "a (same).jsonl")
    assert main(["amend", str(sessions / "a (copy).jsonl"), "--answer", "again=yes"]) == 0
    for answer in ("female_after=calm", "again=never"):
        assert main(["amend", str(sessions / "a.jsonl"), "--answer", answer]) == 0
    capsys.readouterr()
    assert main(["check", str(tmp_path)]) == 1
    told = capsys.readouterr().out.splitlines()
    assert [line for line in told if "lacks" in line] == [
        f"{sessions / 'a (copy).jsonl'}: holds 1 record that a.jsonl lacks: it was changed on two machines; "
        f"etholog show prints each; etholog amend {sessions / 'a.jsonl'} adds what is missing; then take this one away"
    ]
    assert sum("is session a again" in line for line in told) == 2


def test_resume_and_check_take_the_workspace_as_every_command_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", RECORDS[:-1])
    assert main(["check", "--folder", str(tmp_path)]) == 1
    assert "was broken off, not ended" in capsys.readouterr().out
    assert main(["resume", "--folder", str(tmp_path / "empty"), "--plain"]) == 2
    assert "no session was broken off" in capsys.readouterr().err
    assert main(["resume", "a.jsonl", "--folder", str(tmp_path)]) == 2


def test_two_dashes_are_no_value(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """argparse of Python 3.11 makes an empty list of them, which no command expects."""
    assert main(["plan", "--form=--", "--folder", str(tmp_path)]) == 2
    assert capsys.readouterr().err == "etholog: --form=--: -- is no value; write one after the =\n"


@pytest.mark.parametrize("day", ["9999-12-31", "3000-01-01", "1899-12-31", "0001-01-01"])
def test_a_day_in_no_keepers_time_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str], day: str) -> None:
    write_card(tmp_path, "F-1", ("sex", "2025", "female"), ("species", "2025", "Brachypelma smithi"))
    for words in (["plan"], ["due"], ["ready", "F-1"], ["outcome"]):
        assert main([*words, "--today", day, "--folder", str(tmp_path)]) == 2
        assert "the year must be 1900 to 2999" in capsys.readouterr().err
    assert said(tmp_path, "F-1", "moult", "--on", day) == 2


def test_days_that_a_card_has_from_elsewhere_are_left_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_card(tmp_path, "F-1", ("sex", "2025", "female"), ("species", "2025", "Brachypelma smithi"))
    write_card(tmp_path, "M-1", ("sex", "2025", "male"), ("species", "2025", "Brachypelma smithi"))
    with closing(Journal.open(tmp_path / "animals" / "F-1.jsonl")[0]) as book:
        book.append(Draft({"do": "moult", "on": "9999-12-31", "sure": True, "told": "2026-01-01T00:00:00+00:00"}))
    assert main(["plan", "--today", "2026-05-03", "--folder", str(tmp_path)]) in (0, 1)
    assert "F-1.jsonl: record 3: '9999-12-31' is not a date" in capsys.readouterr().err


def test_a_link_in_a_circle_is_no_source(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "from").symlink_to("from")
    assert main(["gather", f"anna={tmp_path / 'from'}", "--to", str(tmp_path / "to")]) == 2
    assert "from: " in capsys.readouterr().err
    (tmp_path / "anna").mkdir()
    assert main(["gather", f"anna={tmp_path / 'anna'}", "--to", str(tmp_path / "from")]) == 2
    assert "from: " in capsys.readouterr().err
