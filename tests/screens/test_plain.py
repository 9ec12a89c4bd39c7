"""Plain mode, in a terminal and through a pipe: keys in, one short sentence out, the file as ever."""

import os
import signal
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest

from etholog import session
from tests.conftest import need
from tests.screens.terminal import WATCH, Terminal, codes, gone, the_file

pytestmark = pytest.mark.slow

PLAIN = (*WATCH, "--plain")


def test_an_evening_line_by_line(tmp_path: Path) -> None:
    with Terminal(*PLAIN, cwd=tmp_path, rows=60) as terminal:
        terminal.until("poison centre")
        terminal.until("Enter starts the clock")
        terminal.type("\r")
        terminal.until("The clock runs")
        for key, said in [
            ("d", "palpal drumming began"),
            ("b", "Contact: cup ready"),
            ("v", "clasp began"),
            ("x", "insertion left began"),
            ("2", "is now: insertion right"),
            ("`", "insertion right for 0:0"),
            ("\x7f", "taken back"),
            ("\x1b[3~", "brought back"),
            ("\x1b[A", ""),  # an arrow is no Esc and no mark
            ("-", "nobody watches"),
        ]:
            terminal.type(key)
            terminal.until(said)
        terminal.type("\r")
        terminal.until("why: ")
        terminal.type("the dv\x7foor\r")
        terminal.until("nobody watches: the door")
        terminal.type("?")
        terminal.until("x insertion left")
        terminal.type("\x1b")
        terminal.until("End?")
        terminal.type("\r")
        for question in (
            "How did it end?",
            "Is he whole?",
            "How is she now?",
            "Evidence",
            "Pair them again?",
            "When?",
            "mistake",
        ):
            terminal.until(question)
            terminal.type("\r")
        terminal.until("kept in")
        assert terminal.wait() == 0
        marks = terminal.raw[terminal.raw.index(b"The clock runs") :]
    assert b"\x1b[" not in marks  # nothing moves the cursor, nothing is coloured
    read = session.read(the_file(tmp_path))
    assert read.fold.closed
    assert [gap.why for gap in read.fold.gaps] == ["the door"]
    assert [(bout.code, bout.qualifier) for bout in read.fold.bouts] == [
        ("drumming", None),
        ("touch", None),
        ("clasp", None),
        ("insertion", "right"),
    ]


def test_it_gives_the_terminal_back_on_a_signal_and_can_be_resumed(tmp_path: Path) -> None:
    with Terminal(*PLAIN, cwd=tmp_path) as terminal:
        terminal.until("Enter starts the clock")
        before = termios.tcgetattr(terminal.master)[3] & termios.ECHO
        terminal.type("\r")
        terminal.until("The clock runs")
        terminal.type("d")
        terminal.until("drumming began")
        terminal.kill(signal.SIGTERM)
        assert terminal.wait() == 143
        assert not before
        assert termios.tcgetattr(terminal.master)[3] & termios.ECHO
    (gap,) = session.read(the_file(tmp_path)).fold.gaps
    assert "SIGTERM" in gap.why
    with Terminal("resume", "--plain", str(the_file(tmp_path)), cwd=tmp_path) as terminal:
        terminal.until("The clock runs")
        terminal.type("v")
        terminal.until("clasp began")
        terminal.kill(signal.SIGKILL)
        terminal.wait()
    assert codes(tmp_path) == ["drumming", "clasp"]


def test_keys_through_a_pipe(tmp_path: Path) -> None:
    def run(keys: str) -> subprocess.CompletedProcess[str]:
        words = [sys.executable, "-m", "etholog", *PLAIN]
        environment = os.environ | {"PYTHONIOENCODING": "ascii:strict"}
        return subprocess.run(
            words, input=keys, capture_output=True, text=True, cwd=tmp_path, timeout=240, check=False, env=environment
        )

    done = run("\ndvü\r\x1b[31mnote \u202e\r\x1b\r1\r\r\r\r\r\r\r")
    assert done.returncode == 0, done.stderr
    assert "clasp began" in done.stdout
    assert codes(tmp_path) == ["drumming", "clasp"]
    the_file(tmp_path).unlink()
    assert "etholog resume" in run("\ndv").stderr  # the input ended before the session did
    assert not session.read(the_file(tmp_path)).fold.closed


def test_a_signal_at_the_questions_is_no_error(tmp_path: Path) -> None:
    with Terminal(*PLAIN, cwd=tmp_path, rows=60) as terminal:
        terminal.until("Enter starts the clock")
        terminal.kill(signal.SIGTERM)
        assert terminal.wait() == 143
        assert "Traceback" not in terminal.screen()
    with Terminal(*PLAIN, cwd=tmp_path, rows=60) as terminal:
        terminal.until("Enter starts the clock")
        terminal.type("\r")
        terminal.until("The clock runs")
        terminal.type("\x1b")
        terminal.until("End?")
        terminal.type("\r")
        terminal.until("How did it end?")
        terminal.kill(signal.SIGTERM)
        assert terminal.wait() == 143
        assert "kept in" in terminal.screen()


def test_a_key_that_calls_off_the_end_is_a_mark_too(tmp_path: Path) -> None:
    with Terminal(*PLAIN, cwd=tmp_path, rows=60) as terminal:
        terminal.until("Enter starts the clock")
        terminal.type("\r")
        terminal.until("The clock runs")
        terminal.type("\x1b")
        terminal.until("End?")
        terminal.type("n")
        terminal.until("she strikes")
    assert codes(tmp_path) == ["strike"]


@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGTERM, signal.SIGINT, signal.SIGKILL])
def test_a_note_that_was_broken_off_is_offered_again(tmp_path: Path, number: int) -> None:
    with Terminal(*PLAIN, cwd=tmp_path, rows=60) as terminal:
        started(terminal)
        terminal.type("\rhe li")
        terminal.until("note: he li")
        terminal.read(0.3)
        terminal.kill(number)
        assert terminal.wait() == (-number if number == signal.SIGKILL else 128 + number)
        assert number == signal.SIGKILL or "go on with: etholog resume" in terminal.screen()
    gaps = [gap.why for gap in session.read(the_file(tmp_path)).fold.gaps]
    assert number == signal.SIGKILL or gaps == [f"etholog was ended ({signal.Signals(number).name})"]
    with Terminal("resume", "--plain", str(the_file(tmp_path)), cwd=tmp_path, rows=60) as terminal:
        terminal.until("note: he li")
        terminal.type("mps\r")
        terminal.until("noted")
    assert [said.text for said in session.read(the_file(tmp_path)).fold.said] == ["he limps"]


def started(terminal: Terminal) -> None:
    terminal.until("Enter starts the clock")
    terminal.type("\r")
    terminal.until("The clock runs")


def test_a_closed_window_ends_it_with_a_gap(tmp_path: Path) -> None:
    with Terminal(*PLAIN, cwd=tmp_path) as terminal:
        started(terminal)
        terminal.type("d")
        terminal.until("drumming began")
        terminal.hang_up()
        assert gone(terminal) == 129
    assert session.read(the_file(tmp_path)).fold.gaps


@pytest.mark.parametrize("then", [signal.SIGTERM, signal.SIGHUP, None])
def test_a_frozen_terminal_does_not_hold_it(tmp_path: Path, then: int | None) -> None:
    with Terminal(*PLAIN, cwd=tmp_path) as terminal:
        started(terminal)
        slave = os.open(f"/proc/{terminal.pid}/fd/1", os.O_RDWR | os.O_NOCTTY)
        termios.tcflow(slave, termios.TCOOFF)  # as Ctrl-S of a console does
        terminal.type("dv")
        time.sleep(0.6)
        if then is None:
            os.close(slave)
            terminal.hang_up()
            assert gone(terminal) in (3, 129)
        else:
            terminal.kill(then)
            assert gone(terminal) == 3
            assert termios.tcgetattr(slave)[3] & termios.ECHO  # the shell has its terminal again
            os.close(slave)
    read = session.read(the_file(tmp_path))
    assert "drumming" in [bout.code for bout in read.fold.bouts]
    assert read.fold.gaps


def test_ctrl_z_says_how_to_come_back_and_leaves_a_gap(tmp_path: Path) -> None:
    need("bash")
    shell = ("bash", "--norc", "--noprofile", "-ic", '"$@"; echo stopped; sleep 1; fg', "bash")
    with Terminal(*PLAIN, cwd=tmp_path, rows=60, under=shell) as terminal:
        started(terminal)
        terminal.type("d")
        terminal.until("drumming began")
        terminal.type("\x1a")
        terminal.until("To go on with it: fg")
        terminal.until("etholog was stopped: that time counts for nothing")
        terminal.type("v")
        terminal.until("clasp began")
        terminal.type("\rhe tu")
        terminal.until("note: he tu")
        fold = session.read(the_file(tmp_path)).fold  # before the end of this terminal makes another gap
    (gap,) = fold.gaps
    assert gap.why == "etholog was stopped"
    assert gap.offset - gap.onset > 900


def test_a_genus_that_no_ethogram_is_known_to_fit_is_asked_about(tmp_path: Path) -> None:
    words = ("watch", "--plain", "--male", "M-1", "--female", "F-1", "--species", "Nosuchgenus mirabilis")
    with Terminal(*words, cwd=tmp_path, rows=60) as terminal:
        terminal.until("no ethogram is known to fit Nosuchgenus mirabilis; which one?")
        terminal.type("2\r")
        terminal.until("Jumping spiders")
        terminal.until("Enter starts the clock")
        terminal.type("\x03")
        assert terminal.wait() == 0
