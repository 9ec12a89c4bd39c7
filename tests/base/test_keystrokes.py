"""The stream of a terminal: keys come out, answers and unfinished pastes never do."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etholog.base.keystrokes import Keystrokes, Stroke

# What terminals answer, as the control sequences of xterm and ECMA-48 have it: colours (OSC 11), the version (DCS),
# the kind of terminal (DA), the cursor's place (CPR), a status, kitty's flags, an application's string (APC).
ANSWERS = (
    "\x1b]11;rgb:1e1e/1e1e/1e1e\x1b\\",
    "\x1b]4;1;rgb:cdcd/0000/0000\x07",
    "\x1bP>|XTerm(388)\x1b\\",
    "\x1bP1$r0 q\x1b\\",
    "\x1b[?62;22;52c",
    "\x1b[>41;388;0c",
    "\x1b[24;80R",
    "\x1b[?1;1R",
    "\x1b[0n",
    "\x1b[?27u",
    "\x1b[8;24;80t",
    "\x1b_Gi=31;OK\x1b\\",
)


def keys(stream: list[tuple[str, float]]) -> list[str]:
    found, reader = [], Keystrokes()
    for text, at in stream:
        found += [stroke.text for stroke in reader.feed(text, at)]
    found += [stroke.text for stroke in reader.tick(1e6)]
    return found


@given(
    st.lists(st.sampled_from(ANSWERS), min_size=1, max_size=4), st.data(), st.sampled_from(["", "d", "dv", "é", "\x7f"])
)
def test_an_answer_in_any_pieces_is_no_key_and_takes_none_with_it(
    answers: list[str], data: st.DataObject, typed: str
) -> None:
    stream, at = [], 10.0
    for answer in answers:
        cuts = sorted(data.draw(st.sets(st.integers(3, len(answer) - 1), max_size=4)))
        for start, end in zip([0, *cuts], [*cuts, len(answer)], strict=True):
            at += 0.02
            stream.append((answer[start:end], at))
        stream += [(key, at := at + 0.3) for key in typed]
    assert keys(stream) == list(typed) * len(answers)


@pytest.mark.parametrize("answer", [a for a in ANSWERS if a[1] != "["])
def test_an_answer_that_breaks_off_takes_no_key_with_it_and_its_rest_is_none(answer: str) -> None:
    half = len(answer) // 2
    assert keys([(answer[:half], 1.0), ("d", 3.0), ("v", 3.2), (answer[half:], 3.4), ("x", 4.0)]) == ["d", "v", "x"]


def test_a_paste_without_an_end_is_kept_as_one_and_the_next_keys_are_keys() -> None:
    reader = Keystrokes()
    assert not list(reader.feed("\x1b[200~dvx", 1.0))
    assert not list(reader.tick(1.5))
    assert list(reader.tick(2.5)) == [Stroke("paste", "dvx")]
    assert [stroke.kind for stroke in reader.feed("d", 3.0)] == ["key"]
    reader = Keystrokes()
    list(reader.feed("\x1b[200~dvx", 1.0))
    assert list(reader.feed("d", 1.4)) == [Stroke("paste", "dvx"), Stroke("key", "d")]


def test_a_paste_in_many_reads_is_one() -> None:
    reader = Keystrokes()
    found = [s for i in range(9) for s in reader.feed("\x1b[200~" * (i == 0) + "d" * 4000, 1 + i * 0.1)]
    found += reader.feed("\x1b[201~d", 2.0)
    assert found == [Stroke("paste", "d" * 36_000), Stroke("key", "d")]


def test_keys_of_all_kinds_come_whole() -> None:
    assert keys([("\x1b[A\x1b[1;5B\x1bOP\x1b[3~d\x1bx", 1.0)]) == [
        "\x1b[A",
        "\x1b[1;5B",
        "\x1bOP",
        "\x1b[3~",
        "d",
        "\x1bx",
    ]
    assert keys([("\x1b", 1.0), ("\x1b", 1.5)]) == ["\x1b", "\x1b"]  # twice the key Esc
    assert keys([("\x1b[", 1.0), ("3~", 1.05)]) == ["\x1b[3~"]


def test_kittys_protocol_tells_press_repeat_and_release() -> None:
    # https://sw.kovidgoyal.net/kitty/keyboard-protocol/#event-types: 1 press, 2 repeat, 3 release.
    reader = Keystrokes()
    stream = "\x1b[?27u\x1b[100;1:1;100u\x1b[100;1:2;100u\x1b[100;1:3u\x1b[118;;118u\x1b[1;1:2A"
    assert list(reader.feed(stream, 1.0)) == [
        Stroke("key", "\x1b[100;1;100u", False),
        Stroke("key", "\x1b[100;1;100u", True),
        Stroke("key", "\x1b[118;;118u", False),
        Stroke("key", "\x1b[1;1A", True),
    ]
    (guess,) = Keystrokes().feed("\x1b[118;;118u", 1.0)
    assert guess.held is None  # a terminal that never answered


@given(st.text(st.sampled_from("\x1b[]OP_;?:0123456789<>=$ ~uRcMIt\x07\\d\x9b\ufffd"), max_size=60))
def test_whatever_comes_it_ends_and_the_next_key_is_heard(text: str) -> None:
    reader = Keystrokes()
    list(reader.feed(text, 1.0))
    list(reader.tick(3.0))
    assert list(reader.feed("d", 60.0))[-1] == Stroke("key", "d")
