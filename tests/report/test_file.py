"""The report's file: one, whole, always the same bytes, never over what is not its own, and small."""

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import season, session
from etholog.analysis.sentences import transition as transition_sentences
from etholog.analysis.transition import transition
from etholog.report import page, svg
from tests.make import ETHOGRAM, marks, write_session
from tests.report.conftest import SEASON, SESSION, report

pytestmark = pytest.mark.slow

Run = Callable[..., CompletedProcess[str]]


def test_the_same_sessions_give_the_same_bytes(session_page: Path, tmp_path: Path) -> None:
    report(SESSION, "--out", tmp_path / "again.html")
    assert (tmp_path / "again.html").read_bytes() == session_page.read_bytes()


def test_no_style_no_handler_and_no_address_in_it(season_page: Path) -> None:
    class Reader(HTMLParser):
        def __init__(self) -> None:
            super().__init__()
            self.findings: list[str] = []

        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            for name, value in attrs:
                if name == "style" or name.startswith("on") or (value or "").startswith(("http", "//", "javascript")):
                    self.findings.append(f"<{tag} {name}={value}>")
                if name in ("src", "href") and not (value or "").startswith(("#", "data:image/png")):
                    self.findings.append(f"<{tag} {name}={value}>")

    reader = Reader()
    reader.feed(season_page.read_text(encoding="utf-8"))
    assert reader.findings == []


def test_fifty_sessions_stay_under_two_megabytes(season_page: Path) -> None:
    size, count = season_page.stat().st_size, season_page.read_text(encoding="utf-8").count('<details class="session')
    assert count == 28
    assert size * 50 / count < 2_000_000  # nothing in the page grows faster than the number of sessions


def test_only_a_report_is_written_over(etholog: Run, session_page: Path, tmp_path: Path) -> None:
    (tmp_path / "notes.html").write_text("my notes")
    done = etholog("report", SESSION, "--out", tmp_path / "notes.html")
    assert done.returncode == 2
    assert "is not a page of etholog" in done.stderr
    assert (tmp_path / "notes.html").read_text() == "my notes"
    assert [file.name for file in tmp_path.iterdir()] == ["notes.html"]
    (tmp_path / "old.html").write_bytes(session_page.read_bytes())
    again = etholog("report", SESSION, "--out", tmp_path / "old.html")
    assert again.returncode == 0
    assert again.stdout.strip() == str(tmp_path / "old.html")


@pytest.mark.parametrize(
    "words", [[], ["--season", str(SESSION)], ["nowhere.jsonl"], ["--season", "--folder", "nowhere"]]
)
def test_what_can_not_be_reported_on_is_refused_in_one_line(etholog: Run, tmp_path: Path, words: list[str]) -> None:
    done = etholog("report", *words, cwd=tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_a_broken_file_is_told_of_in_the_page_and_by_the_exit_code(etholog: Run, tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    (tmp_path / "sessions" / SESSION.name).write_bytes(SESSION.read_bytes())
    (tmp_path / "sessions" / "x.jsonl").write_text("no session")
    done = etholog("report", "--season", cwd=tmp_path)
    assert done.returncode == 1
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "What could not be read" in text
    assert "x.jsonl" in text
    assert "x.jsonl" in done.stderr


def test_the_summary_and_the_strip_of_each_session_are_in_it(season_page: Path) -> None:
    from html import escape

    from etholog.session import summary

    text = season_page.read_text(encoding="utf-8")
    for line in summary.lines(session.read(SESSION)):
        assert escape(line.strip()) in text
    found, _ = season.sessions_in(SEASON / "sessions")
    assert text.count('<details class="session') == len([one for one in found if "record_of" not in one.header])


@pytest.mark.parametrize(
    "kept",
    [
        {"a": []},
        {"a": marks((0, "touch", None))},
        {"a": marks((0, "walking", "onset"))},
        {"a": [], "b": marks((0, "walking", "onset"), (0, "clasp", "onset")), "c": marks((0, "insertion", "onset"))},
        {"a": marks((0, "hidden", "onset"), (5, "hidden", "offset")), "b": [{"do": "close", "t": 0, "outcome": {}}]},
    ],
    ids=["nothing", "one event", "no time", "no time in three", "all hidden, and nothing"],
)
def test_sessions_with_next_to_nothing_in_them_make_a_page(
    kept: dict[str, list[dict[str, object]]], tmp_path: Path
) -> None:
    for name, records in kept.items():
        write_session(tmp_path / f"{name}.jsonl", records, id=name, male="", female="")
    found, faults = season.sessions_in(tmp_path)
    assert not faults
    html = page.html(season.of(tmp_path, found), found, date(2026, 11, 1))
    assert html.count('<details class="session') == (len(kept) if len(kept) > 1 else 0)
    assert ("How far did it come?" in html) == (len(kept) == 1)  # the page of a single session is about that evening
    assert "How well was it watched?" in html
    assert ">nan" not in html


def test_a_large_season_has_small_strips_and_says_what_it_leaves_out(tmp_path: Path) -> None:
    for number in range(41):
        times = marks((0, "introduced", None), (1000 * number, "walking", "onset"), (90_000, "insertion", "onset"))
        write_session(tmp_path / f"{number}.jsonl", times, id=f"{number}", male=f"M-{number % 8}", female="F-Umbra")
    found, faults = season.sessions_in(tmp_path)
    assert not faults
    table = season.of(tmp_path, found)
    html = page.html(table, found)
    assert html.count('<svg class="small"') == html.count('<details class="session') == 41
    assert 'class="strip"' not in html
    assert "etholog report --strips" in html
    assert "Drawn: the 6 of 8 males with the most sessions" in html
    assert "Drawn: 40 of 41 sessions" in html
    assert page.html(table, found, whole=True).count('class="strip"') == 41


def test_the_summary_and_the_section_say_one_thing_of_how_long_it_took(three_page: Path) -> None:
    text = three_page.read_text(encoding="utf-8")
    said = re.search(r"From her silk to his first display: [^<]*", text)
    assert said is not None
    assert text.count(said[0]) == 2
    assert "in half of all within" not in text  # of three sessions nobody can say that


def test_the_page_and_the_command_name_the_same_successions(season_page: Path) -> None:
    known = season.read(SEASON)
    told = transition_sentences.of_season(known, transition(known), known.labels)[0]
    text = season_page.read_text(encoding="utf-8")
    answer = re.search(r"More often than chance would have it: [^<]*", text)
    assert answer is not None
    successions = r"([a-z ]+ after [a-z ]+) \("
    assert re.findall(successions, answer[0]) == re.findall(successions, told) != []


def test_what_came_a_few_times_is_no_more_often_than_chance(tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    for name in "ab":
        made = marks((1000, "walking", "onset"), (2000, "drumming", "onset"), (3000, "touch", None))
        write_session(tmp_path / "sessions" / f"{name}.jsonl", made, id=name)
    found, _ = season.sessions_in(tmp_path / "sessions")
    html = page.html(season.of(tmp_path, found), found)
    assert "No succession surely comes more often than chance would have it." in html


def page_of_sessions_begun(folder: Path, *instants: str) -> str:
    """Return the season's page of sessions that differ in nothing but when they began."""
    (folder / "sessions").mkdir()
    for name, began in zip("ab", instants, strict=True):
        write_session(folder / "sessions" / f"{name}.jsonl", marks(), id=name, began=began)
    report("--season", "--folder", folder, "--out", folder / "page.html")
    return (folder / "page.html").read_text(encoding="utf-8")


def test_the_first_and_last_day_are_those_of_the_clock_on_the_wall(tmp_path: Path) -> None:
    # 23:59 in Sao Paulo is the next day in UTC; a minute past midnight in Warsaw the day before.
    text = page_of_sessions_begun(tmp_path, "2018-11-03T23:59:00.000-03:00", "2026-01-01T00:01:00.000+01:00")
    assert "2 sessions, 2018-11-03 to 2026-01-01" in text
    assert "2018-11-04" not in text and "2025-12-31" not in text


def test_sessions_within_the_hour_that_comes_twice_are_sorted_as_they_began(tmp_path: Path) -> None:
    """Poland's clocks went from 03:00 back to 02:00 on 2026-10-25 (IANA's tz database, Europe/Warsaw)."""
    text = page_of_sessions_begun(tmp_path, "2026-10-25T02:30:00.000+02:00", "2026-10-25T02:10:00.000+01:00")
    sort = {shown: by for by, shown in re.findall(r'data-sort="([^"]*)"[^>]*>(2026-10-25 02:\d\d)<', text)}
    assert sort["2026-10-25 02:30"] < sort["2026-10-25 02:10"]


def test_a_dollar_in_a_label_is_a_dollar(tmp_path: Path) -> None:
    first = ETHOGRAM.behaviour[0]
    ethogram = replace(ETHOGRAM, behaviour=(replace(first, label="in $ and $"), *ETHOGRAM.behaviour[1:]))
    path = tmp_path / "one.jsonl"
    write_session(path, marks((1000, first.code, "onset"), (9000, first.code, "offset")), ethogram)
    one = session.read(path)
    html = page.html(season.of(tmp_path, [one]), [one])
    assert "in $ and $" in html
    assert r"\$" not in html


def test_processes_draw_the_same_page(tmp_path: Path, session_page: Path) -> None:
    one = session.read(SESSION)
    table = season.of(SEASON, [one])
    with svg.processes() as pool:
        assert page.html(table, [one], pool=pool) == page.html(table, [one])


def test_what_draws_ends_with_a_report_that_is_killed(tmp_path: Path) -> None:
    with svg.processes() as pool:
        if pool is None:
            pytest.skip("one processor draws in the report's own process")
    command = [sys.executable, "-m", "etholog", "report", "--season", "--folder", SEASON, "--out", tmp_path / "a.html"]
    page = subprocess.Popen(command, start_new_session=True, stdout=subprocess.DEVNULL)

    def alive() -> list[str]:
        """Return those of its group that run; the dead may wait for somebody to ask after them."""
        told = subprocess.run(["ps", "-A", "-o", "pgid=,stat="], capture_output=True, text=True, check=True).stdout
        return [
            state for group, state in map(str.split, told.splitlines()) if int(group) == page.pid and state[0] != "Z"
        ]

    assert came(lambda: len(alive()) > 1)
    page.kill()
    page.wait()
    try:
        assert came(lambda: not alive())
    finally:
        if alive():
            os.killpg(page.pid, signal.SIGKILL)
    assert not (tmp_path / "a.html").exists()


def came(what: Callable[[], bool], seconds: float = 20) -> bool:
    """Return whether it is so, once it is; or after so many seconds, when it is not."""
    until = time.monotonic() + seconds
    while not what() and time.monotonic() < until:
        time.sleep(0.02)
    return what()


@pytest.mark.parametrize("words", [("report", SESSION, "--out"), ("due", "--sitter")])
def test_a_page_has_the_name_of_one(etholog: Run, tmp_path: Path, words: tuple[str | Path, ...]) -> None:
    done = etholog(*words, tmp_path / "page.txt", cwd=tmp_path)
    assert (done.returncode, done.stdout, list(tmp_path.iterdir())) == (2, "", [])
    assert done.stderr.endswith("page.txt: a page is written as .html\n")
