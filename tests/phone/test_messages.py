"""What a phone may say: exact to the member, and nothing that somebody sends raises anything."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etholog.phone import messages
from etholog.recording.taps import WORDS

UUID = "0b9b8c1e-3c57-4f0a-9d5e-111111111111"
GOOD: dict[str, dict[str, Any]] = {
    "hello": {"do": "hello", "token": "x", "phone": UUID, "epoch": UUID, "wall": 1.7e12},
    "woke": {"do": "woke", "epoch": UUID, "wall": 1.7e12},
    "shows": {"do": "shows", "n": 3, "epoch": UUID, "at": 12.5},
    "tap": {
        "do": "tap", "id": UUID, "session": "s", "epoch": UUID, "at": 1.0, "wall": 2.0, "clock": [1.0, 2.0, 3.5],
        "what": "insertion:left", "act": "", "of": None, "text": "",
    },
}  # fmt: skip
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@pytest.mark.parametrize("do", GOOD)
def test_what_the_page_says_is_let_in_and_one_member_more_or_less_is_not(do: str) -> None:
    good = GOOD[do]
    assert messages.read(json.dumps(good)) is not None
    assert messages.read(json.dumps(good | {"more": 1})) is None
    optional = {"clock", "act", "of", "text"}
    for name in good.keys() - optional:
        assert messages.read(json.dumps({other: value for other, value in good.items() if other != name})) is None, name


@pytest.mark.parametrize("act", [*WORDS, "", "undo undo", "undo\n", "close"])
def test_what_a_tap_may_do_is_what_the_recorder_knows(act: str) -> None:
    assert (messages.read(json.dumps(GOOD["tap"] | {"act": act})) is not None) == (act in ("", *WORDS))


@given(st.text() | st.binary().map(lambda some: some.decode("latin-1")))
def test_no_text_raises(text: str) -> None:
    assert messages.read(text) is None


@given(st.sampled_from(sorted(GOOD)), st.data())
def test_no_value_raises(do: str, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(GOOD[do])))
    messages.read(json.dumps(GOOD[do] | {name: data.draw(JSON)}))
