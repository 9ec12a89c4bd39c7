"""Keyboards, against libxkbcommon and xkeyboard-config, which tell every Linux desktop what stands on which key."""

import ctypes
import os
from pathlib import Path

import pytest

from etholog.base.refusal import Refusal
from etholog.recording.keyboard import KEYBOARDS, QWERTY, Keyboard
from tests.make import press, recorder, reread

XKB = {
    "azerty": ("fr", ""),
    "colemak": ("us", "colemak"),
    "dvorak": ("us", "dvorak"),
    "jcuken": ("ru", ""),
    "qwertz": ("de", ""),
}
# Linux key codes plus 8, row by row (linux/input-event-codes.h: KEY_GRAVE 41, KEY_1 2, KEY_Q 16, KEY_BACKSLASH 43 ...).
CODES = [49, *range(10, 22), *range(24, 36), 51, *range(38, 49), *range(52, 62)]


class Names(ctypes.Structure):
    _fields_ = [(name, ctypes.c_char_p) for name in ("rules", "model", "layout", "variant", "options")]


def on_the_keys(layout: str, variant: str) -> list[str]:
    """Ask libxkbcommon what each key gives without Shift; '' for a dead key."""
    try:
        xkb = ctypes.CDLL("libxkbcommon.so.0")
    except OSError:
        if os.environ.get("CI"):
            pytest.fail("libxkbcommon is missing, and CI must have it")
        pytest.skip("libxkbcommon is not installed")
    for name in ("xkb_context_new", "xkb_keymap_new_from_names", "xkb_state_new"):
        getattr(xkb, name).restype = ctypes.c_void_p
    context = ctypes.c_void_p(xkb.xkb_context_new(0))
    names = Names(b"evdev", b"pc105", layout.encode(), variant.encode(), b"")
    keymap = xkb.xkb_keymap_new_from_names(context, ctypes.byref(names), 0)
    if not keymap:
        pytest.skip("xkeyboard-config is not installed")
    state = ctypes.c_void_p(xkb.xkb_state_new(ctypes.c_void_p(keymap)))
    found = []
    for code in CODES:
        text = ctypes.create_string_buffer(16)
        xkb.xkb_state_key_get_utf8(state, code, text, 16)
        found.append(text.value.decode())
    return found


def test_qwerty_itself() -> None:
    assert "".join(on_the_keys("us", "")) == QWERTY


@pytest.mark.parametrize("name", KEYBOARDS)
def test_a_keyboard_has_on_its_keys_what_the_desktop_says(name: str) -> None:
    theirs = on_the_keys(*XKB[name])
    assert [key if key in theirs else "" for key in KEYBOARDS[name]] == theirs


@pytest.mark.parametrize("name", KEYBOARDS)
@pytest.mark.parametrize("hand", ["left", "right"])
def test_no_two_behaviours_fall_on_one_key(name: str, hand: str, tmp_path: Path) -> None:
    live = recorder(tmp_path, hand)  # type: ignore[arg-type]
    plain = live.ethogram.layout(live.hand)
    assert len(Keyboard.of(name).layout(plain)) == len(plain)
    live.journal.close()


def test_the_same_places_make_the_same_marks(tmp_path: Path) -> None:
    qwerty = recorder(tmp_path / "qwerty")
    press(qwerty, *"dvxc3r2-q=")
    azerty = recorder(tmp_path / "azerty", keyboard=Keyboard.of("azerty"))
    press(azerty, *'dvxc"ré)a=')
    made = [
        [(r["do"], r.get("code"), r.get("qualifier"), r.get("of")) for r in reread(one).records]
        for one in (qwerty, azerty)
    ]
    assert made[0] == made[1]
    assert azerty.layout["a"].behaviour.code == "female_hidden"


def test_pairs_of_ones_own_and_what_is_none() -> None:
    own = Keyboard.of("yz zy ;/ ö;")
    assert (own.place("y"), own.place("z"), own.place(";"), own.place("q")) == ("z", "y", "/", "q")
    assert (own.typed("z"), own.typed(";"), own.typed("q")) == ("y", "ö", "q")
    assert own.place("Y") == "z"
    for nonsense in ("qwerty2", "abc", "aq bq", "aq aw", "yz"):
        with pytest.raises(Refusal):
            Keyboard.of(nonsense)
