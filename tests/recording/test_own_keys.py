"""The screen's own keys stand in one table: what is kept from ethograms, shown and told follows from it."""

import re
from collections import Counter
from pathlib import Path

import pytest

from etholog.commands import help as pages
from etholog.ethogram.own_keys import OWN_KEYS, RESERVED, Act, Where, act_of, rows
from etholog.recording.keyboard import KEYBOARDS, Keyboard
from etholog.screens.legend import own_words
from tests.make import press, recorder, reread


@pytest.mark.parametrize("where", list(Where))
def test_no_key_is_said_twice_in_one_place(where: Where) -> None:
    said = Counter(key for own in OWN_KEYS if where in own.where for key in own.keys)
    assert not [key for key, times in said.items() if times > 1]


def test_every_act_has_a_key_and_every_printing_key_is_kept() -> None:
    assert {own.act for own in OWN_KEYS} == set(Act)
    assert set("1234567890-=?` \\") - RESERVED == set("4567")


@pytest.mark.parametrize("where", list(Where))
@pytest.mark.parametrize("name", ["", *KEYBOARDS])
def test_what_is_shown_is_what_holds_on_every_keyboard(where: Where, name: str) -> None:
    keyboard = Keyboard.of(name) if name else Keyboard()
    shown = "\n".join(own_words(where, keyboard))
    for own in OWN_KEYS:
        if where in own.where and own.short:
            assert own.short in shown
            for place in own.places:
                typed = keyboard.typed(place)
                assert act_of(keyboard.place(typed), where) is own.act
                assert ("Space" if typed == " " else typed) in shown


def test_the_page_on_keys_tells_each_of_them(capsys: pytest.CaptureFixture[str]) -> None:
    text = pages._page("keys")
    for where in Where:
        for called, _, long in rows(where):
            assert not long or f"| {called} | {long} |" in text
    assert not re.search(r"\{\w+\}", text)


def test_keys_that_hold_elsewhere_alone_do_nothing_here(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "d")
    for key in ("`", "j", "left", "f5", "\x01", "?"):
        live.take(key, 105)
    assert [record["do"] for record in reread(live).records if record["do"] != "mark"] == ["stray"]  # j
