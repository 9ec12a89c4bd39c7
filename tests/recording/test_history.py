"""What Backspace takes back, told from the records: the same as the recorder knew that wrote them."""

import random
from pathlib import Path

import pytest

from etholog.base import system
from etholog.recording import opening
from etholog.recording.arrivals import Arrival
from etholog.recording.history import history
from etholog.session.folding import fold
from tests.make import press, recorder, reread


@pytest.mark.parametrize("seed", range(40))
def test_the_records_tell_what_the_recorder_knew(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    on = recorder(tmp_path)
    keys, at = list(on.layout), 101.0
    for _ in range(60):
        at += chance.choice((0.3, 1.2, 3.0))
        what = chance.choices(("mark", "correct", "line"), (60, 36, 4))[0]
        if what == "line":
            on.line(chance.choice(("a note", "-12", "+3")), at)
        else:
            on.take(
                chance.choice(keys)
                if what == "mark"
                else chance.choice("123-]h")
                if chance.random() < 0.6
                else chance.choice(("backspace", "delete")),
                at,
            )
        assert history(on.live.records) == (on._done, on._undone)


def test_two_breaks_in_a_time_that_nobody_watched_leave_backspace_what_was_keyed(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, "d")
    on.gap(150.0)
    for _ in range(2):
        on, _ = opening.resume(reread(on).path, "left", system.now(), system.wall_now())
    assert on.undo_text.startswith("gap")
    on.undo()
    assert "palpal drumming" in on.undo_text
    assert reread(on).fold.gaps


def test_a_long_gap_that_was_keyed_ends_by_a_key_and_backspace_takes_that_back_after_a_break(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, "d")
    on.gap(110.0)
    on.back(300.0)
    assert history(on.live.records) == (on._done, on._undone)
    again, _ = opening.resume(reread(on).path, "left", system.now(), system.wall_now())
    assert again.undo_text == on.undo_text


def test_after_a_break_backspace_takes_back_what_was_done_before_it(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, "d", "v")
    on.gap(150.0, "etholog was ended (SIGTERM)")
    known = reread(on)
    # The keys of the freeze: Backspace, which was meant for the clasp.
    missed = [Arrival("backspace", "\x7f", 20_000)]
    again, _ = opening.resume(known.path, "left", system.now(), system.wall_now(), missed)
    assert [bout.code for bout in fold(again.ethogram, again.live.records).bouts] == ["drumming"]
    again.undo()
    read = reread(again).fold
    assert not read.bouts
    assert read.gaps
