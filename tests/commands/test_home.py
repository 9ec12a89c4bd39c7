"""The home screen and the screen of cards, in a real terminal."""

import shutil
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from tests.screens.terminal import Terminal

pytestmark = pytest.mark.slow


def workspace(repository: Path, folder: Path) -> Path:
    shutil.copytree(repository / "examples" / "season", folder / "w")
    return folder / "w"


def test_home_shows_the_desk_and_runs_what_a_key_stands_for(repository: Path, tmp_path: Path) -> None:
    with Terminal(cwd=workspace(repository, tmp_path), columns=100, rows=30) as terminal:
        shown = terminal.until("LAST SESSIONS")
        for words in ("DUE", "look for a sac", "2026-03-30 M-Ochre x F-Moss", "k  check every file", "etholog check"):
            assert words in shown
        terminal.type("k")
        terminal.until("45 files read, no findings")
        terminal.until("back to the home screen")
        terminal.type("\r")
        terminal.until("LAST SESSIONS")
        terminal.type("q")
        assert terminal.wait() == 0


def test_home_in_an_empty_folder_says_how_to_begin(tmp_path: Path) -> None:
    with Terminal(cwd=tmp_path) as terminal:
        assert "none yet: press w" in terminal.until("LAST SESSIONS")
        terminal.type("q")
        assert terminal.wait() == 0


def test_without_a_terminal_it_is_the_help(etholog: Callable[..., CompletedProcess[str]]) -> None:
    done = etholog()
    assert done.returncode == 0
    assert done.stdout.startswith("usage: etholog")


def test_cards_are_browsed(repository: Path, tmp_path: Path) -> None:
    with Terminal("card", "F-Umbra", "--browse", cwd=workspace(repository, tmp_path), columns=100, rows=30) as terminal:
        terminal.until("F-Umbra, female, Brachypelma smithi")
        terminal.type("\x1b[B")
        terminal.until("bought as: Brachypelma albopilosum")
        terminal.type("q")
        assert terminal.wait() == 0
