"""Keys to records, without a screen: marks, slips and their mending, as they stand in the file afterwards."""

import hashlib
import re
import shutil
import threading
import unicodedata
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from etholog import ethogram
from etholog.base import journal
from etholog.base.text import visible
from etholog.recording.lanes import Lanes
from etholog.recording.opening import begin, resume
from etholog.recording.prompts import Prompts
from etholog.recording.recorder import Recorder
from etholog.screens.strip import PLAIN, totals, trace
from etholog.screens.themes import THEMES
from etholog.session.evidence import Evidence, evidence
from tests.make import BEGAN, luminance, press, recorder, reread, terrestrial_1


def test_the_live_state_is_the_fold_of_the_file(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, *"45dfdb1rv2zxc", "3", *"-d=", " ", "]", "h")
    live.undo()
    live.redo()
    live.line("a note", 130)
    live.close(131)
    fold = reread(live).fold
    live.live.folding.finish(31_000)
    assert sorted(live.live.folding.bouts) == sorted(fold.bouts)
    assert live.live.marks == fold.marks


def test_the_keepers_own_line_is_found_by_a_bare_file_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "poison-centre.txt").write_text("Poison centre: 112", encoding="utf-8")
    (tmp_path / "sessions").mkdir()
    monkeypatch.chdir(tmp_path / "sessions")
    assert "Poison centre: 112" in recorder(Path()).rescue_lines[-1]


def test_undo_again_and_again_takes_back_everything_and_redo_brings_it_back(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "d", "v", "x", "1", "3")
    full = sorted(live.live.folding.running.values())
    answers = [live.undo() for _ in range(5)]
    assert not live.live.folding.running
    assert not live.live.folding.bouts
    assert answers[0].text.startswith("taken back: 'unsure' of insertion left began")
    assert live.undo().n is None
    for _ in range(5):
        live.redo()
    assert sorted(live.live.folding.running.values()) == full


# What comes before, the key, and the records that it makes: of a mark where nobody was thought to watch, of undo and
# redo of a bout's doubt, of a move before the end of a gap, of another meaning for both ends of a bout.
SEVERAL = [("d-", "w", 2), ("d-w", "\x7f", 1), ("d1d3", "\x7f", 2), ("dd3", "3", 2), ("d-w", "1", 2), ("xx", "2", 2)]


@pytest.mark.skipif(not Path("/proc/self/io").exists(), reason="counts writes as Linux tells them")
@pytest.mark.parametrize(("before", "key", "records"), SEVERAL)
def test_all_records_of_one_key_are_written_at_once(tmp_path: Path, before: str, key: str, records: int) -> None:
    def writes() -> int:
        told = Path(f"/proc/self/task/{threading.get_native_id()}/io").read_text(encoding="ascii")
        return int(re.search(r"syscw: (\d+)", told)[1])  # type: ignore[index]

    live = recorder(tmp_path)
    press(live, *before)
    first, had = live.journal.n, writes()
    live.take("backspace" if key == "\x7f" else key, 200.0)
    assert (live.journal.n - first, writes() - had) == (records, 1)


def test_both_times_of_a_moved_mark_stay(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "d")
    live.line("-0.5", 102)
    live.take("1", 102)
    read = reread(live)
    assert [(r["do"], r["t"]) for r in read.records if r["do"] in ("mark", "move")] == [
        ("mark", 1000),
        ("move", 500),
        ("move", 0),  # nothing comes before the start
    ]


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ("r2", [("threat", None)]),
        ("t2", [("raises", None)]),
        ("vx2", [("clasp", None), ("insertion", "right")]),
        ("d2f", [("vibration", None)]),
        ("]2d", [("drumming", None)]),
        ("vx x2".replace(" ", ""), [("clasp", None), ("insertion", "right")]),
    ],
)
def test_recoding_by_look_alike_other_side_or_next_key(
    tmp_path: Path, keys: str, expected: list[tuple[str, str | None]]
) -> None:
    live = recorder(tmp_path)
    press(live, *keys)
    live.close(120)
    fold = reread(live).fold
    assert [(bout.code, bout.qualifier) for bout in fold.bouts] == expected
    assert not [remark for remark in fold.remarks if "without having begun" in remark.what]


@pytest.mark.parametrize("slip", ["b", "]", "h"])  # an event, a stray key, an event that ends the clasp
def test_a_slip_recoded_to_what_runs_ends_it(tmp_path: Path, slip: str) -> None:
    live = recorder(tmp_path)
    press(live, "v", slip, "2")
    assert live.take("v", 109).text == "is now: clasp ended 0:00:02"
    live.undo()
    live.redo()
    live.close(120)
    fold = reread(live).fold
    assert [(bout.code, bout.onset, bout.offset) for bout in fold.bouts] == [("clasp", 1000, 2000)]
    assert not fold.remarks


@pytest.mark.parametrize("between", ["undo", "3", "-"])
def test_what_comes_between_calls_off_the_question_which_key_it_should_have_been(tmp_path: Path, between: str) -> None:
    live = recorder(tmp_path)
    press(live, "v", "d", "2")
    if between == "undo":
        live.undo()
    else:
        live.take(between, 105)
    assert live.take("g", 106).text == "leg tapping began 0:00:06"
    assert not [record for record in reread(live).records if record["do"] == "recode"]


def test_doubt_at_the_end_of_a_bout_is_about_the_bout(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "v", "x")
    live.take("x", 112)
    live.doubt()
    live.close(120)
    fold = reread(live).fold
    assert [bout.sure for bout in fold.bouts] == [True, False]
    assert evidence(terrestrial_1(), fold.bouts) is Evidence.INSERTION


def test_an_offset_is_not_moved_before_its_onset(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "v", "x")
    live.take("x", 102.7)
    live.shift(-1)
    live.close(120)
    fold = reread(live).fold
    assert [bout.whole for bout in fold.bouts] == [False, True]
    assert evidence(terrestrial_1(), fold.bouts) is Evidence.INSERTION  # short, and not as long as the clasp
    assert not fold.remarks


def test_a_palp_moved_earlier_does_not_change_places_with_the_other(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "v", "x", "c")  # at 1, 2 and 3 s
    live.line("-1.5", 104)
    live.close(110)
    told = [(b.qualifier, b.onset, b.offset) for b in reread(live).fold.bouts if b.code == "insertion"]
    assert told == [("left", 2_000, 2_001), ("right", 2_001, 10_000)]


def test_a_bout_moved_into_the_one_before_it_is_not_lost(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, *"ddd")  # from 1 to 2 s, and from 3 s on
    live.line("-1.5", 104)
    live.close(110)
    read = reread(live).fold
    assert [(b.code, b.onset, b.offset) for b in read.bouts] == [
        ("drumming", 1_000, 2_000),
        ("drumming", 2_000, 10_000),
    ]
    assert not read.remarks


def test_no_mark_is_moved_into_what_is_still_to_come(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "d")
    live.line("+600", 105)
    live.close(110)
    assert [(b.onset, b.offset) for b in reread(live).fold.bouts] == [(5_000, 10_000)]
    assert reread(live).fold.end == 10_000


def test_a_mark_moved_back_into_a_gap_ends_the_gap_there(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "-")
    live.take("v", 110)
    live.shift(-1)
    live.shift(-1)
    assert live.live.folding.gaps[0].offset == 8000
    live.undo()
    live.close(120)
    fold = reread(live).fold
    assert [(gap.onset, gap.offset) for gap in fold.gaps] == [(1000, 9000)]
    assert [(bout.code, bout.onset) for bout in fold.bouts] == [("clasp", 9000)]
    assert not fold.remarks


def test_a_key_held_down_is_one_mark_and_two_keys_at_once_are_two(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    live.take("d", 101.0)
    for i in range(40):
        live.take("d", 101.5 + i * 0.03)
    live.take("v", 103.0)
    live.take("x", 103.01)
    read = reread(live)
    assert read.fold.marks == 3
    assert sum(record["do"] == "repeat" for record in read.records) == 39


def test_a_slow_second_press_is_a_second_press(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    live.take("d", 101.0)
    live.take("d", 101.3)
    live.take("w", 101.35)
    assert live.live.marks == 3
    assert not live.live.folding.running


def test_a_mark_in_a_gap_ends_the_gap(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "d", "-", "v")
    live.close(110)
    fold = reread(live).fold
    assert [(gap.onset, gap.offset) for gap in fold.gaps] == [(2000, 3000)]
    assert [(bout.code, bout.whole) for bout in fold.bouts] == [("drumming", False), ("clasp", False)]
    assert not fold.remarks


def test_a_gap_gets_its_reason_while_it_lasts_or_afterwards(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    press(live, "d", "-")
    live.line("the door bell", 103)
    assert live.live.folding.gap is not None
    assert live.live.folding.gap.why == "the door bell"
    press(live, "v", "-", start=110)
    live.line("a wrong word", 112)
    live.undo()
    live.close(113)
    fold = reread(live).fold
    assert [gap.why for gap in fold.gaps] == ["the door bell", ""]
    assert not [said for said in fold.said if said.do == "note"]


@pytest.mark.slow
@given(st.text(max_size=300))
@example("\x1b[2J\x00\x9b31m\u202e[red]\ud800 =1+1 \U0001f577\ufe0f עברית")
@example("x" * 12_000)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40, deadline=None)
def test_any_note_is_kept_and_what_is_shown_of_it_is_one_harmless_line(tmp_path: Path, text: str) -> None:
    live = recorder(tmp_path / hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest())
    live.pasted(text, 101)
    answer = live.line(text, 102)
    notes = [said.text for said in reread(live).fold.said if said.do == "note"]
    assert notes[0] == f"pasted: {text[:1000]}".encode("utf-8", "replace").decode()
    if answer.text == "noted":
        assert notes[1] == text.strip()[:10_000].encode("utf-8", "replace").decode()
    shown = visible(live.with_undo(answer.text))
    # Unicode Standard, chapter 4.5: controls, format characters, surrogates, line and paragraph separators.
    assert not [c for c in shown if unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")]
    assert len(shown) < 400
    shutil.rmtree(live.journal.path.parent)


def test_clock_changes_are_recorded(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    at = BEGAN.timestamp()
    live.watch_clocks(100.0, 50.0, BEGAN)
    live.watch_clocks(110.0, 60.0, datetime.fromtimestamp(at + 10, UTC))
    live.watch_clocks(120.0, 70.0, datetime.fromtimestamp(at - 3580, UTC))
    live.watch_clocks(720.0, 70.5, datetime.fromtimestamp(at - 2980, UTC))
    told = [record["what"] for record in live.live.records if record["do"] == "clock"]
    assert told == [
        "etholog stood still for 10 s",
        "etholog stood still for 10 s",
        "the wall clock was set by -3600 s",
        "the machine slept for 600 s",
    ]
    (gap,) = live.live.folding.gaps
    assert (gap.onset, gap.offset, gap.why) == (20_000, 620_000, "the machine slept")


def slept(live: Recorder, since: float, until: float) -> None:
    """Have the machine sleep between two looks at the clocks."""
    for at, awake in ((since, since), (until, since + 0.2)):
        live.watch_clocks(at, awake, datetime.fromtimestamp(BEGAN.timestamp() + at, UTC))


def test_after_a_restart_the_time_away_is_by_what_the_wall_clock_showed_last(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    at = BEGAN.timestamp()
    live.watch_clocks(100.0, 100.0, BEGAN)
    press(live, "d")
    # Ten seconds on, a time server sets the clock forward by an hour.
    live.watch_clocks(110.0, 110.0, datetime.fromtimestamp(at + 3610, UTC))
    known = reread(live)
    assert known.zero_by_wall == datetime.fromtimestamp(at + 3600, UTC)
    for run, (away_s, told_of) in enumerate(((300, False), (-7200, True))):
        copy = tmp_path / f"{run}.jsonl"
        head, _, rest = known.path.read_bytes().partition(b"\n")
        first = journal.decoded(head[: -len(b',"crc":"00000000"}')]) | {"boot": "another"}
        copy.write_bytes(journal.encode(first) + rest)
        on, told = resume(copy, "left", 50.0, datetime.fromtimestamp(at + 3610 + away_s, UTC))
        (gap,) = reread(on).fold.gaps
        assert (gap.onset, gap.offset) == (10_000, 10_000 + max(0, away_s) * 1000)
        assert any("behind the last mark" in line for line in told) == told_of


@pytest.mark.parametrize(
    ("key", "at", "gap"),
    [
        ("v", 719.99, (20_000, 619_990)),
        ("-", 719.99, (20_000, 619_990)),
        ("v", 120.0, (20_001, 620_000)),
        ("v", 120.05, (20_051, 620_000)),
    ],
)
def test_a_key_as_the_machine_wakes_or_falls_asleep_is_in_no_gap(
    tmp_path: Path, key: str, at: float, gap: tuple[int, int]
) -> None:
    live = recorder(tmp_path)
    press(live, "d")
    slept(live, 120.0, 720.0)
    live.take(key, at)
    live.close(730.0)
    fold = reread(live).fold
    assert (fold.gaps[0].onset, fold.gaps[0].offset) == gap
    assert not fold.remarks


def test_a_machine_that_wakes_does_not_say_that_somebody_watches(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    live.take("-", 110.0)
    slept(live, 120.0, 720.0)
    live.take("v", 800.0)
    live.close(810.0)
    fold = reread(live).fold
    assert [(gap.onset, gap.offset) for gap in fold.gaps] == [(10_000, 700_000)]
    assert not fold.remarks


def test_names_cannot_leave_the_folder(tmp_path: Path) -> None:
    kept = terrestrial_1()
    journal = begin(tmp_path, kept, BEGAN, 0.0, male="../../etc/x\x00\x1b[31m", female="/")
    assert journal.path.parent == tmp_path
    assert journal.path.name == "20260503-191500-etc_x_31m-female.jsonl"
    journal.close()


def test_prompts_come_once_for_each_cause_and_are_mute_after_a_rescue(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    prompts = Prompts(live.ethogram)
    names = lambda now: [prompt.name for prompt in prompts.due(live.live, now)]  # noqa: E731
    assert names(1000) == []
    live.take("b", 110)
    assert names(10_000) == ["cup_ready"]
    assert names(11_000) == []
    live.take("v", 111)
    assert names(11_000 + 5 * 60_000) == ["leave_them"]
    live.take("v", 111 + 301)
    assert names(312_000 + 19 * 60_000) == []
    assert names(312_000 + 20 * 60_000) == ["no_display_20"]
    assert names(312_000 + 30 * 60_000) == ["no_display_30"]
    live.take(" ", 3000)
    live.take("b", 3001)
    live.take("n", 3002)
    assert names(2_902_000) == ["strike"]  # what is urgent still comes


def test_prompts_shown_before_a_break_are_not_shown_again(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    live.take("b", 110)
    live.prompted("cup_ready", 110)
    again = Prompts(live.ethogram, live.live.records)
    assert not list(again.due(live.live, 20_000))
    live.take("b", 130)
    assert [prompt.name for prompt in again.due(live.live, 30_000)] == ["cup_ready"]
    live.undo()
    assert not list(again.due(live.live, 31_000))


def test_a_display_is_not_missed_while_nobody_watches(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    minutes = lambda count: 100.0 + 60 * count  # noqa: E731
    prompts = Prompts(live.ethogram)
    live.take("-", minutes(10))
    assert not list(prompts.due(live.live, 25 * 60_000))
    live.take("-", minutes(29))
    assert not list(prompts.due(live.live, 48 * 60_000))
    assert [prompt.name for prompt in prompts.due(live.live, 49 * 60_000)] == ["no_display_20"]


def test_a_behaviour_without_a_key_gets_a_lane_when_a_mark_is_recoded_to_it(tmp_path: Path) -> None:
    plain = terrestrial_1().plain()
    for behaviour in plain["behaviour"]:
        if behaviour["code"] == "threat":
            del behaviour["key"]
    kept = ethogram.from_plain(plain)
    live = Recorder(begin(tmp_path, kept, BEGAN, 100.0), kept, "left", BEGAN, 100.0, wall=lambda: BEGAN)
    press(live, "r", "2")
    lanes = Lanes(kept, live.layout)
    lanes.follow(live.live)
    assert [lane.behaviour.code for lane in lanes.lanes if lane.count] == ["threat"]
    live.journal.close()


@pytest.mark.parametrize(
    ("name", "keys", "codes"),
    [
        ("terrestrial", "42", ["on_silk"]),
        ("terrestrial", "y2", ["kicks_hairs"]),
        ("terrestrial", "eee2", ["approaches", "retreats"]),
        ("terrestrial", "ggg2", ["leg_tapping", "taps_her"]),
        ("terrestrial", "e2e2", ["retreats"]),  # the same two presses end it
        ("arboreal", "f2", ["push_up"]),
        ("arboreal", "h2", ["falls"]),
        ("wolf-spider", "eee2", ["approaches", "retreats"]),
    ],
)
def test_an_act_without_a_key_is_marked_by_two_presses(tmp_path: Path, name: str, keys: str, codes: list[str]) -> None:
    on = recorder(tmp_path, kept=ethogram.read(ethogram.shipped() / f"{name}.toml"))
    press(on, *keys)
    fold = reread(on).fold
    assert [bout.code for bout in fold.bouts] == codes
    assert not fold.remarks


def test_a_lane_shows_bars_ticks_sides_and_what_runs(tmp_path: Path) -> None:
    live = recorder(tmp_path)
    for key, at in (("v", 102), ("x", 104), ("c", 110), ("w", 103), ("w", 103.4), ("w", 109)):
        live.take(key, at)
    lanes = Lanes(live.ethogram, live.layout)
    lanes.follow(live.live)
    by_code = {lane.behaviour.code: lane for lane in lanes.lanes}
    now = 14_000
    assert trace(by_code["clasp"], now, 8, PLAIN) == " ======>"
    assert trace(by_code["insertion"], now, 8, PLAIN) == "  L==R=>"
    assert trace(by_code["answers"], now, 8, PLAIN) == " 2  |   "
    assert totals(by_code["insertion"], now).split() == ["2", "0:10"]
    assert totals(by_code["answers"], now).split() == ["3"]
    live.undo()
    lanes.follow(live.live)
    assert totals(by_code["answers"], now).split() == ["2"]


@pytest.mark.parametrize(("name", "least"), [("day", 4.5), ("mono", 4.5), ("night", 3.0)])
def test_contrast_by_the_formula_of_wcag_2(name: str, least: float) -> None:
    # W3C, Web Content Accessibility Guidelines 2.2, success criterion 1.4.3 and its definition of relative luminance.
    assert luminance("#ffffff") == pytest.approx(1.0)
    theme = THEMES[name]
    for part in ("text", "faint", "alarm", "male", "female", "pair", "keeper"):
        ratio = (luminance(getattr(theme, part)) + 0.05) / (luminance(theme.ground) + 0.05)
        assert ratio >= least, f"{part}: {ratio:.2f}"
    if name == "night":
        assert all(getattr(theme, part)[3:5] <= "2a" for part in ("text", "male", "female", "pair", "keeper"))
