"""Keys that arrived and were never handled: known by count, and taken in as the strip would have taken them."""

from pathlib import Path

from etholog import session
from etholog.base import system
from etholog.recording import opening
from etholog.recording.arrivals import Arrival, Arrivals
from etholog.recording.keyboard import QWERTY_KEYBOARD
from etholog.recording.replay import rehearse
from etholog.session.folding import fold
from tests.make import press, recorder, reread

NAMES = {"\r": "enter", "\x7f": "backspace", "\x1b": "escape"}


def arrive(arrivals: Arrivals, keys: str, start: int = 1000) -> list[int]:
    return [arrivals.note(NAMES.get(key, key), key, start + 300 * at) for at, key in enumerate(keys)]


def unhandled(arrivals: Arrivals, next_record: int) -> str:
    names = {name: key for key, name in NAMES.items()}
    return "".join(names.get(one.key, one.key) for one in arrivals.unhandled(next_record, 0))


def test_what_was_handled_is_counted_and_not_timed(tmp_path: Path) -> None:
    arrivals = Arrivals(tmp_path / "a.jsonl")
    numbers = arrive(arrivals, "dvx")
    for record, number in enumerate(numbers[:2], 1):
        arrivals.take_up(number, record, False)
    assert unhandled(arrivals, 3) == "x"
    assert unhandled(arrivals, 2) == "vx"  # v was taken up, and its record is not there
    assert unhandled(arrivals, 1) == "dvx"  # a disk that failed took the record of d too
    arrivals.settle(3)
    assert unhandled(arrivals, 3) == ""
    arrive(Arrivals(tmp_path / "a.jsonl"), "t")
    assert unhandled(arrivals, 3) == "t"


def test_a_line_that_was_being_typed_is_told_from_its_beginning(tmp_path: Path) -> None:
    arrivals = Arrivals(tmp_path / "a.jsonl")
    numbers = arrive(arrivals, "d\rabc\rv")
    arrivals.take_up(numbers[0], 1, False)
    arrivals.take_up(numbers[1], 2, False)
    assert unhandled(arrivals, 2) == "\rabc\rv"
    for number in numbers[2:4]:
        arrivals.take_up(number, 2, True)
    assert unhandled(arrivals, 2) == "\rabc\rv"
    # A prompt was shown meanwhile: more records, and the line is open all the same.
    assert unhandled(arrivals, 3) == "\rabc\rv"
    arrivals.take_up(numbers[4], 3, True)
    arrivals.take_up(numbers[5], 3, True)
    assert unhandled(arrivals, 4) == "v"


def test_keys_as_the_first_version_noted_them_are_still_read(tmp_path: Path) -> None:
    arrivals = Arrivals(tmp_path / "a.jsonl")
    arrivals.path.write_bytes(b'["d", 1000]\n["v", 2000]\n["x", 30')
    assert arrivals.unhandled(1, 1500) == [Arrival("v", "v", 2000)]


def missed(keys: str, start: int = 5000) -> list[Arrival]:
    return [Arrival(NAMES.get(key, key), key, start + 700 * at) for at, key in enumerate(keys)]


def test_a_replay_comes_to_what_the_strip_would_have_come_to(tmp_path: Path) -> None:
    keys = "d\rdvx \x7f!\rv1\x7f\x7fx3-\rdoor\rv"
    on = recorder(tmp_path)
    press(on, "b")
    known = reread(on)
    told, records = rehearse(known, "left", QWERTY_KEYBOARD, missed(keys))
    assert session.read(known.path).records == known.records  # a rehearsal writes nothing
    assert len(told) == len(keys)
    assert "noted: dvx!" in told
    now, wall = system.now(), system.wall_now()
    again, _ = opening.resume(known.path, "left", now, wall, missed(keys))
    assert again.journal.n == known.records[-1]["n"] + 1 + records + 2  # and the gap of the time away
    read = reread(again)
    assert [said.text for said in read.fold.said if said.do == "note"] == ["dvx!"]
    assert read.fold.gaps[0].why == "door"
    codes = [bout.code for bout in fold(read.ethogram, read.records).bouts]
    assert codes == ["touch", "drumming", "insertion", "clasp"]


def test_keys_of_before_the_break_do_not_have_the_wall_time_of_now(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, "b")
    known = reread(on)
    now = system.now()
    opening.resume(known.path, "left", now, system.wall_now(), missed("dv\x1b\r"))
    read = session.read(known.path)
    assert read.fold.closed
    new = read.records[len(known.records) :]
    assert [record["do"] for record in new] == ["mark", "mark", "close"]
    assert not [record for record in new if "wall" in record]


def test_what_the_other_one_key_asked_before_a_break_is_over_after_it(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, "w")
    known = reread(on)
    told, _ = rehearse(known, "left", QWERTY_KEYBOARD, missed("2"))
    assert told[0].startswith("press the key that it should have been")
    now = system.now()
    again, _ = opening.resume(known.path, "left", now, system.wall_now(), missed("2"))
    again.take("b", now + 1)
    assert [record["do"] for record in reread(again).records][-1] == "mark"


def test_a_gap_written_at_the_end_does_not_swallow_the_keys_before_it(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, "b")
    on.gap(200.0, "etholog was ended (SIGTERM)")
    known = reread(on)
    again, _ = opening.resume(known.path, "left", system.now(), system.wall_now(), missed("v"))
    read = reread(again)
    (clasp,) = [bout for bout in read.fold.bouts if bout.code == "clasp"]
    assert clasp.onset == 5000
    assert [gap.onset for gap in read.fold.gaps] == [5000]


def test_a_line_without_an_end_and_the_end_itself(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, "b")
    known = reread(on)
    assert rehearse(known, "left", QWERTY_KEYBOARD, missed("\rabc"))[0][-1] == "noted: abc"
    assert rehearse(known, "left", QWERTY_KEYBOARD, missed("\x1b"))[1] == 0
    again, _ = opening.resume(known.path, "left", system.now(), system.wall_now(), missed("v\x1b\rxyz"))
    assert again.closed
    assert [bout.code for bout in reread(again).fold.bouts] == ["touch", "clasp"]
