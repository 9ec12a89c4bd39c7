"""A disk that is full while somebody writes on a card: the entry comes back onto it, and none gets lost or doubled."""

import os
import sys
from pathlib import Path
from subprocess import CompletedProcess, run

import pytest

from etholog.animals import card
from tests.screens.terminal import Terminal

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform != "linux", reason="these ways to fail are Linux's"),
]


def words(path: Path) -> list[str]:
    return [entry.words for entry in card.read(path).entries]


@pytest.mark.parametrize("fault", ["write", "full"])
def test_an_entry_that_the_disk_did_not_take_comes_back(tmp_path: Path, shim: Path, fault: str) -> None:
    control, file = tmp_path / "fault", Path("animals") / "F-Umbra.jsonl"
    environment = {"LD_PRELOAD": str(shim), "FAULT": str(control), "XDG_STATE_HOME": str(tmp_path / "state")}

    def etholog(*said: str) -> CompletedProcess[str]:
        call = [sys.executable, "-m", "etholog", *said]
        return run(
            call, cwd=tmp_path, env=os.environ | environment, capture_output=True, text=True, input="", check=False
        )

    assert etholog("card", "F-Umbra", "meal", "small", "--on", "2026-05-03").returncode == 0
    control.write_text(fault)
    for size in ("large", "middling"):  # twice in a row, so one number is given twice
        failed = etholog("card", "F-Umbra", "meal", size, "--on", "2026-05-04")
        assert failed.returncode == 2
        assert "NOT SAVED" in failed.stderr
        assert f"etholog resume {file}" in failed.stderr
    control.unlink()
    assert words(tmp_path / file) == ["small"]
    checked = etholog("check")
    assert checked.returncode == 1
    assert checked.stdout.count("which nobody took in") == 2
    with Terminal("resume", str(file), cwd=tmp_path, XDG_STATE_HOME=str(tmp_path / "state")) as terminal:
        terminal.until("Enter adds the rescued ones at the end")
        terminal.type("\r")
        assert terminal.wait() == 0
    assert sorted(words(tmp_path / file)) == ["large", "middling", "small"]
    assert "which nobody took in" not in etholog("check").stdout
    assert etholog("card", "F-Umbra", "meal", "refused", "--on", "2026-05-05").returncode == 0
    assert len(words(tmp_path / file)) == 4


def test_a_card_is_put_right_without_a_terminal(tmp_path: Path, shim: Path) -> None:
    control, file = tmp_path / "fault", tmp_path / "animals" / "F-Umbra.jsonl"
    environment = os.environ | {
        "LD_PRELOAD": str(shim),
        "FAULT": str(control),
        "XDG_STATE_HOME": str(tmp_path / "state"),
    }
    for size, code in (("small", 0), ("large", 2)):
        call = [sys.executable, "-m", "etholog", "card", "F-Umbra", "meal", size, "--on", "2026-05-03"]
        assert run(call, cwd=tmp_path, env=environment, capture_output=True, check=False).returncode == code
        control.write_text("write")
    control.unlink()
    call = [sys.executable, "-m", "etholog", "resume", str(file)]
    done = run(call, cwd=tmp_path, env=environment, capture_output=True, text=True, input="", check=False)
    assert (done.returncode, words(file)) == (0, ["small", "large"]), done.stderr
