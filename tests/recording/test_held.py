"""A key held down is one press at every usual rate; two presses are two."""

from pathlib import Path

import pytest

from tests.make import recorder, reread

# Delays and rates of consoles and desktops, from memory: 10.9 a second after 250 ms on Linux as kbdrate(8) says;
# X11 25 after 660 ms, as xset(1) says; others 11 to 33 after 225 to 1000 ms.
RATES = [(0.5, 30), (0.25, 11), (0.4, 11), (0.25, 10.9), (0.66, 25), (1.0, 30), (0.225, 33), (0.5, 20), (0.25, 15)]


@pytest.mark.parametrize(("delay", "rate"), RATES)
@pytest.mark.parametrize("late", [0.0, 0.012])  # a busy machine stamps every second one so much later
@pytest.mark.parametrize("key", ["d", "b", "x"])
def test_a_held_key_is_one_mark(tmp_path: Path, delay: float, rate: float, late: float, key: str) -> None:
    live = recorder(tmp_path)
    live.take("v", 100.5)
    live.take(key, 101.0)
    for i in range(20):
        live.take(key, 101.0 + delay + i / rate + late * (i % 2))
    assert live.live.marks == 2
    live.take(key, 110.0)
    live.undo()
    live.undo()
    assert reread(live).fold.marks == 1  # what came of the repeats is no step of undo


@pytest.mark.parametrize("apart", [0.1, 0.15, 0.2, 0.3, 0.5, 1.0])
def test_two_presses_are_two(tmp_path: Path, apart: float) -> None:
    live = recorder(tmp_path)
    live.take("d", 101.0)
    live.take("d", 101.0 + apart)
    assert reread(live).fold.marks == 2


@pytest.mark.parametrize("apart", [0.15, 0.2, 0.3])
def test_many_presses_as_fast_as_people_tap_are_all_there(tmp_path: Path, apart: float) -> None:
    live = recorder(tmp_path)
    for i in range(10):
        live.take("b", 101.0 + i * apart)
    assert reread(live).fold.marks == 10


@pytest.mark.parametrize(("key", "marks"), [("backspace", 2), ("1", 3), ("3", 3), ("-", 3), (" ", 3), ("2", 3)])
def test_a_key_of_the_screens_own_that_is_held_does_its_work_once(tmp_path: Path, key: str, marks: int) -> None:
    once, held = recorder(tmp_path / "once"), recorder(tmp_path / "held")
    for live in (once, held):
        for at, mark in ((101.0, "v"), (103.0, "x"), (105.0, "d")):
            live.take(mark, at)
        live.take(key, 107.0)
    for i in range(20):
        held.take(key, 107.25 + i / 11)
    assert once.live.folding.running == held.live.folding.running
    assert once.live.marks == held.live.marks == marks
    for live in (once, held):
        live.undo()
        live.close(120)
    one, other = reread(once).fold, reread(held).fold
    assert (one.bouts, one.gaps) == (other.bouts, other.gaps)


def test_where_the_terminal_tells_nothing_is_guessed(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    live.take("b", 101.0, False)
    live.take("b", 101.05, False)
    live.take("b", 101.5, True)
    live.take("b", 102.0, False)
    assert reread(live).fold.marks == 3
