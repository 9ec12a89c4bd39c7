"""Answers about a session's end, given or changed later, are used: by what is due, by the calendar, by `ready`."""

from datetime import date
from pathlib import Path

import icalendar
import pytest

from etholog import animals, ethogram
from etholog.animals import care, life, readiness
from etholog.commands import main
from tests.make import marks, write_session

TODAY = date(2026, 5, 10)


def recorded(folder: Path, *marked: tuple[int, str, str | None]) -> Path:
    (folder / "sessions").mkdir()
    file = folder / "sessions" / "a.jsonl"
    end = {"do": "close", "t": 60_000, "outcome": {"ended": "he got out"}}
    write_session(file, [*marks(*marked or ((1000, "walking", "onset"),)), end])
    return file


def due(folder: Path) -> list[str]:
    known = animals.read(folder)
    return [f"{task.first} {task.what}" for task in care.due(known, ethogram.at_hand(folder), TODAY)]


def facts(folder: Path) -> list[str]:
    found = readiness.facts("M-1", "F-1", animals.read(folder), ethogram.at_hand(folder), TODAY)
    return [f"{fact.side}: {fact.text}" for fact in found]


def test_a_chosen_day_is_due_and_in_the_calendar(tmp_path: Path) -> None:
    file = recorded(tmp_path)
    assert any("introduce again?" in task for task in due(tmp_path))
    assert main(["amend", str(file), "--answer", "again=yes", "--answer", "again_when=2999-12-05"]) == 0
    assert "2999-12-05 pair her again with M-1, as you chose" in due(tmp_path)
    assert not any("introduce again?" in task for task in due(tmp_path))
    calendar = tmp_path / "due.ics"
    assert main(["due", "--ics", str(calendar), "--folder", str(tmp_path), "--today", TODAY.isoformat()]) == 0
    events = icalendar.Calendar.from_ical(calendar.read_bytes()).walk("VEVENT")
    chosen = [event["dtstart"].dt for event in events if "pair her again" in str(event["summary"])]
    assert chosen == [date(2999, 12, 5)]
    assert main(["amend", str(file), "--answer", "again=", "--answer", "again_when="]) == 0
    assert any("introduce again?" in task for task in due(tmp_path))


def test_never_again_takes_the_suggestion_away_and_stands_before_the_next(tmp_path: Path) -> None:
    file = recorded(tmp_path)
    assert main(["amend", str(file), "--answer", "again=never", "--answer", "male_whole=n"]) == 0
    assert main(["amend", str(file), "--answer", "female_after=hidden"]) == 0
    assert not any("again" in task for task in due(tmp_path))
    told = facts(tmp_path)
    assert "against: never again, you answered after 2026-05-03" in told
    assert "against: M-1: not whole since 2026-05-03 with F-1, as you answered" in told
    assert "note: F-1: hidden after 2026-05-03 with M-1" in told
    card = list(life.lines(animals.read(tmp_path), "M-1"))
    assert "  not whole: since 2026-05-03 with F-1, as answered" in card


def test_what_is_not_understood_is_refused_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = recorded(tmp_path)
    before = file.read_bytes()
    for words in ("ended=n", "ended", "agian=yes", "again_when=2020-01-01", "male_whole=perhaps"):
        assert main(["amend", str(file), "--answer", words]) == 2, words
    assert "is past. Is it meant so? If so, add --sure." in capsys.readouterr().err
    assert file.read_bytes() == before
    assert main(["amend", str(file), "--answer", "again_when=2020-01-01", "--sure"]) == 0
