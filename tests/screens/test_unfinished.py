"""What was half typed when something broke off stands there again; and whatever breaks off gives the terminal back."""

import signal
import sys
import termios
from pathlib import Path

import pytest

from etholog import session
from tests.screens.terminal import WATCH, Terminal, the_file

pytestmark = [pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys there"), pytest.mark.slow]
BREAKS = [signal.SIGHUP, signal.SIGTERM, signal.SIGINT, signal.SIGQUIT, signal.SIGKILL]


def notes(folder: Path) -> list[str]:
    return [said.text for said in session.read(the_file(folder)).fold.said if said.do == "note"]


@pytest.mark.parametrize("number", BREAKS)
def test_a_note_that_was_broken_off_is_offered_again(tmp_path: Path, number: int) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d\r")
        terminal.until("a note, or -12")
        terminal.type("his left palp is l")
        terminal.until("his left palp is l")
        terminal.read(0.3)
        terminal.kill(number)
        assert terminal.wait() == (-number if number == signal.SIGKILL else 128 + number)
    assert not notes(tmp_path)
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path) as terminal:
        terminal.until("his left palp is l")
        terminal.type("ame\r")
        terminal.until("noted")
        terminal.end()
        assert terminal.wait() == 0
    assert notes(tmp_path) == ["his left palp is lame"]
    assert not list((tmp_path / "sessions").glob(".*"))


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_answers_that_were_broken_off_are_offered_again(tmp_path: Path, number: int) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("v")
        terminal.until("clasp began")
        terminal.type("\x1b")
        terminal.until("END?")
        terminal.type("\r")
        terminal.until("How did it end?")
        terminal.type("2\ry\r\r\ryes, in a fort")
        terminal.until("yes, in a fort")
        terminal.read(0.3)
        terminal.kill(number)
        terminal.wait()
        assert number == signal.SIGKILL or "etholog resume" in " ".join(terminal.screen().split())
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path) as terminal:
        terminal.until("yes, in a fort")
        terminal.type("\x1b[A" * 3 + "\x13")
        assert terminal.wait() == 0
    assert session.read(the_file(tmp_path)).fold.outcome == {
        "ended": "keeper ended it",
        "male_whole": True,
        "again": "yes, in a fort",
    }
    assert not list((tmp_path / "sessions").glob(".*"))


def test_a_form_that_was_broken_off_stands_there_again(tmp_path: Path) -> None:
    with Terminal("watch", cwd=tmp_path) as terminal:
        terminal.until("his name or id")
        terminal.type("M-Onyx\rF-Ru")
        terminal.until("F-Ru")
        terminal.read(0.3)
        terminal.kill(signal.SIGKILL)
        terminal.wait()
    with Terminal("watch", cwd=tmp_path) as terminal:
        terminal.until("F-Ru")
        terminal.type("\x13")
        terminal.start()
        assert "M-Onyx x F-Ru" in terminal.screen()
        terminal.end()
        terminal.wait()
    assert not list((tmp_path / "sessions").glob(".*"))


def test_line_by_line_too(tmp_path: Path) -> None:
    with Terminal("watch", "--plain", *WATCH[1:], cwd=tmp_path, rows=60) as terminal:
        terminal.until("Enter starts the clock")
        terminal.type("\r")
        terminal.until("The clock runs")
        terminal.type("\rhe li")
        terminal.until("note: he li")
        terminal.read(0.3)
        terminal.kill(signal.SIGQUIT)
        assert terminal.wait() == 131
        assert termios.tcgetattr(terminal.master)[3] & termios.ECHO
    with Terminal("resume", "--plain", str(the_file(tmp_path)), cwd=tmp_path, rows=60) as terminal:
        terminal.until("note: he li")
        terminal.type("mps\r")
        terminal.until("noted")
        terminal.type("\x1b]11;rgb:0000/0000/0000\x07\x1b[24;80Rd")  # what a terminal answers is no key here either
        terminal.until("palpal drumming began")
        terminal.kill(signal.SIGTERM)
        assert terminal.wait() == 143
    assert notes(tmp_path) == ["he limps"]
    assert [record["do"] for record in session.read(the_file(tmp_path)).records if record["do"] == "stray"] == []


def test_sigquit_gives_the_terminal_back(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.kill(signal.SIGQUIT)
        assert terminal.wait() == 131
        assert b"\x1b[?1049l" in terminal.raw
        assert b"\x1b[?1003l" in terminal.raw
        assert termios.tcgetattr(terminal.master)[3] & termios.ECHO
    (gap,) = session.read(the_file(tmp_path)).fold.gaps
    assert "SIGQUIT" in gap.why


@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGKILL])
def test_answers_given_line_by_line_are_kept_one_by_one(tmp_path: Path, number: int) -> None:
    with Terminal("watch", "--plain", *WATCH[1:], cwd=tmp_path, rows=60) as terminal:
        terminal.until("Enter starts the clock")
        terminal.type("\r")
        terminal.until("The clock runs")
        terminal.type("\x1b")
        terminal.until("End?")
        terminal.type("\r")
        terminal.until("How did it end?")
        terminal.type("n\r")
        terminal.until("not 'n'")
        terminal.type("2\r\r\r\ryes, but l")
        terminal.until("yes, but l")
        terminal.read(0.3)
        terminal.kill(number)
        terminal.wait()
    assert session.read(the_file(tmp_path)).fold.outcome == {"ended": "keeper ended it"}
    with Terminal("resume", "--plain", str(the_file(tmp_path)), cwd=tmp_path, rows=60) as terminal:
        for question in ("Is he whole?", "How is she now?", "Evidence of a transfer?"):
            terminal.until(question)
            terminal.type("\r")
        terminal.until("yes, but l")
        terminal.type("ater\r2020-01-01\r")
        terminal.until("2020-01-01 is past")
        terminal.type("2020-01-01\r\r")
        terminal.until("kept in")
        assert terminal.wait() == 0
    assert session.read(the_file(tmp_path)).fold.outcome == {
        "ended": "keeper ended it",
        "again": "yes, but later",
        "again_when": "2020-01-01",
    }
    assert not list((tmp_path / "sessions").glob(".*"))
