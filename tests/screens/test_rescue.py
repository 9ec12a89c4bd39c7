"""After the disk: what a rescue file holds comes back into its session, whatever else went wrong."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import session
from etholog.base import journal
from tests.screens.terminal import WATCH, Terminal, codes, the_file

Run = Callable[..., CompletedProcess[str]]
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform != "linux", reason="these ways to fail are Linux's"),
]


def crashed_on_a_full_disk(folder: Path, shim: Path) -> Path:
    """Mark, let the disk fail, mark, take back, write a note, kill; return the rescue file."""
    control, state = folder / "fault", folder / "state"
    with Terminal(
        *WATCH, cwd=folder, rows=30, LD_PRELOAD=str(shim), FAULT=str(control), XDG_STATE_HOME=str(state)
    ) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        control.write_text("write")
        terminal.type("v")
        terminal.until("NOT SAVED")
        terminal.type("x")
        terminal.until("insertion left")
        terminal.type("\x7f")
        terminal.until("taken back")
        terminal.type("\rabc\r")
        terminal.until("noted")
        terminal.kill(signal.SIGKILL)
        terminal.wait()
    (rescue,) = (state / "etholog").glob("*.rescue")
    return rescue


def test_resume_takes_in_what_was_rescued(tmp_path: Path, shim: Path, etholog: Run) -> None:
    rescue = crashed_on_a_full_disk(tmp_path, shim)
    file = the_file(tmp_path)
    assert codes(tmp_path) == ["drumming"]
    state = str(tmp_path / "state")
    found = etholog("check", cwd=tmp_path, env={"XDG_STATE_HOME": state})
    assert found.returncode == 1
    assert f"{rescue} holds record" in found.stdout
    assert "which nobody took in" in found.stdout
    with Terminal(cwd=tmp_path, columns=160, XDG_STATE_HOME=state) as desk:
        desk.until("holds records 2 to 5")
        desk.type("q")
        assert desk.wait() == 0
    shown = etholog("show", rescue, cwd=tmp_path)
    assert "a rescue file" in shown.stdout
    assert "M-Basalt x F-Umbra" in shown.stdout
    with Terminal("resume", str(file), cwd=tmp_path, XDG_STATE_HOME=state) as terminal:
        terminal.until("nothing runs")
        terminal.end()
        assert terminal.wait() == 0
        assert "taken in from" in terminal.raw.decode()
    read = session.read(file)
    assert not read.findings
    assert [bout.code for bout in read.fold.bouts] == ["drumming", "clasp"]
    assert [said.text for said in read.fold.said if said.do == "note"] == ["abc"]
    assert [record["n"] for record in read.records] == list(range(1, len(read.records) + 1))
    assert not rescue.exists()
    assert rescue.with_name(rescue.name + ".taken").exists()
    assert not etholog("check", cwd=tmp_path, env={"XDG_STATE_HOME": state}).returncode


def test_numbers_that_were_given_twice_are_shown_and_asked_about(tmp_path: Path, shim: Path) -> None:
    rescue = crashed_on_a_full_disk(tmp_path, shim)
    file = the_file(tmp_path)
    aside = rescue.rename(tmp_path / "moved.rescue")
    state = str(tmp_path / "state")
    with Terminal("resume", str(file), cwd=tmp_path, XDG_STATE_HOME=state) as terminal:
        terminal.until("never handled")
        terminal.type("n\r")
        terminal.until("nothing runs")
        terminal.type("r")
        terminal.until("raises")
        terminal.kill(signal.SIGTERM)
        terminal.wait()
    with Terminal("resume", str(file), "--rescue", str(aside), cwd=tmp_path, XDG_STATE_HOME=state) as terminal:
        terminal.until("Enter adds the rescued ones")
        assert "clasp" in terminal.screen()
        terminal.type("\r")
        terminal.until("nothing runs")
        terminal.end()
        assert terminal.wait() == 0
    read = session.read(file)
    assert not read.findings
    kept = [bout.code for bout in read.fold.bouts]
    assert "clasp" in kept
    assert "insertion" not in kept  # it had been taken back
    assert [said.text for said in read.fold.said if said.do == "note"] == ["abc"]


def harm_by_edit(file: Path) -> None:
    data = bytearray(file.read_bytes())
    data[-30] ^= 1
    file.write_bytes(data)


@pytest.mark.parametrize(
    "harm",
    [
        harm_by_edit,
        lambda file: os.truncate(file, file.stat().st_size // 2),
        lambda file: file.rename(file.with_suffix(".away")),
        lambda file: os.truncate(file, 0),
    ],
    ids=["edited", "cut", "moved", "emptied"],
)
def test_a_file_that_another_program_changed(tmp_path: Path, etholog: Run, harm: Callable[[Path], None]) -> None:
    state = tmp_path / "state"
    with Terminal(*WATCH, cwd=tmp_path, rows=30, XDG_STATE_HOME=str(state)) as terminal:
        terminal.start()
        terminal.type("d")
        terminal.until("now: palpal drumming")
        file = the_file(tmp_path)
        harm(file)
        terminal.type("v")
        terminal.until("ALL marks")
        terminal.type("x")
        terminal.end()
        assert terminal.wait() == 1
        after = " ".join(terminal.screen().split())
    assert "everything is in" in after
    assert "kept in" not in after
    (rescue,) = (state / "etholog").glob("*.rescue")
    shown = etholog("show", rescue, cwd=tmp_path)
    assert shown.returncode == 0
    assert [record.get("code") for record in session.read(rescue).records][:3] == ["drumming", "clasp", "insertion"]
    whole = rescue.read_bytes()
    words = ("resume", str(file), "--rescue", str(rescue))
    environment = os.environ | {"XDG_STATE_HOME": str(state)}
    command = [sys.executable, "-m", "etholog", *words, "--plain"]
    done = subprocess.run(
        command, input="\n", capture_output=True, text=True, cwd=tmp_path, env=environment, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert file.read_bytes() == whole
    assert not journal.read(file).findings


def test_a_disk_that_stays_full_says_where_all_is_and_resume_brings_it_home(tmp_path: Path, shim: Path) -> None:
    control, state = tmp_path / "fault", tmp_path / "state"
    with Terminal(
        *WATCH, cwd=tmp_path, rows=30, LD_PRELOAD=str(shim), FAULT=str(control), XDG_STATE_HOME=str(state)
    ) as terminal:
        terminal.start()
        control.write_text("write")
        terminal.type("v")
        terminal.until("NOT SAVED")
        terminal.end("1")
        assert terminal.wait() == 1
        after = " ".join(terminal.screen().split())
    assert "closed and kept" not in terminal.raw.decode()
    assert "kept in" not in after
    assert "what it lacks is in" in after
    (rescue,) = (state / "etholog").glob("*.rescue")
    assert json.loads(rescue.read_bytes().splitlines()[0])["do"] == "begin"
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path, XDG_STATE_HOME=str(state)) as terminal:
        assert terminal.wait() == 0
        assert "kept in" in terminal.screen()
    read = session.read(the_file(tmp_path))
    assert read.fold.closed
    assert read.fold.outcome["ended"] == "he got out"


def test_a_rescue_while_the_disk_is_still_full_loses_nothing(tmp_path: Path, shim: Path) -> None:
    rescue = crashed_on_a_full_disk(tmp_path, shim)
    control, state, file = tmp_path / "fault", tmp_path / "state", the_file(tmp_path)
    environment = {"LD_PRELOAD": str(shim), "FAULT": str(control), "XDG_STATE_HOME": str(state)}
    for _ in range(2):
        with Terminal("resume", str(file), cwd=tmp_path, **environment) as terminal:
            assert terminal.wait() == 2
            assert "takes no more" in terminal.screen()
        assert rescue.exists()
    control.unlink()
    with Terminal("resume", str(file), cwd=tmp_path, XDG_STATE_HOME=str(state)) as terminal:
        terminal.until("nothing runs")
        terminal.end()
        assert terminal.wait() == 0
    read = session.read(file)
    assert not read.findings
    assert [bout.code for bout in read.fold.bouts] == ["drumming", "clasp"]
    assert [said.text for said in read.fold.said] == ["abc"]
    assert not list((state / "etholog").glob("*.rescue"))
