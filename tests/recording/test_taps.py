"""Taps on a phone, taken in at their own times: once, where they belong, whatever was keyed since."""

import random
import resource
import uuid
from pathlib import Path
from typing import Any

import pytest

from etholog import session
from etholog.base.journal import Journal
from etholog.recording.history import history
from etholog.recording.live import Live
from etholog.recording.recorder import Recorder
from etholog.recording.taps import ACTS, LateTaps, Tap
from etholog.session.log import entries
from tests.make import BEGAN, press, recorder, reread, tapped

BEFORE = 100.0  # the session of tests.make begins at this second of its clock


def tap(t: int, key: str = "", act: str = "", **more: Any) -> Tap:
    """Return a tap on the lane of a key."""
    what = tapped(key) if key else ""
    return Tap(str(uuid.uuid4()), t, **{"earliest": t, "latest": t, "what": what, "act": act} | more)


def said(on: Recorder) -> list[str]:
    return [f"{entry.t} {entry.text}" for entry in entries(session.read(on.journal.path))]


def test_a_tap_is_a_key_at_its_own_time(tmp_path: Path) -> None:
    by_key, by_phone = recorder(tmp_path / "a"), recorder(tmp_path / "b")
    for at, key in enumerate("45dfdbvzxcv]", 1):
        by_key.take(key, BEFORE + at)
        by_phone.tap(tap(1000 * at, key))
    assert said(by_key) == said(by_phone)
    assert [record["do"] for record in by_phone.live.records].count("tap") == 12


def test_the_same_tap_is_taken_in_once_by_this_recorder_and_by_the_next(tmp_path: Path) -> None:
    on, one = recorder(tmp_path), tap(2000, "d", earliest=1990, latest=2011)
    first, again = on.tap(one), on.tap(one)
    assert first.n == again.n is not None
    read = reread(on)
    (kept,) = [record for record in read.records if record["do"] == "tap"]
    assert (kept["id"], kept["key"], kept["earliest"], kept["latest"], kept["made"]) == (
        one.id,
        "drumming",
        1990,
        2011,
        [1],
    )
    journal, _ = Journal.open(read.path)
    resumed = Recorder(journal, on.ethogram, "left", BEGAN, BEFORE, live=Live(on.ethogram, read.records))
    assert resumed.tap(one).n == first.n
    assert resumed.live.marks == 1


def test_a_late_tap_is_folded_where_it_belongs(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, "d", "f", start=BEFORE + 10)
    on.undo()
    on.tap(tap(5000, "d"), late=True)  # drumming, five seconds before it was keyed on the laptop
    on.tap(tap(7000, "d"), late=True)
    on.tap(tap(10_500, "d"), late=True)
    drumming = "palpal drumming"
    assert said(on) == [f"{t} {drumming} {edge}" for t, edge in zip(
        (5000, 7000, 10_000, 10_500), ("began", "ended") * 2, strict=True
    )]  # fmt: skip
    assert "wall" not in on.live.records[4]


def test_a_correction_is_of_what_the_phone_showed(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    mine = tap(3000, "f")
    on.tap(mine)
    press(on, "d", start=BEFORE + 4)  # the phone has not heard of it
    earlier, doubt = tap(4500, act="earlier", of=mine.id), tap(4600, act="doubt", of=mine.id)
    on.tap(earlier, late=True)
    on.tap(doubt, late=True)
    assert said(on) == ["2000 body vibration began (unsure)", "4000 palpal drumming began"]
    for one in (doubt, earlier, mine):
        on.tap(tap(4700, act="undo", of=one.id), late=True)
    assert said(on) == ["4000 palpal drumming began"]
    assert on.tap(tap(4800, act="earlier", of=mine.id)).text == "it was taken back already"
    assert on.tap(tap(4900, act="undo", of=str(uuid.uuid4()))).text == "what it corrects is not here"
    on.tap(tap(5000, act="undo"))
    assert said(on) == []


def test_the_other_one_may_be_named(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    mine, palp = tap(3000, "d"), tap(4000, "x")
    on.tap(mine)
    on.tap(palp)
    on.tap(tap(5000, act="other", of=palp.id))
    on.tap(tap(6000, "f", act="other", of=mine.id))
    assert said(on) == ["3000 body vibration began", "4000 insertion right began"]


@pytest.mark.parametrize("why", ["", "the recorder was away"])
def test_who_saw_something_watched(tmp_path: Path, why: str) -> None:
    on = recorder(tmp_path)
    press(on, "d", start=BEFORE + 1)
    on.gap(BEFORE + 5, why)
    on.back(BEFORE + 60)
    on.tap(tap(20_000, "f"), late=True)
    on.tap(tap(30_000, "f"), late=True)
    fold = reread(on).fold
    # A gap that was keyed ends where somebody saw something again; one that the program made, since it was away
    # itself, begins after the last thing that was seen.
    assert fold.gaps == [(5000, 20_000, "") if not why else (30_001, 60_000, why)]
    assert fold.remarks == []
    (v,) = [bout for bout in fold.bouts if bout.code == "vibration"]
    assert (v.onset, v.offset, v.whole) == (20_000, 30_000, True)


def test_a_tap_before_the_gap_of_now_ends_no_gap(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    on.gap(BEFORE + 5)
    on.tap(tap(3000, "d"), late=True)
    assert on.live.folding.gap is not None
    on.tap(tap(8000, "d"))
    assert reread(on).fold.gaps == [(5000, 8000, "")]


def test_a_gap_that_is_told_late_lasts_until_something_was_seen(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    press(on, "d", start=BEFORE + 9)
    on.tap(tap(4000, act="away"), late=True)
    fold = reread(on).fold
    assert (fold.gaps, fold.remarks) == ([(4000, 8999, "")], [])


def test_a_tap_without_a_clock_is_unsure_and_says_its_bounds(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    on.tap(tap(30_000, "d", earliest=10_000, latest=50_000, sure=False), late=True)
    assert said(on) == [
        "30000 palpal drumming began (unsure)",
        "30000 note: from the phone, whose clock could not be compared: between 0:00:10 and 0:00:50",
    ]


@pytest.mark.parametrize("again", [False, True], ids=["at once", "after a break"])
def test_an_unsure_tap_is_taken_back_at_once_with_all_that_was_said_of_it(tmp_path: Path, again: bool) -> None:
    on = recorder(tmp_path)
    press(on, "s", start=BEFORE + 1)
    before = said(on)
    on.tap(tap(30_000, "d", earliest=10_000, latest=50_000, sure=False))
    with_it = said(on)
    if again:
        read = reread(on)
        live = Live(on.ethogram, read.records)
        on = Recorder(Journal.open(read.path)[0], on.ethogram, "left", BEGAN, BEFORE, live=live)
    assert on.undo().text == "taken back: palpal drumming began 0:00:30 (unsure)"
    assert said(on) == before
    on.redo()
    assert said(on) == with_it


@pytest.mark.parametrize("unsure", [0.0, 0.4])
def test_what_can_be_taken_back_is_told_from_the_records_after_taps_too(tmp_path: Path, unsure: float) -> None:
    on, chance = recorder(tmp_path), random.Random(7)
    taps = [tap(1000, "d")]
    on.tap(taps[0])
    for at in range(2, 60):
        if chance.random() < 0.4:
            press(on, chance.choice("dvfzx]"), start=BEFORE + at)
        key, act = chance.choice("dvfzx]"), chance.choice(["", "", "", "undo"])
        one = tap(1000 * at, key, act, of=None, sure=bool(unsure == 0 or chance.random() > unsure))
        if one.act and chance.random() < 0.5:
            one = tap(1000 * at, act="undo", of=chance.choice(taps).id)
        taps.append(one)
        on.tap(one)
    on.gap(BEFORE + 70, "the recorder was away")
    on.back(BEFORE + 90)
    on._done.pop()  # who was away did not key it
    on._done.pop()
    on.tap(tap(75_000, "d"), late=True)
    on.tap(tap(80_000, "x"), late=True)
    assert on.live.folding.gaps == [(80_001, 90_000, "the recorder was away")]
    assert history(on.live.records)[0] == on._done


def test_a_held_key_on_the_laptop_stays_one_press_while_the_phone_is_tapped(tmp_path: Path) -> None:
    on = recorder(tmp_path)
    for at in range(20):
        on.take("d", BEFORE + 10 + 0.5 * (at > 0) + 0.033 * at)
        on.tap(tap(10_020 + 600 + 33 * at, "]"))
    fold = reread(on).fold
    assert [bout.onset for bout in fold.bouts if bout.code == "drumming"] == [10_000]


def test_taps_after_the_end_are_kept_beside_the_session(tmp_path: Path) -> None:
    late = LateTaps(tmp_path / "s.jsonl")
    assert late.read() == []
    one, two = tap(2000, "d"), tap(1000, act="note", text="he \N{SNOWMAN}")
    for each in (one, two, one):
        late.keep(each)
    with late.path.open("ab") as file:
        file.write(b'{"id": "x"}\nnot json\n[1]\n{"id"')
    assert late.read() == [two, one]
    three = tap(3000, "f")
    late.keep(three)  # after a line that was torn
    assert late.read() == [two, one, three]
    late.forget()
    assert late.read() == []


def test_a_tap_that_a_full_disk_takes_in_part_spoils_no_other(tmp_path: Path) -> None:
    late = LateTaps(tmp_path / "s.jsonl")
    first, cut, last = tap(1000, "d"), tap(2000, "d"), tap(3000, "d")
    late.keep(first)
    before = late.path.read_bytes()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 20, hard))
    try:
        with pytest.raises(OSError):
            late.keep(cut)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert late.path.read_bytes() == before
    late.keep(last)
    assert late.read() == [first, last]


@pytest.mark.parametrize(
    "wrong",
    [{"id": "x"}, {"earliest": 3000}, {"latest": 3}, {"act": "close"}, {"what": "", "act": ""}],
    ids=lambda wrong: next(iter(wrong)),
)
def test_nonsense_is_no_tap(wrong: dict[str, Any]) -> None:
    good: dict[str, Any] = {"id": str(uuid.uuid4()), "t": 2000, "earliest": 1000, "latest": 2500, "what": "drumming"}
    Tap(**good)
    with pytest.raises(ValueError, match="not a tap"):
        Tap(**good | wrong)


def test_acts_are_those_of_the_thumb() -> None:
    assert sorted(ACTS) == ["away", "doubt", "earlier", "other", "rescue", "undo"]


@pytest.mark.parametrize("seed", range(12))
def test_whatever_comes_in_whatever_order_the_file_says_what_the_screen_showed(tmp_path: Path, seed: int) -> None:
    on, chance, taps = recorder(tmp_path), random.Random(seed), [tap(500, "s")]
    on.tap(taps[0])
    for at in range(1, 120):
        match chance.randrange(6):
            case 0:
                on.take(chance.choice([*on.layout, "1", "2", "3", "-", "backspace", "delete"]), BEFORE + at)
            case 1 if on.live.folding.gap is None:
                on.was_away(1000 * at - 800, 1000 * at, "the recorder was away")
            case _:
                t = 1000 * at - chance.choice((0, 0, 0, 700, 5000, 40_000))
                act = chance.choice(["", "", "", *ACTS])
                of = chance.choice([None, chance.choice(taps).id, chance.choice(taps).id, chance.randrange(1, 40)])
                one = tap(
                    max(0, t),
                    "" if act not in ("", "other") else chance.choice([*on.layout, "]"]),
                    act,
                    of=of if act else None,
                    sure=chance.random() > 0.1,
                )
                taps.append(one)
                on.tap(one, late=t < 1000 * at)
                if chance.random() < 0.2:
                    assert on.tap(chance.choice(taps)).text == ""
    read = reread(on)
    assert read.findings == []
    assert [record["id"] for record in read.records if record["do"] == "tap"] == [one.id for one in taps]
    anew = Live(on.ethogram, read.records)
    assert (anew.folding.bouts, anew.folding.running) == (on.live.folding.bouts, on.live.folding.running)
    assert (anew.folding.gaps, anew.folding.gap) == (on.live.folding.gaps, on.live.folding.gap)
    marked = {n for record in read.records if record["do"] == "tap" for n in record["made"]}
    assert marked <= {record["n"] for record in read.records}
