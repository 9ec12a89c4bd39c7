"""The calendar against RFC 5545 itself, and read back by a parser that did not write it."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from subprocess import CompletedProcess

import pytest
import vobject

from etholog import animals
from etholog.animals.care import Task, due
from etholog.base.refusal import Refusal
from etholog.ethogram import at_hand
from etholog.export.calendar import calendar, write
from tests.make import RECORDS, write_card, write_session

NOW = datetime(2026, 11, 20, 19, 0, tzinfo=UTC)
LOOK = Task(
    "F-1/sac/1", "F-1", "look; for a sac, \\ ünder the 🕷 web\nnow", date(2026, 6, 1), date(2026, 9, 1), "why", "s", 7
)
PULL = Task("F-1/pull/1", "F-1", "pull " + "very long " * 30, date(2026, 6, 1), date(2026, 6, 14), "why", "source")


def components(data: bytes) -> list[vobject.base.Component]:
    (book,) = vobject.readComponents(data.decode())
    return list(book.vevent_list)


def test_lines_end_and_fold_as_the_rfc_says() -> None:
    data = calendar([LOOK, PULL], NOW)
    lines = data.split(b"\r\n")
    assert lines.pop() == b""
    assert not any(b"\n" in line or b"\r" in line for line in lines)  # 3.1: CRLF and nothing else
    assert max(map(len, lines)) <= 75  # 3.1: at most 75 octets
    for line in lines:
        line.decode()  # no character is cut in two
    unfolded = data.decode().replace("\r\n ", "")
    assert "SUMMARY:F-1: look\\; for a sac\\, \\\\" in unfolded  # 3.3.11
    for needed in ("VERSION:2.0", "PRODID:", "DTSTAMP:20261120T190000Z", "DTSTART;VALUE=DATE:20260601"):
        assert needed in unfolded


def test_another_parser_reads_the_same_dates() -> None:
    look, pull = components(calendar([LOOK, PULL], NOW))
    assert look.dtstart.value == date(2026, 6, 1)
    assert list(look.getrruleset())[-1].date() == date(2026, 8, 31)
    assert [day.date() for day in look.getrruleset()][1] == date(2026, 6, 8)
    assert (pull.dtend.value - pull.dtstart.value) == timedelta(days=14)  # the end is exclusive
    assert not hasattr(pull, "valarm")  # overdue since June: it would ring at once
    soon = Task(**{**vars(PULL), "first": date(2026, 11, 20), "last": date(2026, 11, 30)})
    (rings,) = components(calendar([soon], NOW))
    assert rings.valarm.action.value == "DISPLAY"


def test_taken_in_twice_an_event_is_the_same_one() -> None:
    first = components(calendar([LOOK, PULL], NOW))
    later = Task(**{**vars(LOOK), "first": date(2026, 6, 20)})
    second = components(calendar([later, PULL], NOW + timedelta(days=1)))
    assert [event.uid.value for event in first] == [event.uid.value for event in second]
    assert len({event.uid.value for event in first}) == 2
    assert int(second[0].sequence.value) > int(first[0].sequence.value)


def test_what_is_no_longer_due_is_cancelled(tmp_path: Path) -> None:
    first = calendar([LOOK, PULL], NOW)
    second = calendar([LOOK], NOW, first)
    look, pull = components(second)
    assert look.uid.value == components(first)[0].uid.value
    assert not hasattr(look, "status")
    assert pull.uid.value == components(first)[1].uid.value
    assert pull.status.value == "CANCELLED"
    assert int(pull.sequence.value) > int(components(first)[1].sequence.value)  # on the same day too
    assert not hasattr(pull, "valarm")
    from icalendar import Calendar  # the second parser

    told = {str(event["uid"]): str(event.get("status", "")) for event in Calendar.from_ical(second).walk("VEVENT")}
    assert sorted(told.values()) == ["", "CANCELLED"]
    again = components(calendar([LOOK], NOW, second))[1]  # it stays cancelled, as often as it is written
    assert (again.status.value, again.sequence.value) == ("CANCELLED", pull.sequence.value)
    other = Task(**{**vars(PULL), "key": "F-2/pull/1", "animal": "F-2"})
    assert not hasattr(components(calendar([other], NOW, first, of=["F-2"]))[-1], "status")  # asked of F-2 alone
    later = Task(**{**vars(PULL), "last": date(2026, 12, 14)})
    revived = components(calendar([LOOK, later], NOW + timedelta(days=2), second))[1]
    assert (hasattr(revived, "status"), int(revived.sequence.value) > int(pull.sequence.value)) == (False, True)
    (tmp_path / "x.ics").write_bytes(b"no calendar")
    write(tmp_path / "x.ics", [LOOK])
    assert len(components((tmp_path / "x.ics").read_bytes())) == 1


@pytest.mark.parametrize(
    "told", ["SEQUENCE:x", "SEQUENCE:1\r\nSEQUENCE:2", f"SEQUENCE:{2**31 - 1}", f"SEQUENCE:{10**20}"]
)
def test_an_earlier_export_that_somebody_has_changed_ends_nothing(told: str) -> None:
    before = re.sub(rb"SEQUENCE:\d+", told.encode(), calendar([PULL], NOW))
    (event,) = components(calendar([], NOW, before))
    assert event.status.value == "CANCELLED"
    assert int(event.sequence.value) == (NOW.date() - date(2026, 1, 1)).days


def test_an_event_that_says_the_same_keeps_its_number_and_another_has_a_higher_one() -> None:
    first = calendar([LOOK, PULL], NOW)
    later = Task(**{**vars(LOOK), "last": date(2026, 9, 8)})
    look, pull = components(calendar([later, PULL], NOW, first))  # on the same day
    before = components(first)
    assert int(look.sequence.value) > int(before[0].sequence.value)
    assert pull.sequence.value == before[1].sequence.value
    again = components(calendar([later, PULL], NOW + timedelta(days=9), calendar([later, PULL], NOW, first)))
    assert [event.sequence.value for event in again] == [look.sequence.value, pull.sequence.value]


def test_what_has_no_day_of_its_own_is_no_event() -> None:
    gap = Task("F-1/window", "F-1", "no window known", NOW.date(), NOW.date(), "why", "source")
    assert [event.uid.value for event in components(calendar([gap, LOOK], NOW))] == [
        components(calendar([LOOK], NOW))[0].uid.value
    ]


def _chosen(folder: Path, when: str) -> tuple[date, str, int]:
    """The event of the day that was chosen at a session's end: day, UID, number."""
    (folder / "sessions").mkdir(exist_ok=True)
    (folder / "sessions" / "a.jsonl").unlink(missing_ok=True)
    answers = {"again": "yes", "again_when": when}
    write_session(folder / "sessions" / "a.jsonl", [*RECORDS, {"do": "close", "t": 20_000, "outcome": answers}])
    known = animals.read(folder)
    write(folder / "a.ics", due(known, at_hand(folder), date(2026, 5, 4)))
    events = components((folder / "a.ics").read_bytes())
    (one,) = [event for event in events if "pair her again with M-1" in event.summary.value]
    return one.dtstart.value, one.uid.value, int(one.sequence.value)


def test_a_day_chosen_at_the_end_of_a_session_is_an_event_that_keeps_its_uid(tmp_path: Path) -> None:
    first = _chosen(tmp_path, "2026-05-20")
    assert first[0] == date(2026, 5, 20)
    assert _chosen(tmp_path, "2026-05-20") == first
    moved = _chosen(tmp_path, "2026-05-27")
    assert moved[:2] == (date(2026, 5, 27), first[1])
    assert moved[2] > first[2]


@pytest.mark.slow
def test_nothing_rings_for_a_morning_that_is_past(repository: Path, tmp_path: Path) -> None:
    """Over the example season's year; each event's days are worked out by another parser."""
    known, kept = animals.read(repository / "examples" / "season"), at_hand(repository)
    rings = 0
    for month in range(1, 13):
        today = datetime(2026, month, 20, 12, tzinfo=UTC)
        tasks = due(known.as_of(today.date()), kept, today.date())
        if not tasks:
            continue
        for event in components(calendar(tasks, today)):
            if hasattr(event, "valarm"):
                days = list(event.getrruleset()) if hasattr(event, "rrule") else [event.dtstart.value]
                last = days[-1].date() if isinstance(days[-1], datetime) else days[-1]
                until = last + (days[1] - days[0] if len(days) > 1 else timedelta(days=1))
                assert until > today.date(), event
                rings += 1
    assert rings > 20


@pytest.mark.slow
def test_a_calendar_program_that_takes_it_in_twice_holds_each_event_once(repository: Path, tmp_path: Path) -> None:
    """khal, a calendar that reads iCalendar by itself, is the real receiver."""
    pytest.importorskip("khal", reason="NO KHAL HERE: taking a calendar in twice is not tried")
    settings = (
        f"[calendars]\n[[own]]\npath = {tmp_path / 'own'}\n[locale]\ndateformat = %Y-%m-%d\nlongdateformat = %Y-%m-%d\n"
    )
    (tmp_path / "khal.conf").write_text(settings + f"[sqlite]\npath = {tmp_path / 'khal.db'}\n", encoding="utf-8")
    (tmp_path / "own").mkdir()

    def khal(*words: object) -> str:
        asked = [sys.executable, "-m", "khal", "-c", str(tmp_path / "khal.conf"), *map(str, words)]
        done = subprocess.run(asked, capture_output=True, text=True, check=False, env={**os.environ, "TZ": "UTC"})
        assert done.returncode == 0, done.stderr
        return done.stdout

    known, kept = animals.read(repository / "examples" / "season"), at_hand(repository)
    files = []
    before = b""
    for day in (20, 27):
        now = datetime(2026, 11, day, 12, tzinfo=UTC)
        before = calendar(due(known, kept, now.date()), now, before)
        files.append(tmp_path / f"{day}.ics")
        files[-1].write_bytes(before)
    for file in (files[0], files[0], files[1], files[1]):
        khal("import", "--batch", "-a", "own", file)
    told = {event.uid.value: event for event in components(before)}
    held = [components(path.read_bytes())[0] for path in (tmp_path / "own").glob("*.ics")]
    assert {one.uid.value: one.sequence.value for one in held} == {uid: one.sequence.value for uid, one in told.items()}
    assert len(held) == len(told) > 10
    for event in told.values():
        if not hasattr(event, "rrule") and not hasattr(event, "status"):
            day = event.dtstart.value
            assert khal("list", "--notstarted", "-f", "{uid}", day, "1d").split().count(event.uid.value) == 1
            break
    else:
        raise AssertionError("no single event")


@pytest.mark.slow
def test_the_example_season_as_a_calendar(
    repository: Path, tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    words = ("due", "--today", "2026-11-20", "--folder", repository / "examples" / "season")
    assert etholog(*words, "--ics", "a b.ics", cwd=tmp_path).returncode == 0
    assert [file.name for file in tmp_path.iterdir()] == ["a b.ics"]
    events = components((tmp_path / "a b.ics").read_bytes())
    assert len(events) == len(re.findall('"key"', etholog(*words, "--json").stdout))


def test_a_folder_that_takes_no_file_is_told_of(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="can't be written"):
        write(tmp_path / "missing" / "a.ics", [LOOK])


@pytest.mark.slow
def test_one_calendar_takes_in_two_keepers_animals_of_one_name(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    keepers = [tmp_path / name for name in ("anna", "bert")]
    for folder, species in zip(keepers, ("Tliltocatl vagans", "Grammostola pulchra"), strict=True):
        write_card(folder, "F-1", ("species", "2026", species), ("sex", "2026", "female"), ("water", "2026-11-20"))
    copied = Path(shutil.copytree(keepers[0], tmp_path / "copy"))
    assert (
        etholog("gather", *(f"{folder.name}={folder}" for folder in keepers), "--to", "group", cwd=tmp_path).returncode
        == 0
    )

    def own_ids(folder: Path) -> set[str]:
        assert etholog("due", "--today", "2026-11-22", "--ics", "due.ics", cwd=folder).returncode == 0
        return {event.uid.value for event in components((folder / "due.ics").read_bytes())}

    hers, his = map(own_ids, keepers)
    assert len(hers) == len(his) == 1
    assert not hers & his
    assert own_ids(copied) == hers
    assert own_ids(tmp_path / "group") == hers | his
