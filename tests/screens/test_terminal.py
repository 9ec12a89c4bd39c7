"""The watch screen in a real terminal: what is shown is in the file, whatever ends it."""

import itertools
import json
import os
import random
import signal
import subprocess
import sys
import time
from datetime import date, timedelta
from pathlib import Path

import pytest

from etholog import session
from tests.conftest import need
from tests.make import terrestrial_1
from tests.screens.terminal import WATCH, Terminal, codes, painted_marks, the_file

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys there")]


def test_an_evening_from_the_cautions_to_the_summary(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        cautions = terminal.until("Enter starts the clock")
        assert "poison centre" in cautions
        terminal.type("\r")
        terminal.until("nothing runs")
        for key in "45dfdbvzxc":
            terminal.type(key)
            terminal.read(0.15)
        shown = terminal.until("insertion right")
        assert "clasp" in shown.splitlines()[-2]
        assert "COPULATION" in shown.splitlines()[0]
        terminal.type("\x7f")  # Backspace
        terminal.until("taken back: insertion right")
        terminal.type("J")  # Caps Lock is no reason to lose a mark, but j means nothing to the left hand
        terminal.until("means nothing here")
        terminal.end("1", "y", "", "3", "yes", "in two weeks")
        assert terminal.wait() == 0
        after = terminal.screen()
    assert "insertions, left palp: 1" in after
    assert "male whole: yes" in after
    assert "kept in" in after
    read = session.read(the_file(tmp_path))
    assert read.fold.closed
    assert read.fold.outcome == {
        "ended": "he got out",
        "male_whole": True,
        "evidence": 3,
        "again": "yes",
        "again_when": (date.today() + timedelta(weeks=2)).isoformat(),
    }
    assert [said.text for said in read.fold.said if said.do == "stray"] == ["j"]
    assert codes(tmp_path) == [
        "introduced", "on_silk", "drumming", "vibration", "drumming",
        "touch", "clasp", "palp_probing", "insertion", "insertion",
    ]  # fmt: skip


def test_animals_without_an_option_are_asked_for(tmp_path: Path) -> None:
    with Terminal("watch", cwd=tmp_path) as terminal:
        terminal.until("his name or id")
        terminal.type("M-Onix\x7f\x7fyx\rF-Rust\r\x13")  # in one go, with a slip put right
        terminal.start()
        assert "M-Onyx x F-Rust" in terminal.screen()
        terminal.end()
        terminal.wait()
    header = session.read(the_file(tmp_path)).header
    assert (header["male"], header["female"]) == ("M-Onyx", "F-Rust")


def test_a_folder_that_cannot_be_written_is_said_before_the_clock(tmp_path: Path) -> None:
    (tmp_path / "sessions").write_text("a file where the folder should be")
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        assert terminal.wait() == 2
        assert "can't be written" in terminal.screen()


@pytest.mark.parametrize("seed", range(6))
def test_kill_9_under_keys_loses_no_mark_that_was_painted(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        before = len(terminal.raw)
        for _ in range(chance.randrange(8, 40)):
            terminal.type(chance.choice("wertsdfgbvzxc"))
            terminal.read(chance.uniform(0.0, 0.03))
        terminal.kill(signal.SIGKILL)
        terminal.read(0.2)
        painted = painted_marks(terminal)
        assert len(terminal.raw) > before
    read = session.read(the_file(tmp_path))
    assert not read.findings
    assert 0 < painted <= read.fold.marks + sum(record["do"] == "repeat" for record in read.records)


@pytest.mark.parametrize(("number", "code"), [(signal.SIGTERM, 143), (signal.SIGHUP, 129), (signal.SIGINT, 130)])
def test_a_signal_leaves_a_session_that_can_be_resumed(tmp_path: Path, number: int, code: int) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        terminal.kill(number)
        assert terminal.wait() == code
        assert "etholog resume" in terminal.screen()
        assert b"\x1b[?1049l" in terminal.raw  # the terminal was given back
    read = session.read(the_file(tmp_path))
    assert not read.fold.closed
    assert [bout.whole for bout in read.fold.bouts] == [False]
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path) as terminal:
        terminal.until("nothing runs")
        terminal.type("v")
        terminal.until("now: clasp")
        terminal.end()
        assert terminal.wait() == 0
    read = session.read(the_file(tmp_path))
    assert read.fold.closed
    assert len(read.fold.gaps) == 1
    assert [bout.code for bout in read.fold.bouts] == ["drumming", "clasp"]


def test_a_closed_window_leaves_a_session_that_can_be_resumed(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        terminal.hang_up()
        end = time.monotonic() + 15
        while os.waitpid(terminal.pid, os.WNOHANG) == (0, 0):
            assert time.monotonic() < end, "it lives on without a terminal"
            time.sleep(0.05)
        terminal.pid = 0
    read = session.read(the_file(tmp_path))
    assert codes(tmp_path) == ["drumming"]
    assert not read.fold.closed


def test_a_session_that_was_killed_goes_on_with_the_time_away_as_a_gap(tmp_path: Path) -> None:
    the_pair = "M-Basalt x F-Umbra"
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d")
        assert f"  {the_pair}  " in terminal.until("now: palpal drumming")
        terminal.kill(signal.SIGKILL)
        terminal.wait()
    with the_file(tmp_path).open("ab") as file:
        file.write(b'{"n":2,"do":"ma')  # a power cut tears a line
    time.sleep(1.2)
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path) as terminal:
        assert f"  {the_pair}  " in terminal.until("nothing runs"), "it is not called as before"
        terminal.end()
        assert terminal.wait() == 0
        assert "torn off" in terminal.raw.decode()
    (gap,) = session.read(the_file(tmp_path)).fold.gaps
    assert gap.offset - gap.onset > 1200
    assert the_file(tmp_path).with_suffix(".jsonl.torn").read_bytes() == b'{"n":2,"do":"ma\n'


def test_two_recorders_on_one_session_are_refused(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path) as second:
            assert second.wait() == 2
            assert "another etholog" in second.screen()


def test_two_thousand_keys_in_one_burst_are_all_there_in_order(tmp_path: Path) -> None:
    # No key twice in a row, or it would rightly be taken for one that is held down.
    keys = "".join(random.Random(1).choice(["rt", "df", "we"][i % 3]) for i in range(2000))
    meaning = {"r": "raises", "t": "threat", "d": "drumming", "f": "vibration", "w": "answers", "e": "approaches"}
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        for at in range(0, 2000, 500):  # the pty's own buffer holds 4,096 bytes
            terminal.type(keys[at : at + 500])
            terminal.read(0.3)
        terminal.end()
        assert terminal.wait(60) == 0
    assert codes(tmp_path) == [meaning[key] for key in keys]


def test_pasted_text_makes_no_marks_and_says_so(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("\x1b[200~ddfvxc\x1b[201~")
        terminal.until("pasted text makes no marks")
        terminal.end()
        terminal.wait()
    assert codes(tmp_path) == []


def test_keys_typed_in_one_go_around_a_note_go_where_they_were_meant(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d\rabc\rvx")
        terminal.until("insertion left began")
        terminal.type("\r-1\rz\rdef\rc")
        terminal.until("insertion right began")
        terminal.end()
        assert terminal.wait() == 0
    assert codes(tmp_path) == ["drumming", "clasp", "insertion", "palp_probing", "insertion"]
    read = session.read(the_file(tmp_path))
    assert [said.text for said in read.fold.said if said.do == "note"] == ["abc", "def"]
    assert [record["do"] for record in read.records if record["do"] == "move"] == ["move"]


def test_what_is_typed_in_one_breath_with_the_start_is_recorded(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.until("Enter starts the clock")
        terminal.type("\rdv\rabc\rx")
        terminal.until("insertion left began")
        terminal.end()
        assert terminal.wait() == 0
    assert codes(tmp_path) == ["drumming", "clasp", "insertion"]
    assert [said.text for said in session.read(the_file(tmp_path)).fold.said] == ["abc"]


def test_the_form_at_the_end_knows_of_what_still_ran(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("vx")
        terminal.until("insertion left began")
        terminal.type("\x1b")
        terminal.until("END?")
        terminal.type("\r")
        terminal.until("By the marks: an insertion")
        terminal.type("\x13")
        assert terminal.wait() == 0


def test_a_signal_after_the_end_speaks_of_no_break(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("v\x1b")
        terminal.until("END?")
        terminal.type("\r")
        terminal.until("How did it end?")
        terminal.kill(signal.SIGTERM)
        assert terminal.wait() == 143
        after = terminal.screen()
    assert "kept in" in after
    assert "resume" not in after


def test_a_tap_between_esc_and_enter_goes_on(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("\x1b")
        terminal.until("END?")
        tap(terminal, "she strikes", 30)
        terminal.until("she strikes 0:00")
        terminal.type("\r")
        terminal.until("a note, or -12")


def tap(terminal: Terminal, words: str, column: int) -> None:
    """Tap on the line that holds the words, as a terminal reports it (SGR mouse mode, xterm control sequences)."""
    row = next(at for at, line in enumerate(terminal.screen().splitlines(), 1) if words in line)
    terminal.type(f"\x1b[<0;{column};{row}M\x1b[<0;{column};{row}m")


def test_a_tap_on_a_lane_is_its_key(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        tap(terminal, "clasp", 40)
        terminal.until("now: clasp")
        tap(terminal, "insertion", 60)  # a lane with two keys: its right half is the second
        terminal.until("insertion right began")
        tap(terminal, "insertion", 10)
        terminal.until("insertion left began")
        tap(terminal, "last mark", 10)  # no lane
        terminal.read(0.3)
        terminal.end()
        assert terminal.wait() == 0
    bouts = session.read(the_file(tmp_path)).fold.bouts
    assert [(bout.code, bout.qualifier) for bout in bouts] == [
        ("clasp", None),
        ("insertion", "right"),
        ("insertion", "left"),
    ]


def test_lost_focus_is_said_loudly(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("\x1b[O")
        terminal.until("HAS LOST THE FOCUS")
        terminal.type("\x1b[I")
        terminal.until_gone("HAS LOST THE FOCUS")


def test_the_rescue_key_shows_what_to_do_in_full(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("v ")
        shown = terminal.until("YOU FIRST")
        for words in (
            "hands out, face back",
            "never fingers. Cup over him if the way is clear",
            "one spider under each lid",
        ):
            assert words in terminal.until(words)
        assert "RESCUE" in shown
        terminal.end()
        terminal.wait()
        assert "disturbed" in terminal.screen()


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (60, 15)])
def test_what_to_do_when_she_struck_is_shown_whole(tmp_path: Path, columns: int, rows: int) -> None:
    with Terminal(*WATCH, cwd=tmp_path, columns=columns, rows=rows) as terminal:
        terminal.start()
        terminal.type("n")
        shown = terminal.until("fingers.")
        assert "She struck. Keeper first." in shown
        terminal.type("\x7f")
        terminal.until_gone("She struck")


def test_all_rungs_are_shown_in_a_narrow_window(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path, columns=60, rows=15) as terminal:
        terminal.start()
        terminal.type("\x1b")
        terminal.until("END?")
        terminal.type("\r")
        terminal.until("How did it end?")
        terminal.type("\r\r\r")
        terminal.until("palps")


def test_a_held_key_is_one_mark(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d" * 31)  # at once: on a busy machine nobody could keep the rhythm of a keyboard
        terminal.until("key 'd' is held down")
        terminal.end()
        terminal.wait()
    read = session.read(the_file(tmp_path))
    assert read.fold.marks == 1
    assert sum(record["do"] == "repeat" for record in read.records) == 30


def test_resized_to_next_to_nothing_and_back(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        terminal.resize(20, 5)
        terminal.kill(signal.SIGWINCH)
        terminal.read(0.5)
        terminal.type("v")
        terminal.resize(80, 24)
        terminal.kill(signal.SIGWINCH)
        terminal.until("she strikes")
        terminal.until("now: clasp")


def test_hostile_notes_stay_text(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("\r")
        terminal.read(0.3)
        terminal.type("[red]=1+1 \u202eabc \U0001f577 עברית")
        terminal.read(0.3)
        terminal.type("\r")
        terminal.until("noted")
        terminal.end()
        terminal.wait()
    (note,) = [said for said in session.read(the_file(tmp_path)).fold.said if said.do == "note"]
    assert "[red]=1+1" in note.text
    assert "\U0001f577" in note.text


def test_a_full_disk_is_said_on_the_screen_and_nothing_is_lost(tmp_path: Path) -> None:
    header = len(terrestrial_1().plain_json().encode()) + 700
    script = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({header + 2700}, resource.RLIM_INFINITY));"
        "from etholog.commands import main; sys.exit(main(sys.argv[1:]))"
    )
    sitecustomize = tmp_path / "limited"
    sitecustomize.mkdir()
    (sitecustomize / "sitecustomize.py").write_text(script.split("from etholog")[0])
    path = os.pathsep.join([str(sitecustomize), os.environ.get("PYTHONPATH", "")])
    state = tmp_path / "state"
    with Terminal(*WATCH, cwd=tmp_path, PYTHONPATH=path, XDG_STATE_HOME=str(state)) as terminal:
        terminal.start()
        for i in range(60):
            terminal.type("rt"[i % 2])
            terminal.read(0.02)
        terminal.until("NOT SAVED")
        terminal.end()
        assert terminal.wait() == 1
    (rescue,) = (state / "etholog").glob("*.rescue")
    lines = [json.loads(line) for line in rescue.read_bytes().splitlines()]
    numbers = {json.loads(line)["n"] for line in the_file(tmp_path).read_bytes().splitlines() if line.endswith(b'"}')}
    numbers |= {line["n"] for line in lines}
    assert numbers == set(range(max(numbers) + 1))
    assert max(numbers) >= 61


def test_ctrl_z_and_fg_repaint_all_and_leave_a_gap(tmp_path: Path) -> None:
    need("tmux")

    def tmux(*words: str) -> str:
        command = ["tmux", "-L", f"etholog-{os.getpid()}", "-f", "/dev/null", *words]
        return subprocess.run(command, capture_output=True, text=True, check=False, cwd=tmp_path).stdout

    def until(words: str) -> str:
        end = time.monotonic() + 20
        shown = ""
        while time.monotonic() < end:
            shown = tmux("capture-pane", "-p")
            if words in shown:
                return shown
            time.sleep(0.1)
        raise AssertionError(f"{words!r} did not come:\n{shown}")

    try:
        tmux("new-session", "-d", "-x", "80", "-y", "24", "env", "PS1=READY ", "bash", "--norc", "-i")
        until("READY")
        tmux("send-keys", "-l", f"{sys.executable} -m etholog {' '.join(WATCH)}")
        tmux("send-keys", "Enter")
        until("Enter starts the clock")
        tmux("send-keys", "Enter")
        until("nothing runs")
        tmux("send-keys", "d")
        until("now: palpal drumming")
        tmux("send-keys", "C-z")
        shown = until("Stopped")
        assert "To go on with it: fg" in shown
        assert "palpal drumming" not in shown  # the strip is gone
        time.sleep(0.5)
        tmux("send-keys", "-l", "fg")
        tmux("send-keys", "Enter")
        until("watching again")
        assert "nothing runs" in until("she strikes")  # the lowest lane: all was repainted
        tmux("send-keys", "Escape")
        until("END?")
        tmux("send-keys", "Enter")
        until("How did it end?")
        tmux("send-keys", "C-s")
        until("kept in")
    finally:
        tmux("kill-server")
    (gap,) = session.read(the_file(tmp_path)).fold.gaps
    assert gap.why == "suspended by Ctrl-Z"
    assert gap.offset - gap.onset > 400


def test_a_stalled_terminal_and_then_kill_9_lose_no_key(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path, columns=200, rows=60) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        # Nobody reads the terminal: its buffer fills with repaints, and the event loop stands still.
        end = time.monotonic() + 40
        keys = itertools.cycle("rtewfd")
        while time.monotonic() < end:
            terminal.type(next(keys))
            time.sleep(0.09)
            if len(arrived(tmp_path)) > len(codes(tmp_path)) + 5:
                break
        terminal.type("v")
        time.sleep(0.5)
        keys_noted = arrived(tmp_path)
        terminal.kill(signal.SIGKILL)
        terminal.wait()
    before = len(codes(tmp_path))
    assert len(keys_noted) > before, "the terminal never stalled: nothing was tried here"
    assert keys_noted[-1] == "v"
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path) as terminal:
        terminal.until("pressed and never handled")
        terminal.type("\r")
        terminal.until("nothing runs")
        terminal.end()
        assert terminal.wait() == 0
    assert len(codes(tmp_path)) == len(keys_noted)
    assert codes(tmp_path)[-1] == "clasp"
    assert not list((tmp_path / "sessions").glob(".*.keys"))  # all is in the journal now


def arrived(folder: Path) -> list[str]:
    (file,) = (folder / "sessions").glob(".*.keys")
    lines = [json.loads(line) for line in file.read_bytes().splitlines()]
    return [line[2] for line in lines if len(line) == 4]  # the others say which were taken up
