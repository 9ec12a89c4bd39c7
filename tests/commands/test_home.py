"""The home screen and the screen of cards, in a real terminal."""

import shutil
import signal
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import animals, session
from tests.make import write_card
from tests.screens.terminal import WATCH, Terminal

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
        terminal.until("back to the desk")
        terminal.type("\r")
        terminal.until("LAST SESSIONS")
        terminal.type("q")
        assert terminal.wait() == 0


def test_from_an_empty_folder_to_a_fed_herd_by_keys_alone(tmp_path: Path) -> None:
    with Terminal(cwd=tmp_path, columns=60, rows=20) as terminal:
        assert "watch a pairing" not in terminal.until("make a workspace here")
        terminal.type("n")
        terminal.until("back to the desk")
        terminal.type("\r")
        terminal.until("no animals yet: press a")
        for number in range(10):
            terminal.type("a")
            terminal.until("Ctrl-S writes it")
            terminal.type(f"F-{number}\r2\rBrachypelma smithi\x13")
            terminal.until(f"F-{number}: sex female, species Brachypelma smithi")
        began = time.monotonic()
        terminal.type("f")
        terminal.until("Feeding round")
        terminal.type("ssssmmllr")
        terminal.until("F-8: refused")
        terminal.type("\x7f")
        terminal.until("taken back: F-8")
        terminal.type("rs")
        terminal.until("F-9: small")
        terminal.type("\x1b")
        terminal.until("10 meals written")
        seconds = time.monotonic() - began
        print(f"\na feeding round of ten: 12 keys, 2 more for a slip, {seconds:.0f} s with this machine's fingers")
        terminal.type("q")
        assert terminal.wait() == 0
    herd = animals.read(tmp_path)
    meals = [herd.cards[f"F-{number}"].all("meal") for number in range(10)]
    assert [[meal.words for meal in one] for one in meals] == [
        [words] for words in ["small"] * 4 + ["middling"] * 2 + ["large"] * 2 + ["refused", "small"]
    ]


def test_a_day_that_is_none_takes_the_cursor_there_and_two_animals_are_chosen(tmp_path: Path) -> None:
    for name, sex in (("M-Flint", "male"), ("F-Umbra", "female"), ("F-Alder", "female")):
        write_card(tmp_path, name, ("sex", "2026-01-01", sex))
    with Terminal(cwd=tmp_path) as terminal:
        terminal.until("may these two pair?")
        terminal.type("a")
        terminal.until("Ctrl-S writes it")
        terminal.type("M-Flint\r\r\r\r2026-13\r\r\rwell\x13")
        terminal.until("is not a date")
        terminal.type("\x7f\x7f02\x13")  # the cursor stands where something is wrong
        terminal.until("M-Flint: moult, note well")
        terminal.type("y")
        terminal.until("Which male?")
        terminal.type("f\r")
        terminal.until("M-Flint, and which female?")
        terminal.type("u\r")
        terminal.until("M-Flint to F-Umbra")
        terminal.kill(signal.SIGKILL)
        terminal.wait()


def test_a_session_that_was_broken_off_comes_first_and_goes_on_as_it_was_begun(tmp_path: Path) -> None:
    (tmp_path / "animals").mkdir()
    (tmp_path / "etholog.toml").write_text('observer = "Ana"\nhand = "left"\ncolour = "blue"\n', encoding="utf-8")
    with Terminal(*WATCH, "--hand", "right", cwd=tmp_path) as terminal:
        terminal.start()
        terminal.kill(signal.SIGKILL)
        terminal.wait()
    with Terminal(cwd=tmp_path) as terminal:
        assert "g goes on with M-Basalt x F-Umbra" in terminal.until("LAST SESSIONS").splitlines()[1]
        terminal.type("g")
        terminal.until("k  palpal drumming")  # the right hand's key
        terminal.type("k")
        terminal.until("palpal drumming began")
        terminal.end("2")
        terminal.until("back to the desk")
        assert b"line 3: colour = 'blue' is left out" in terminal.raw
        terminal.type("\r")
        terminal.until_gone("g goes on")
        terminal.type("q")
        assert terminal.wait() == 0
    (file,) = (tmp_path / "sessions").iterdir()
    assert session.read(file).header["observer"] == "Ana"


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


@pytest.mark.parametrize("keys", ["", "f", "a", "y", "x"], ids=["desk", "feeding", "card", "choosing", "demo"])
def test_a_signal_gives_the_terminal_back_wherever_the_desk_is(keys: str, tmp_path: Path) -> None:
    for name, sex in (("M-Flint", "male"), ("F-Umbra", "female")):
        write_card(tmp_path, name, ("sex", "2026-01-01", sex))
    words = {"": "", "f": "Feeding round", "a": "Ctrl-S writes it", "y": "Which male?", "x": "any key skips"}[keys]
    with Terminal(cwd=tmp_path, TMPDIR=str(tmp_path)) as terminal:
        terminal.until("LAST SESSIONS")
        if keys:
            terminal.type(keys)
            terminal.until(words)
        terminal.kill(signal.SIGTERM)
        assert terminal.wait() == 128 + signal.SIGTERM
        # xterm's control sequences: the alternate screen is left last
        assert terminal.raw.rfind(b"\x1b[?1049l") > terminal.raw.rfind(b"\x1b[?1049h")


def test_a_signal_ends_the_browsing_of_cards(tmp_path: Path) -> None:
    write_card(tmp_path, "M-Flint", ("sex", "2026-01-01", "male"))
    with Terminal("card", "--browse", cwd=tmp_path) as terminal:
        terminal.until("M-Flint")
        terminal.kill(signal.SIGTERM)
        assert terminal.wait() == 128 + signal.SIGTERM
        assert terminal.raw.rfind(b"\x1b[?1049l") > terminal.raw.rfind(b"\x1b[?1049h")


def test_the_plan_is_changed_pair_by_pair_and_computed_anew(repository: Path, tmp_path: Path) -> None:
    before = [(date.today() - timedelta(days=days)).isoformat() for days in (40, 20)]
    for name, sex in (("M-A", "male"), ("M-B", "male"), ("F-C", "female")):
        moult = ("moult", before[0], "last") if sex == "male" else ("moult", before[0])
        write_card(tmp_path, name, ("sex", "2020", sex), ("species", "2020", "Brachypelma smithi"), moult)
        if sex == "male":
            write_card(tmp_path, name, ("sperm_web", before[1]))
    (tmp_path / "sessions").mkdir()
    with Terminal(cwd=tmp_path, columns=100, rows=30) as terminal:
        terminal.until("plan the pairings")
        terminal.type("p")
        terminal.until("> M-A x F-C")
        terminal.type("x")
        shown = terminal.until("M-A x F-C: forbidden; computed anew")
        assert "> M-B x F-C" in shown
        terminal.type("\x7f")
        assert "> M-A x F-C" in terminal.until("taken back; computed anew")
        terminal.type("n")
        terminal.until("instead of M-A: M-B; computed anew")
        terminal.type("\x1b")
        terminal.until("to have this plan again: etholog plan --species 'Brachypelma smithi'")
        terminal.type("q")
        assert terminal.wait() == 0
