"""What a terminal may send, through a real one: keys are marks, nothing else is, and nothing ends the hearing."""

import sys
from pathlib import Path

import pytest

from etholog import session
from tests.base.test_keystrokes import ANSWERS
from tests.screens.terminal import WATCH, Terminal, codes, the_file

pytestmark = [pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys there"), pytest.mark.slow]


def strays(folder: Path) -> list[str]:
    return [record["key"] for record in session.read(the_file(folder)).records if record["do"] == "stray"]


@pytest.mark.parametrize(
    ("sent", "kept"),
    [
        (b"\xe9", ["\ufffd"]),  # a Latin-1 letter
        (b"\xe4", ["\ufffd"]),  # Alt as the eighth bit
        (b"\xc3", ["\ufffd"]),  # half a letter
        (b"\x1b[1:1;1:1;1:1u", []),
        (b"\x1b[99999999999u", []),
        (b"\x1b[;;;;;;u", []),
        (b"\x1b[100;1:1x", []),
    ],
)
def test_what_is_no_utf_8_and_what_cannot_be_parsed_ends_nothing(tmp_path: Path, sent: bytes, kept: list[str]) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        for key, told in ((b"d", "palpal drumming began"), (b"v", "clasp began")):
            terminal.type(sent)
            terminal.type(key)
            terminal.until(told)
        terminal.end()
        assert terminal.wait() == 0
    assert codes(tmp_path) == ["drumming", "clasp"]
    assert strays(tmp_path) == kept * 2


def test_what_a_terminal_answers_late_is_no_mark(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        for answer in ANSWERS:
            terminal.type(answer[:5])
            terminal.read(0.05)
            terminal.type(answer[5:])
        terminal.type("\x1b[O\x1b[I")
        terminal.type("d")
        terminal.until("palpal drumming began")
        terminal.type(ANSWERS[0][:9])  # one that never ends
        terminal.read(0.8)
        terminal.type("v")
        terminal.until("clasp began")
        terminal.end()
        assert terminal.wait() == 0
    records = session.read(the_file(tmp_path)).records
    assert [record["do"] for record in records if record["do"] != "prompt"][:2] == ["mark", "mark"]
    assert codes(tmp_path) == ["drumming", "clasp"]
    assert not strays(tmp_path)


def test_a_paste_without_an_end_is_a_note_and_no_mark(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        terminal.type("\x1b[200~dvxdvx")
        terminal.until("pasted text makes no marks")
        terminal.type("g")
        terminal.until("leg tapping began")
        terminal.end()
        assert terminal.wait() == 0
    assert codes(tmp_path) == ["leg_tapping"]
    assert [said.text for said in session.read(the_file(tmp_path)).fold.said if said.do == "note"] == ["pasted: dvxdvx"]


def test_a_terminal_that_tells_repeats_is_asked_and_believed(tmp_path: Path) -> None:
    with Terminal(*WATCH, cwd=tmp_path) as terminal:
        terminal.start()
        assert b"\x1b[?u" in terminal.raw
        terminal.type("\x1b[?27u")
        terminal.type("\x1b[98;1:1;98u\x1b[98;1:3u" * 2)  # b, twice within a breath
        terminal.type("\x1b[100;1:1;100u" + "\x1b[100;1:2;100u" * 20 + "\x1b[100;1:3u")
        terminal.until("held down")
        terminal.type("\x1b[13;1:1u\x1b[100;1:1;100u\x1b[100;1:2;100u\x1b[100;1:2;100u\x1b[13;1:1u")
        terminal.until("noted")
        terminal.type("\x1b[27;1:1u\x1b[27;1:3u")
        terminal.until("END?")
        terminal.type("\x1b[13;1:1u\x1b[13;1:3u")
        terminal.until("How did it end?")
        terminal.type("\x1b[115;5:1u")  # Ctrl-S
        assert terminal.wait() == 0
        assert terminal.raw.rindex(b"\x1b[<u") > terminal.raw.rindex(b"\x1b[?u")  # and left as it was
    assert codes(tmp_path) == ["touch", "touch", "drumming"]
    assert [said.text for said in session.read(the_file(tmp_path)).fold.said if said.do == "note"] == ["ddd"]


# Python runs it when it starts: keys that are noted, or handed on, fail now and then, or always.
FAILS = """
from textual.driver import Driver
from etholog.recording.arrivals import Arrivals
def note(self, *_):
    raise RuntimeError("noting fails")
Arrivals.note = note
handed_on = Driver.process_message
def process_message(self, message):
    if getattr(message, "character", "") == "w":
        raise RuntimeError("this key fails")
    handed_on(self, message)
Driver.process_message = process_message
"""


def test_what_fails_in_the_input_costs_one_key_and_at_worst_ends_in_a_gap(tmp_path: Path) -> None:
    (tmp_path / "sitecustomize.py").write_text(FAILS)
    with Terminal(*WATCH, cwd=tmp_path, PYTHONPATH=str(tmp_path)) as terminal:
        terminal.start()
        terminal.type("dwv")
        terminal.until("clasp began")
        terminal.type("w" * 30)
        assert terminal.wait() == 1
        assert "etholog resume" in terminal.screen()
        assert b"\x1b[?1049l" in terminal.raw
    read = session.read(the_file(tmp_path))
    assert codes(tmp_path) == ["drumming", "clasp"]
    assert not read.fold.closed
    assert [gap.why for gap in read.fold.gaps] == ["etholog was ended (the input failed, RuntimeError)"]
