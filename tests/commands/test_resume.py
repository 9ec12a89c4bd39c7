"""What `etholog resume` offers of keys and lines that a break left."""

from pathlib import Path

import pytest

from etholog.commands.resume import _offered_back
from etholog.recording.arrivals import Arrivals
from etholog.recording.begun import Begun
from etholog.recording.keyboard import QWERTY_KEYBOARD
from tests.make import press, recorder, reread


@pytest.mark.parametrize(
    ("keys", "handled", "typed", "offered", "stays"),
    [
        ("\rabc\r", 4, "abc", "\rabc\r", ""),  # ended, and the end never handled: it must not be kept twice
        ("\rabc\x7f", 4, "abc", "\rabc\x7f", ""),  # the keys know more of it than what was kept of the line
        ("\ra\x7f", 2, "a", "", ""),  # all of it was taken away again
        ("\rabc", 4, "abc", "", "abc"),  # the line itself is offered
    ],
)
def test_a_line_is_offered_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, keys: str, handled: int, typed: str, offered: str, stays: str
) -> None:
    on = recorder(tmp_path)
    press(on, "d")
    known = reread(on)
    arrivals, begun = Arrivals(known.path), Begun.of_session(known.path)
    names = {"\r": "enter", "\x7f": "backspace"}
    in_line = False
    for place, key in enumerate(keys):
        number = arrivals.note(names.get(key, key), key, 5000 + 300 * place)
        if place < handled:
            arrivals.take_up(number, known.records[-1]["n"] + 1, in_line)
        in_line ^= key == "\r"
    begun.keep("note", {"note": typed})
    monkeypatch.setattr("builtins.input", lambda _: "")
    taken = _offered_back(known, "left", QWERTY_KEYBOARD)
    assert "".join(one.character for one in taken) == offered
    assert begun.typed("note").get("note", "") == stays
