"""What is kept of a film, and the edit lists that say so to other programs."""

import json
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from subprocess import CompletedProcess

import opentimelineio as otio
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etholog import session
from etholog.base.refusal import Refusal
from etholog.film import editlist
from etholog.film.alignment import Clip, keep
from etholog.film.cuts import Cut, CutList, CutOptions, cut_list, kept_stretches, whole
from etholog.film.tally import tally
from etholog.session import Session
from etholog.session.folding import Bout
from tests.film.making import event, recorded, state
from tests.make import terrestrial_1

TERRESTRIAL = terrestrial_1()


def clip(seconds: float, rate: Fraction = Fraction(25), begins: float = 0.0, name: str = "film.mp4") -> Clip:
    return Clip(Path("/films") / name, seconds, rate, begins, 0.0, "one sync mark", ((begins, 0.0),))


def bout(code: str, onset_s: float, offset_s: float, n: int = 1) -> Bout:
    return Bout(n, code, None, round(onset_s * 1000), round(offset_s * 1000), True, True)


def cut(bouts: Sequence[Bout], clips: Sequence[Clip], **options: object) -> CutList:
    return cut_list(bouts, TERRESTRIAL, clips, CutOptions(**options))  # type: ignore[arg-type]


def test_padding_and_joins_by_hand() -> None:
    bouts = [
        bout("drumming", 100, 110),
        bout("drumming", 124, 130),
        bout("drumming", 160, 161),
        bout("still", 300, 400),
    ]
    # 97 to 115 and 121 to 135 lie 6 s apart and are joined; 157 to 166 lies 22 s further; being still has no stage.
    found = cut(bouts, [clip(600)])
    assert [(c.first, c.end) for c in found.cuts] == [(97 * 25, 135 * 25), (157 * 25, 166 * 25)]
    assert found.seconds == 38 + 9
    assert [(c.first, c.end) for c in cut(bouts, [clip(600)], join_s=5).cuts][:2] == [(2425, 2875), (3025, 3375)]
    assert cut(bouts, [clip(600)], keep=("still",)).seconds == 108


def test_waits_are_run_through_instead_of_cut() -> None:
    bouts = [bout("drumming", 100, 110), bout("drumming", 200, 210)]
    found = cut(bouts, [clip(600)], speed=8)
    assert [(c.first, c.end, c.speed, c.frames) for c in found.cuts] == [
        (2425, 2875, 1, 450),
        (2875, 4925, 8, 257),  # 2050 frames, of which each 8th is shown
        (4925, 5375, 1, 450),
    ]


def test_what_no_film_shows_is_left_out_and_counted() -> None:
    bouts = [bout("drumming", 10, 30), bout("clasp", 95, 130)]
    found = cut(bouts, [clip(80, begins=20_000, name="a.mp4"), clip(100, begins=105_000, name="b.mp4")])
    # 7 to 35 s is filmed from 20 s on; 92 to 135 s until 100 s by the first and from 105 s on by the second.
    assert [(c.clip, c.first, c.end) for c in found.cuts] == [(0, 0, 375), (0, 1800, 2000), (1, 0, 750)]
    assert found.lost_ms == pytest.approx(13_000 + 5_000)


def test_an_instant_that_two_films_show_comes_once() -> None:
    found = cut([bout("drumming", 20, 40)], [clip(30, name="a.mp4"), clip(60, begins=10_000, name="b.mp4")])
    assert [(c.clip, c.first, c.end) for c in found.cuts] == [(0, 425, 750), (1, 500, 875)]


def test_the_longest_total_keeps_copulation_first() -> None:
    bouts = [
        bout("drumming", 50, 60),
        bout("clasp", 200, 400),
        bout("insertion", 250, 260),
        bout("insertion", 350, 358),
    ]
    found = cut(bouts, [clip(600)], longest_s=40)
    assert found.seconds == 18 + 16
    assert [(c.first, c.end) for c in found.cuts] == [(247 * 25, 265 * 25), (347 * 25, 363 * 25)]
    assert cut(bouts, [clip(600)], longest_s=60).seconds == 18 + 16 + 18


def test_a_name_that_nothing_has_is_refused() -> None:
    with pytest.raises(Refusal, match="did you mean 'drumming'"):
        cut([bout("drumming", 1, 2)], [clip(60)], keep=("druming",))


spans = st.lists(
    st.tuples(
        st.sampled_from(["drumming", "walking", "clasp", "palp_probing", "flees"]),
        st.integers(0, 600_000),
        st.integers(0, 60_000),
    ),
    max_size=30,
)


@settings(max_examples=150, deadline=None)
@given(
    spans,
    st.lists(st.tuples(st.integers(0, 600_000), st.integers(1, 60_000)), max_size=8),
    st.floats(0, 20),
    st.floats(0, 20),
    st.none() | st.floats(1, 300),
    st.sampled_from([1, 4]),
)
def test_no_jump_falls_inside_an_insertion_and_no_total_is_too_long(
    others: list[tuple[str, int, int]],
    insertions: list[tuple[int, int]],
    pad: float,
    join: float,
    longest: float | None,
    speed: int,
) -> None:
    bouts = [Bout(n, code, None, t, t + length, True, True) for n, (code, t, length) in enumerate(others)]
    bouts += [Bout(99, "insertion", "left", t, t + length, True, True) for t, length in insertions]
    bouts.sort(key=lambda b: b.onset)
    options = CutOptions(before_s=pad, after_s=pad, join_s=join, longest_s=longest, speed=speed)
    found = cut_list(bouts, TERRESTRIAL, [clip(1000)], options)
    if longest is not None:
        assert found.seconds <= longest
    for c in found.cuts:
        assert 0 <= c.first < c.end <= 25_000
    for a, b in pairwise(found.cuts):
        assert a.end <= b.first
    edges = [edge for a, b in pairwise(found.cuts) if a.end != b.first for edge in (a.end, b.first)]
    edges += [found.cuts[0].first, found.cuts[-1].end] if found.cuts else []
    for one in bouts:
        if one.code == "insertion":
            # The frame that shows the onset is the first that belongs to it.
            assert not [e for e in edges if one.onset / 40 < e < one.offset / 40]
    if longest is None:
        for a, b in pairwise(kept_stretches(bouts, TERRESTRIAL, options)):
            assert b[0] - a[1] > join * 1000


def test_the_tally_adds_up() -> None:
    bouts = [bout("walking", 0, 100), bout("drumming", 100, 110), bout("walking", 110, 400)]
    told = {row["behaviour"]: row for row in tally(cut(bouts, [clip(600)]), bouts, TERRESTRIAL)}
    # Kept is 97 to 115 s: 8 s of the 390 s of walking.
    assert told["walks"]["kept minutes"] * 60 == pytest.approx(8)
    assert told["walks"]["minutes away"] * 60 == pytest.approx(382)
    assert (told["palpal drumming"]["bouts"], told["palpal drumming"]["minutes away"]) == (1, 0.0)


# ------------------------------------------------------------ for other programs


def filmed(folder: Path, rate: Fraction, name: str = "film.mp4") -> Session:
    made = recorded(
        folder,
        *state("drumming", 100_000, 110_000),
        event("answers", 112_000),
        *state("insertion", 300_000, 309_000, qualifier="left"),
        end=600_000,
    )
    keep(made, [Clip(folder / name, 600.0, rate, 0.0, 0.0, "one sync mark", ((0.0, 0.0),))])
    return session.read(made.path)


def as_cut(found: otio.schema.Clip) -> tuple[int, int]:
    source = found.trimmed_range()
    return round(source.start_time.value), round(source.end_time_exclusive().value)


# The adapter that reads CMX 3600 knows the rates of film and television; 15 and 12.5 it refuses.
@pytest.mark.slow
@pytest.mark.parametrize("rate", ["24", "25", "30", "50", "60", "30000/1001", "24000/1001"])
def test_an_edl_is_read_back_to_the_frame(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]], rate: str
) -> None:
    made = filmed(tmp_path, Fraction(rate), "a film; of two.mp4")
    out = tmp_path / "cuts.edl"
    done = etholog("film", "cuts", made.path, "-o", out, "-o", tmp_path / "cuts.json")
    assert done.returncode == 0, done.stderr
    told = json.loads((tmp_path / "cuts.json").read_text())
    assert "* ALIGNED BY ONE SYNC MARK: RIGHT WITHIN ABOUT 0.3 S" in out.read_text()
    timeline = otio.adapters.read_from_file(str(out), rate=float(Fraction(rate)))
    clips = [c for c in timeline.tracks[0] if isinstance(c, otio.schema.Clip)]
    assert [as_cut(c) for c in clips] == [(c["first"], c["end"]) for c in told["cuts"]]
    assert [c.name for c in clips] == ["a film; of two.mp4"] * len(told["cuts"])
    assert round(timeline.duration().value) == told["frames"]


@pytest.mark.slow
def test_otio_is_read_back_and_equal(tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]) -> None:
    made = filmed(tmp_path, Fraction(30000, 1001))
    out = tmp_path / "cuts.otio"
    done = etholog("film", "cuts", made.path, "-o", out, "-o", tmp_path / "cuts.json", "--waits", "16")
    assert done.returncode == 0, done.stderr
    told = json.loads((tmp_path / "cuts.json").read_text())["cuts"]
    timeline = otio.adapters.read_from_file(str(out))
    clips = list(timeline.tracks[0])
    assert len(clips) == len(told) == 3
    for found, want in zip(clips, told, strict=True):
        first, end = as_cut(found)
        assert first == want["first"]
        warps = [effect.time_scalar for effect in found.effects]
        assert warps == ([16.0] if want["speed"] == 16 else [])
        assert end - first == -(-(want["end"] - want["first"]) // want["speed"])
        assert round(found.range_in_parent().start_time.value) == want["at"]
    assert clips[0].media_reference.target_url == (tmp_path / "film.mp4").as_uri()
    markers = {m.metadata["etholog"]["code"]: m for c in clips for m in c.markers}
    assert set(markers) == {"drumming", "answers", "insertion"}
    assert markers["insertion"].metadata["etholog"]["qualifier"] == "left"
    # 300 s at 30000/1001 frames a second is frame 8991.
    assert markers["insertion"].marked_range.start_time.value == 300 * 30000 // 1001


def test_speed_in_an_edl_is_read_back(tmp_path: Path) -> None:
    found = CutList((clip(600),), Fraction(25), (Cut(0, 0, 250), Cut(0, 250, 650, 4), Cut(0, 650, 700)))
    (tmp_path / "cuts.edl").write_text(editlist.edl(found, "a session"))
    timeline = otio.adapters.read_from_file(str(tmp_path / "cuts.edl"), rate=25)
    clips = list(timeline.tracks[0])
    assert [effect.time_scalar for c in clips for effect in c.effects] == [4.0]
    assert [round(c.range_in_parent().start_time.value) for c in clips] == [0, 250, 350]


def test_more_cuts_than_an_edl_has_numbers_are_refused() -> None:
    many = CutList((clip(6000),), Fraction(25), tuple(Cut(0, 100 * n, 100 * n + 50) for n in range(1000)))
    with pytest.raises(Refusal, match="1000 cuts"):
        editlist.edl(many, "a session")


def test_the_whole_film_is_one_cut_a_clip() -> None:
    found = whole([clip(10), clip(4, begins=12_000)])
    assert [(c.clip, c.first, c.end) for c in found.cuts] == [(0, 0, 250), (1, 0, 100)]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["--before", "-1"], "--before"),
        (["--waits", "0"], "--waits"),
        (["--longest", "soon"], "is not a time"),
        (["--longest", "1"], "nothing of what is to be kept"),
        (["--keep", "nonsense"], "no behaviour or stage"),
        (["-o", "cuts.doc"], "one of the endings"),
        (["-o", "nowhere/cuts.edl"], "can't be written"),
    ],
)
def test_bad_words_are_told_in_a_line(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]], words: list[str], what: str
) -> None:
    made = filmed(tmp_path, Fraction(25))
    done = etholog("film", "cuts", made.path, *words, cwd=tmp_path)
    assert done.returncode == 2
    assert what in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.slow
def test_a_session_without_film_says_how_to_get_one(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    made = recorded(tmp_path, event("touch", 1000), end=2000)
    done = etholog("film", "cuts", made.path)
    assert done.returncode == 2
    assert "etholog film align" in done.stderr
