"""What fails on a real evening: disks, folders, clocks, stops. Each with the real thing, and nothing is lost."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import session
from tests.conftest import need
from tests.make import CardLine, write_card
from tests.screens.terminal import ETHOGRAM, WATCH, Terminal, codes, gone, the_file

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform != "linux", reason="these ways to fail are Linux's")]


Run = Callable[..., CompletedProcess[str]]


def whole(folder: Path, *expected: str) -> None:
    """Every mark is in the file, in order, with no hole."""
    read = session.read(the_file(folder))
    assert not read.findings
    assert codes(folder) == list(expected)
    assert [record["n"] for record in read.records] == list(range(1, len(read.records) + 1))


@pytest.mark.parametrize(("fault", "reason"), [("write", "Read-only file system"), ("sync", "Input/output error")])
def test_a_disk_that_fails_for_a_while(tmp_path: Path, shim: Path, fault: str, reason: str) -> None:
    control = tmp_path / "fault"
    state = tmp_path / "state"
    with Terminal(
        *WATCH, cwd=tmp_path, rows=30, LD_PRELOAD=str(shim), FAULT=str(control), XDG_STATE_HOME=str(state)
    ) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        control.write_text(fault)
        terminal.type("v")
        shown = terminal.until("NOT SAVED")
        assert reason in " ".join(terminal.until("The marks go to").split())
        assert "now: clasp" in shown
        terminal.type("x")
        terminal.until("insertion left")
        (rescue,) = (state / "etholog").glob("*.rescue")
        header, *rescued = map(json.loads, rescue.read_bytes().splitlines())  # it says first whose marks these are
        assert header["do"] == "begin"
        assert [record["code"] for record in rescued] == ["clasp", "insertion"]
        control.write_text("")
        terminal.type("z")
        terminal.until_gone("NOT SAVED")
        terminal.end()
        assert terminal.wait() == 0
        assert "while the disk failed, marks went to" in " ".join(terminal.screen().split())
    whole(tmp_path, "drumming", "clasp", "insertion", "palp_probing")


def test_a_folder_that_is_removed_and_comes_back(tmp_path: Path) -> None:
    state = tmp_path / "state"
    with Terminal(*WATCH, cwd=tmp_path, rows=30, XDG_STATE_HOME=str(state)) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        shutil.rmtree(tmp_path / "sessions")
        terminal.type("v")
        terminal.until("NOT SAVED")
        (rescue,) = (state / "etholog").glob("*.rescue")
        assert [json.loads(line)["n"] for line in rescue.read_bytes().splitlines()] == [0, 1, 2]
        (tmp_path / "sessions").mkdir()
        terminal.type("x")
        terminal.until_gone("NOT SAVED")
        terminal.end()
        assert terminal.wait() == 0
    whole(tmp_path, "drumming", "clasp", "insertion")


@pytest.fixture
def as_anyone() -> Iterator[tuple[Path, tuple[str, ...]]]:
    """A folder and a prefix under which a program is bound by modes; to root they are nothing."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o777)
    if os.geteuid():
        yield folder, ()
    else:
        need("setpriv")
        under = ("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups")
        starts = [*under, sys.executable, "-c", "import etholog, textual"]
        if subprocess.run(starts, cwd=folder, capture_output=True, check=False).returncode:
            pytest.skip("where this Python or this clone lies, nobody but root can read them")
        yield folder, under
    for path in (folder / "sessions", folder):
        if path.is_dir():
            path.chmod(0o777)
    shutil.rmtree(folder)


def test_a_folder_that_turns_read_only(as_anyone: tuple[Path, tuple[str, ...]]) -> None:
    folder, under = as_anyone
    with Terminal(*WATCH, cwd=folder, under=under, HOME=str(folder)) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        the_file(folder).chmod(0o400)
        (folder / "sessions").chmod(0o555)
        terminal.type("v")
        terminal.until("now: clasp")
        terminal.end()
        assert terminal.wait() == 0  # what was opened for writing stays so
    whole(folder, "drumming", "clasp")
    for words in (("amend", str(the_file(folder))), WATCH):
        with Terminal(*words, cwd=folder, under=under, HOME=str(folder)) as terminal:
            assert terminal.wait() == 2
            assert "Permission denied" in terminal.screen()
            assert "Traceback" not in terminal.screen()


def test_a_real_disk_that_is_full_until_room_is_made(tmp_path: Path) -> None:
    sessions = tmp_path / "sessions"
    sessions.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(sessions)]
    if os.geteuid() or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("only root may mount a small disk, and not everywhere")
    try:
        with Terminal(*WATCH, cwd=tmp_path, rows=30, XDG_STATE_HOME=str(tmp_path / "state")) as terminal:
            terminal.start()
            ballast = sessions / "ballast"
            with ballast.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space"):
                while True:
                    file.write(b"x" * 4096)
            pressed = 0
            while "NOT SAVED" not in terminal.screen():
                terminal.type("rt"[pressed % 2])
                terminal.read(0.03)
                pressed += 1
                assert pressed < 200, "the disk never filled"
            ballast.unlink()
            terminal.type("v")
            terminal.until_gone("NOT SAVED")
            terminal.end()
            assert terminal.wait() == 0
        whole(tmp_path, *["raises" if i % 2 == 0 else "threat" for i in range(pressed)], "clasp")
    finally:
        subprocess.run(["umount", str(sessions)], check=True)


def faked() -> dict[str, str]:
    need("faketime")
    libraries = sorted(Path("/usr/lib").glob("**/faketime/libfaketime.so.1"))
    if not libraries:
        pytest.skip("libfaketime lies elsewhere here")
    return {"LD_PRELOAD": str(libraries[0]), "FAKETIME_DONT_FAKE_MONOTONIC": "1"}


@pytest.mark.parametrize(
    ("clock", "told", "asked"),
    [
        ("1970-01-02", (), "before etholog was made"),
        ("2026-08-01", (("meal", "2026-10-20"),), "before what their cards tell of 2026-10-20"),
        ("2026-10-20", (("meal", "2026-10-20"),), ""),
    ],
)
def test_a_clock_that_was_lost_is_asked_about_and_the_true_day_counts_once_it_is_told(
    clock: str, told: tuple[CardLine, ...], asked: str, tmp_path: Path, etholog: Run
) -> None:
    write_card(tmp_path, "F-Umbra", ("sex", "2020", "female"), ("species", "2020", "Brachypelma smithi"), *told)
    write_card(tmp_path, "M-Basalt", ("sex", "2020", "male"))
    with Terminal(*WATCH, cwd=tmp_path, rows=60, columns=120, **faked(), FAKETIME=f"@{clock} 20:00:00") as terminal:
        shown = " ".join(terminal.until("Enter starts the clock").split())
        assert (f"clock says {clock}, {asked}" in shown) == bool(asked) == ("battery" in shown)
        terminal.start()
        terminal.end()
        assert terminal.wait() == 0
    assert session.read(the_file(tmp_path)).began.date().isoformat() == clock
    if not asked:
        return
    (write,) = re.findall(r"etholog (card F-Umbra paired M-Basalt --on) DAY", shown)
    assert etholog(*write.split(), "2026-10-25", cwd=tmp_path).returncode == 0
    tasks = etholog("due", "F-Umbra", "--today", "2026-11-01", "--json", cwd=tmp_path).stdout
    assert {task["first"] for task in json.loads(tasks) if "/sac/" in task["key"]} >= {"2027-01-23"}  # 90 days


def test_a_wall_clock_that_is_set_back_an_hour_and_on_a_day_bends_nothing(tmp_path: Path) -> None:
    wall = tmp_path / "wall"
    wall.write_text("+0")
    environment = faked() | {"FAKETIME_TIMESTAMP_FILE": str(wall), "FAKETIME_CACHE_DURATION": "1"}
    with Terminal(*WATCH, cwd=tmp_path, **environment) as terminal:
        terminal.start()
        began = time.monotonic()
        for key, said, offset in (("d", "now: palpal drumming", "-1h"), ("v", "now: clasp", "+1d")):
            terminal.type(key)
            terminal.until(said)
            wall.write_text(offset)
            before, end = the_file(tmp_path).read_bytes().count(b'"clock"'), time.monotonic() + 60
            while the_file(tmp_path).read_bytes().count(b'"clock"') == before:
                terminal.read(0.1)
                assert time.monotonic() < end, "the change was never noticed"
        terminal.type("x")
        terminal.until("insertion left")
        lasted = (time.monotonic() - began) * 1000
        terminal.end()
        assert terminal.wait() == 0
    read = session.read(the_file(tmp_path))
    told = [record["what"] for record in read.records if record["do"] == "clock"]
    # Back an hour; then from there to a day ahead: 25 hours.
    assert [what.rsplit(" ", 2)[1] for what in told] == ["-3600", "+90000"]
    times = [record["t"] for record in read.records]
    assert times == sorted(times)
    assert read.fold.end < lasted + 5000
    assert not read.fold.gaps


def stop_for_a_while(terminal: Terminal) -> None:
    """Stop the program as he drums."""
    terminal.start()
    terminal.type("d")
    terminal.until("now: palpal drumming")
    terminal.kill(signal.SIGSTOP)
    time.sleep(2)


def test_a_program_that_was_stopped_leaves_a_gap(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        stop_for_a_while(terminal)
        terminal.kill(signal.SIGCONT)
        terminal.until("etholog was stopped")
        terminal.type("v")
        terminal.until("now: clasp")
        terminal.end()
        assert terminal.wait() == 0
    fold = session.read(the_file(tmp_path)).fold
    (gap,) = fold.gaps
    assert gap.why == "etholog was stopped"
    assert 1500 < gap.offset - gap.onset < 20_000
    assert (fold.bouts[0].code, fold.bouts[0].whole) == ("drumming", False)


def test_keys_that_wait_for_a_stopped_program_are_in_no_gap(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        stop_for_a_while(terminal)
        terminal.type("v")
        terminal.kill(signal.SIGCONT)
        terminal.until("now: clasp")
        terminal.end()
        assert terminal.wait() == 0
    fold = session.read(the_file(tmp_path)).fold
    assert [gap.why for gap in fold.gaps] == ["etholog was stopped"]
    assert fold.gaps[0].offset <= fold.bouts[1].onset
    assert not fold.remarks


@pytest.mark.parametrize("environment", [{"TERM": "linux"}, {"PYTHONIOENCODING": "latin-1"}])
def test_a_terminal_without_box_characters_gets_none(tmp_path: Path, environment: dict[str, str]) -> None:
    with Terminal(*WATCH, cwd=tmp_path, columns=100, rows=40, **environment) as terminal:
        terminal.start()
        for key in "dvx-":
            terminal.type(key)
            terminal.read(0.2)
        terminal.until("NOBODY WATCHES")
        shown = terminal.screen()
        assert shown.isascii(), [character for character in shown if not character.isascii()]
        assert "|" in shown
        terminal.kill(signal.SIGKILL)
        terminal.wait()


def test_hostile_names_and_pasted_notes_reach_no_terminal(tmp_path: Path) -> None:
    names = ("--species", "\x1b[31mEVIL\x07\u202eX\x9b31m", "--male", "\x1b]0;EVIL\x07[bold]")
    with Terminal("watch", *ETHOGRAM, *names, cwd=tmp_path) as terminal:
        terminal.until("EVIL")
        terminal.type("\x13")
        terminal.start()
        terminal.type("\r")
        terminal.read(0.3)
        terminal.type("\x1b[200~note\u202eon\x07 it\x1b[201~")
        terminal.until("noteon it")
        terminal.type("\r")
        terminal.until("noted")
        terminal.end()
        assert terminal.wait() == 0
        for harm in ("\x1b[31mEVIL", "\x1b]0;", "\x9b31m", "\u202e"):
            assert harm.encode() not in terminal.raw
    read = session.read(the_file(tmp_path))
    assert [said.text for said in read.fold.said] == ["noteon it"]


HOSTILE = "[red]x[/red] \x07 =1+1 \u202eabc \u2066 \U0001f577\ufe0f עברית e\u0301"


def test_hostile_text_reaches_the_file_and_no_terminal(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type(f"\x1b[200~{HOSTILE}\x1b[201~")
        terminal.until("pasted text makes no marks")
        before = len(terminal.raw)
        terminal.type("\r")
        terminal.read(0.3)
        for _ in range(4):
            terminal.type("0123456789" * 50)
            terminal.read(0.2)
        terminal.read(0.5)
        terminal.type("\r")
        terminal.until("noted")
        terminal.end()
        assert terminal.wait() == 0
        # Textual itself ends its mouse pointer's name (OSC 22) by that byte.
        drawn = re.sub(rb"\x1b\]22;\w*\x07", b"", terminal.raw[before:])
        assert b"\x07" not in drawn
        assert "\u202e".encode() not in terminal.raw
    notes = [said.text for said in session.read(the_file(tmp_path)).fold.said if said.do == "note"]
    assert [len(note) for note in notes[1:]] == [2000]
    assert "עברית" in notes[0]
    assert "\u202e" in notes[0]  # kept as it came; only what is shown is made safe
    with Terminal("show", str(the_file(tmp_path)), cwd=tmp_path) as terminal:
        assert terminal.wait() == 0
        assert b"\x1b[2J" not in terminal.raw
        assert "\u202e".encode() not in terminal.raw


def frozen(terminal: Terminal, keys: str) -> None:
    """Have the terminal read nothing any more until Textual's queue is full and its loop stands still, then type."""
    still = 0
    before = -1
    end = time.monotonic() + 30
    while still < 6:
        terminal.type("rt"[int(time.monotonic() * 10) % 2])
        time.sleep(0.25)
        size = the_file(Path(f"/proc/{terminal.pid}/cwd")).stat().st_size
        still = still + 1 if size == before else 0
        before = size
        assert time.monotonic() < end, "the loop never stood still"
    for key in keys:
        terminal.type(key)
        time.sleep(0.12)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_frozen_terminal_and_a_signal_end_it_with_a_gap(tmp_path: Path, number: int) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        frozen(terminal, "vx")
        terminal.kill(number)
        assert gone(terminal) == 3
        terminal.read(0.5)  # when it reads again, it is given back
        assert b"\x1b[?1049l" in terminal.raw
        assert b"\x1b[" not in terminal.raw[terminal.raw.index(b"\x1b[?1049l") + 8 :].replace(b"\x1b[?25h", b"")
    read = session.read(the_file(tmp_path))
    assert not read.findings
    assert not read.fold.closed
    assert read.fold.gaps[-1].why == f"etholog was ended ({signal.Signals(number).name})"


def test_a_frozen_terminal_that_is_closed_ends_it_with_a_gap(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        frozen(terminal, "vx")
        terminal.hang_up()
        assert gone(terminal) in (3, 129)
    assert session.read(the_file(tmp_path)).fold.gaps


def test_the_keys_of_a_freeze_are_offered_after_a_signal_and_none_of_them_twice(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d13")
        terminal.until("(unsure)")
        frozen(terminal, "v\rdvx\rx\x7f")
        terminal.kill(signal.SIGTERM)
        assert gone(terminal) == 3
    before = session.read(the_file(tmp_path))
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path, rows=60) as terminal:
        offered = terminal.until("Enter takes all in")
        assert "noted: dvx" in offered
        assert "taken back: insertion left" in offered
        terminal.type("\r")
        terminal.until("nothing runs")
        terminal.end()
        assert terminal.wait() == 0
    read = session.read(the_file(tmp_path))
    assert not read.findings
    assert [said.text for said in read.fold.said if said.do == "note"] == ["dvx"]
    for do, count in (("move", 1), ("doubt", 1)):
        assert sum(record["do"] == do for record in before.records) == count
        assert sum(record["do"] == do for record in read.records) == count
    bouts = [bout.code for bout in read.fold.bouts if bout.code not in ("raises", "threat")]
    assert bouts == ["drumming", "clasp"]


def test_taps_and_pastes_of_a_freeze_are_offered_too(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d")
        rows = terminal.until("now: palpal drumming").splitlines()
        row = next(at for at, line in enumerate(rows, 1) if "clasp" in line)
        frozen(terminal, "")
        terminal.type(f"\x1b[<0;40;{row}M\x1b[<0;40;{row}m")
        time.sleep(0.3)
        terminal.type("\x1b[200~Dvx\x1b[201~\rtwo \x1b[200~dvx\x1b[201~")
        time.sleep(0.3)
        terminal.type("!\r")
        time.sleep(0.3)
        terminal.kill(signal.SIGKILL)
        assert gone(terminal) == -9
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path, rows=60) as terminal:
        assert "clasp began" in terminal.until("Enter takes all in")
        terminal.type("\r")
        terminal.until("nothing runs")
        terminal.end()
        assert terminal.wait() == 0
    fold = session.read(the_file(tmp_path)).fold
    assert [bout.code for bout in fold.bouts if bout.code not in ("raises", "threat")] == ["drumming", "clasp"]
    assert [said.text for said in fold.said if said.do == "note"] == ["pasted: Dvx", "two dvx!"]


def test_a_part_of_the_keys_of_a_freeze_can_be_taken(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        frozen(terminal, "vx")
        terminal.kill(signal.SIGKILL)
        assert gone(terminal) == -9
    marks = session.read(the_file(tmp_path)).fold.marks
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path, rows=60) as terminal:
        terminal.until("Enter takes all in")
        terminal.type("1\r")
        terminal.until("nothing runs")
        terminal.kill(signal.SIGTERM)
        terminal.wait()
    assert session.read(the_file(tmp_path)).fold.marks == marks + 1
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path, rows=60) as terminal:
        terminal.until("nothing runs")  # and nothing is offered a second time
