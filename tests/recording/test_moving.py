"""How far marks can be moved: whatever was keyed, no bout is lost, turned round or ended by another mark."""

import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from etholog.recording.moving import places
from etholog.recording.recorder import Recorder
from etholog.session.folding import Fold, fold
from tests.make import ETHOGRAM, press, recorder, reread

KEYS = "4567qwertdfbvzxcn-"  # events, states with a chain and without, one within another, and who looks away


def made(on: Recorder, end: int = 40_000) -> Fold:
    return fold(on.ethogram, [*on.live.records, {"n": 10_000, "do": "close", "t": end}])


def without(read: Fold) -> list[int | None]:
    """Return the marks that make no sense where they are, but for those that lie outside what they belong to."""
    return [remark.record for remark in read.remarks if "outside" not in remark.what]


@given(keys=st.lists(st.sampled_from(KEYS), min_size=1, max_size=12), of=st.integers(0, 20), by=st.integers(-20, 20))
@example(keys=list("rdcrdg"), of=5, by=-12)  # past what began before it, within the chain of another
@example(keys=list("vxcx"), of=1, by=-3)
@example(keys=list("d-d"), of=1, by=5)
@settings(max_examples=300, deadline=None)
def test_a_move_keeps_every_bout_and_its_ends(keys: list[str], of: int, by: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        on = recorder(Path(folder))
        press(on, *keys)
        before = made(on)
        marks = [record["n"] for record in on.live.marks_in_time]
        on.meant = marks[of % len(marks)]
        here = (on.live.lasting(on.meant) or {})["t"]
        on.shift(by, 30_000)
        after, there = made(on), (on.live.lasting(on.meant) or {})["t"]
        assert on.journal.close()
    assert min(here, max(0, here + 1000 * by)) <= there <= max(here, here + 1000 * by)
    assert [gap.why for gap in after.gaps] == [gap.why for gap in before.gaps]
    if len(without(after)) < len(without(before)):
        return  # a mark that made no sense where it was makes sense now
    assert without(after) == without(before)
    was, now = ({bout.n: bout for bout in read.bouts} for read in (before, after))
    for n, bout in was.items():
        assert (now[n].code, now[n].whole) == (bout.code, bout.whole)
        assert (now[n].offset > now[n].onset) == (bout.offset > bout.onset)
    assert now.keys() == was.keys()
    for one in was.values():  # of two states of one chain, the one that came first comes first
        for other in was.values():
            if one.onset < one.offset <= other.onset < other.offset and one.code == other.code:
                assert now[one.n].offset <= now[other.n].onset


def test_a_mark_with_nothing_in_its_way_goes_where_it_was_sent(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, *"ddvxn")  # the strike, at 5 s, while the clasp and the insertion run
    assert on.line("-90", 106).text.startswith("moved to 0:00:00: ")
    assert [bout.onset for bout in reread(on).fold.bouts if bout.code == "strike"] == [0]


@pytest.mark.parametrize(("keys", "typed"), [("dv", "-5"), ("dd", "-1")])  # the clasp ended the drumming; its own end
def test_who_is_held_is_told_so(tmp_path: Path, keys: str, typed: str) -> None:
    on = recorder(tmp_path)
    press(on, *keys)
    assert on.line(typed, 110).text.startswith("moved to 0:00:01, no further (other bouts would change): ")
    again = on.line("-5", 110)
    assert (again.text, again.n) == ("not moved: other bouts would change", None)


def test_a_mark_that_made_no_sense_can_be_put_where_it_does(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, *"dd")
    on.undo()  # of its end
    on.journal.append(record := {"do": "mark", "t": 500, "code": "drumming", "edge": "offset"})
    on.live.add({"n": on.journal.n - 1, **record})
    assert without(made(on)) == [on.journal.n - 1]
    on.line("+3", 110)
    assert [(bout.onset, bout.offset, bout.whole) for bout in reread(on).fold.bouts] == [(1_000, 3_500, True)]


@pytest.mark.parametrize(
    ("here", "to", "then"),
    [
        (8000, 4999, {3: 4999, 2: 4999}),  # who saw it was watching
        (8000, 5000, {3: 5000}),  # as the gap ends: it ends there already
        (8000, 1000, {3: 1001, 2: 1001}),  # a gap of no time would be none
        (8000, 0, {3: 0}),
        (5000, 3000, {3: 3000, 2: 3000}),
        (500, 3000, {3: 999}),  # what was seen before the gap does not end it
        (500, 1000, {3: 999}),
        (500, 5000, {3: 5000}),
        (500, 900, {3: 900}),
    ],
)
def test_how_far_into_a_gap_a_mark_moves_and_where_the_gap_then_ends(here: int, to: int, then: dict[int, int]) -> None:
    gap = [{"n": 1, "do": "gap", "t": 1000, "why": ""}, {"n": 2, "do": "back", "t": 5000}]
    mark = {"n": 3, "do": "mark", "t": here, "code": "touch"}
    lasting = sorted([*gap, mark], key=lambda record: (record["t"], record["n"]))
    assert places(ETHOGRAM, lasting, 3, to) == then
