"""What the screen says, at 80 and at 60 columns, and that every word of it is whole."""

import sys
from pathlib import Path

import pytest

from etholog import ethogram, session
from etholog.base.shipped import folder as shipped
from etholog.ethogram import Hand
from etholog.recording.keyboard import Keyboard
from etholog.screens.legend import definitions
from tests.screens.terminal import WATCH, Terminal, the_file

pytestmark = [pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys there"), pytest.mark.slow]


@pytest.mark.parametrize("columns", [60, 80])
def test_what_ends_by_itself_is_said_and_messages_are_whole(tmp_path: Path, columns: int) -> None:
    with Terminal(*WATCH, cwd=tmp_path, columns=columns) as terminal:
        said = lambda words: " ".join(terminal.until(words).split())  # noqa: E731
        terminal.start()
        terminal.type("vx")
        terminal.until("insertion left began")
        terminal.type("h")
        assert "clasp, insertion ended with it" in said("with it")
        terminal.type("d")
        terminal.until("palpal drumming began")
        terminal.type("\x01")  # a slip with Ctrl: nothing that undo could take back
        assert "means nothing here" in said("means nothing here")
        terminal.type("\x7f")
        terminal.until("taken back: palpal drumming")
        terminal.type("-")
        assert "- ends it" in said("NOBODY WATCHES") or "or -, ends it" in terminal.screen()
        terminal.type("\r")
        terminal.until("Enter keeps, Esc leaves")
        terminal.type("\x1b")
        terminal.until_gone("Enter keeps")
        terminal.type(" ")
        assert "(` folds this away)" in said("` folds")
        terminal.type("`")
        terminal.until("folded away")
        terminal.until_gone("YOU FIRST")
        terminal.type("\\")
        terminal.until("YOU FIRST")
        terminal.type("`")
        terminal.until_gone("YOU FIRST")
        terminal.type("?")
        terminal.until("take back")
        terminal.type("?")
        assert "His last leg leaves the cup" in said("introduced (keeper, event)")
        terminal.end("1")
        assert terminal.wait() == 0
    read = session.read(the_file(tmp_path))
    assert [record["do"] for record in read.records].count("rescue") == 1
    assert not [record for record in read.records if record["do"] == "stray"]


def test_definitions_are_read_before_the_clock_and_a_fault_takes_the_cursor_there(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.until("? the behaviours")
        terminal.type("?")
        terminal.until("introduced (keeper, event): His last leg")
        terminal.type("?")
        terminal.until("poison centre")
        terminal.start()
        terminal.type("\x1b")
        terminal.until("END?")
        terminal.type("\r")
        terminal.until("How did it end?")
        terminal.type("\r\r\r\ryes\x1b[A\x1b[A\x1b[Aperhaps\x13")
        terminal.until("Is he whole? y or n, or nothing")
        terminal.type("\x7f" * 7 + "n\x13")
        assert terminal.wait() == 0
    assert session.read(the_file(tmp_path)).fold.outcome == {"male_whole": False, "again": "yes"}


@pytest.mark.parametrize(("words", "keys"), [((), "e 2"), (("--hand", "right"), "i 9"), (("--map", "azerty"), "e é")])
def test_a_definition_names_the_keys_of_this_hand_and_keyboard(words: tuple[str, ...], keys: str) -> None:
    """`keys`: the place of e, and of i for the right hand, then that of 2 or 9 (QWERTY; AZERTY has é on 2)."""
    hand: Hand = "right" if "right" in words else "left"
    keyboard = Keyboard.of("azerty" if "azerty" in words else "")
    kept = ethogram.read(shipped("ethograms") / "terrestrial.toml")
    told = definitions(kept, keyboard.layout(kept.layout(hand)), keyboard, hand)
    assert any(line.startswith(f"{keys}  ") for line in told), told


def test_esc_does_not_confirm_what_was_only_asked_about(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("\x1b")
        terminal.until("END?")
        terminal.type("\r")
        terminal.until("How did it end?")
        terminal.type("1\r\r\r\r\r2020-01-01\r")
        terminal.until("The same key again keeps it.")
        terminal.type("\x1b")
        assert terminal.wait() == 0
        assert "answers were begun" in " ".join(terminal.screen().split())
    assert session.read(the_file(tmp_path)).fold.outcome == {"ended": "he got out"}
    with Terminal("resume", str(the_file(tmp_path)), cwd=tmp_path) as terminal:
        terminal.until("2020-01-01")
        terminal.type("\x13")
        terminal.until("The same key again keeps it.")
        terminal.type("\x13")
        assert terminal.wait() == 0
    assert session.read(the_file(tmp_path)).fold.outcome == {"ended": "he got out", "again_when": "2020-01-01"}


@pytest.mark.parametrize("typed", ["-90", "-90 s", "-1:30", "- 1.5 min"])
def test_a_mark_is_moved_in_the_words_that_people_use(tmp_path: Path, typed: str) -> None:
    from tests.make import recorder, reread

    live = recorder(tmp_path)
    live.take("d", 200.0)
    assert live.line(typed, 201.0).text == "moved to 0:00:10: palpal drumming began 0:00:10"
    assert [bout.onset for bout in reread(live).fold.bouts] == [10_000]
