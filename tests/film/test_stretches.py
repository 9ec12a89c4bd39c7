"""From changes in blocks to stretches, on made numbers: no film is decoded here."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from etholog.base.refusal import Refusal
from etholog.film import stretches
from etholog.film.activity import PER_S, Area, Cells
from etholog.film.alignment import Clip
from etholog.film.captions import hurried, named_chapters
from etholog.film.cuts import Cut, CutList, CutOptions, Named, cut_list
from etholog.film.evening import one_clock
from etholog.film.source import Source
from etholog.film.stretches import (
    CHANCE_HOURS,
    DISTURBED,
    QUICK_S,
    REASONS,
    SLOW,
    Trace,
    found,
    scored,
    thresholds,
    traces,
)
from tests.film.making import recorded, state

ROWS, COLUMNS = 18, 32
NO_KEYS = np.zeros(0)


def still(seconds: int, seed: int = 0, rows: int = ROWS, columns: int = COLUMNS) -> Cells:
    """Blocks in which nothing but noise changes: the mean square of 25 normal deviates is chi-square."""
    chance = np.random.default_rng(seed)
    size = (seconds * PER_S, rows, columns)
    fast, slow = (chance.chisquare(25, size).astype(np.float32) / 25 for _ in range(2))
    return Cells(fast, slow, np.zeros(size[0], np.float32))


def quiet(seconds: int) -> Trace:
    chance = np.random.default_rng(1)
    quick, slow = (chance.gumbel(1.5, 0.3, seconds * PER_S).astype(np.float32) for _ in range(2))
    where = np.zeros(seconds * PER_S, np.uint16)
    return Trace(quick, slow, where, where.copy(), np.zeros(seconds * PER_S, bool))


def test_the_threshold_is_what_chance_passes_once_in_so_many_hours() -> None:
    # scipy's own Gumbel distribution is the reference.
    law = stats.gumbel_r(2.0, 0.5)
    strength = law.rvs(200_000, random_state=3).astype(np.float32)
    none = np.zeros(len(strength), np.uint16)
    quick, slow = thresholds(Trace(strength, strength, none, none, np.zeros(len(strength), bool)))
    assert quick == slow == pytest.approx(law.isf(QUICK_S / (CHANCE_HOURS * 3600)), rel=0.03)


def test_movement_in_a_tenth_of_the_film_does_not_lift_the_threshold() -> None:
    trace = quiet(600)
    before = thresholds(trace)[0]
    trace.quick[: len(trace) // 8] += 40
    assert thresholds(trace)[0] < 1.4 * before


@pytest.mark.slow
def test_noise_alone_is_no_stretch() -> None:
    cells = still(600)
    assert found(scored(cells, NO_KEYS), (ROWS, COLUMNS)) == []


def test_a_stretch_has_its_time_its_place_and_its_reason() -> None:
    cells = still(300)
    cells.slow[404:412, 3, 28] += 6  # 100 to 102 s, against the second before each; right and at the top
    (one,) = found(scored(cells, NO_KEYS), (ROWS, COLUMNS))
    assert one.onset_s < 100.5 < 101.5 < one.offset_s
    assert one.offset_s - one.onset_s < 5
    assert one.why == REASONS[SLOW]
    assert abs(one.x - 28.5 / COLUMNS) <= 1 / COLUMNS
    assert abs(one.y - 3.5 / ROWS) <= 1 / ROWS
    assert one.strength > 1


def test_what_the_whole_picture_does_at_once_is_no_movement() -> None:
    cells = still(300)
    cells.fast[::40] *= 1.6  # a pulse of the encoder each ten seconds
    cells.slow[::40] *= 1.6
    assert [s for s in found(scored(cells, NO_KEYS), (ROWS, COLUMNS)) if s.why != REASONS[DISTURBED]] == []


def test_what_fills_the_picture_is_a_kind_of_its_own() -> None:
    cells = still(300)
    cells.fast[400:416, :, :20] += 30
    (one,) = found(scored(cells, NO_KEYS), (ROWS, COLUMNS))
    assert one.why == REASONS[DISTURBED]
    assert one.onset_s < 100 < 104 < one.offset_s


def test_a_camera_that_moved_is_told_by_its_shift() -> None:
    cells = still(300)
    cells.slow[400:408, 5:8, 5:8] += 20
    cells.shift[400:408] = 0.6
    assert {s.why for s in found(scored(cells, NO_KEYS), (ROWS, COLUMNS))} == {REASONS[DISTURBED]}


def test_a_burnt_in_clock_is_muted_and_nothing_else() -> None:
    cells = still(300)
    cells.fast[::PER_S, 1, 30] += 50  # the seconds
    cells.fast[12 :: 10 * PER_S, 1, 28] += 50  # tens of them
    kept = stretches.without_clock(cells.fast)
    assert not kept[1, 28:31].any()
    assert kept[4:].all()
    assert kept[:, :20].all()
    assert found(scored(cells, NO_KEYS), (ROWS, COLUMNS)) == []


def test_an_encoder_that_pulses_each_second_is_no_clock() -> None:
    cells = still(300)
    cells.fast[::PER_S, :, ::2] += 50
    assert stretches.without_clock(cells.fast).all()


def test_a_mask_leaves_movement_outside_it_out() -> None:
    cells = still(300)
    cells.slow[400:408, 3, 28] += 6
    kept = np.ones((ROWS, COLUMNS), bool)
    kept[:, 20:] = False
    assert found(scored(cells, NO_KEYS, kept), (ROWS, COLUMNS)) == []


def test_more_finds_no_less() -> None:
    cells = still(300)
    for at, by in ((200, 1.2), (400, 2.0), (800, 8.0)):
        cells.slow[at : at + 8, 9, 9] += by
    trace = scored(cells, NO_KEYS)
    counts = [len(found(trace, (ROWS, COLUMNS), more)) for more in (0.3, 1.0, 2.0)]
    assert counts == sorted(counts)
    assert counts[0] < counts[-1]


def test_a_long_film_is_judged_in_pieces_as_it_is_in_one() -> None:
    cells = still(1500, rows=4, columns=5)
    cells.slow[4000:4008, 2, 2] += 5
    whole = scored(cells, NO_KEYS)
    parts = [Cells(cells.fast[a : a + 64], cells.slow[a : a + 64], cells.shift[a : a + 64]) for a in range(0, 6000, 64)]
    pieces = list(traces(iter(parts), NO_KEYS))
    assert len(pieces) == 3
    joined = Trace.joined(pieces)
    assert len(joined) == len(whole) == 6000
    assert np.abs(joined.slow - whole.slow).max() < 0.3 * whole.slow.max()
    ours, theirs = (found(trace, (4, 5)) for trace in (joined, whole))
    assert [s.peak_s for s in ours] == [s.peak_s for s in theirs] != []


def test_a_search_that_goes_on_yields_only_what_was_not_known() -> None:
    cells = still(400, rows=4, columns=5)
    whole, rest = (Trace.joined(list(traces(iter([cells]), NO_KEYS, None, known))) for known in (0, 1000))
    assert len(rest) == 600
    assert np.array_equal(rest.quick, whole.quick[1000:])


@pytest.mark.parametrize("wrong", [(0.5, 0, 0.6, 1), (0, 0, 0, 1), (-0.1, 0, 0.5, 0.5), (0, 0, 1, float("nan"))])
def test_an_area_lies_within_the_picture(wrong: tuple[float, ...]) -> None:
    with pytest.raises(Refusal, match="shares of the picture"):
        Area(*wrong)


CLIP = Clip(Path("film.mp4"), 600.0, Fraction(10), 0.0, 0.0, "watching", ())


def test_stretches_alone_marks_alone_or_both(tmp_path: Path) -> None:
    read = recorded(tmp_path, *state("drumming", 100_000, 110_000), end=600_000)
    named = [Named(300_000, 302_000, "slow movement, 0:05:00")]
    options = CutOptions(before_s=0, after_s=0)

    def kept(options: CutOptions, named: list[Named]) -> list[tuple[int, int]]:
        cuts = cut_list(read.fold.bouts, read.ethogram, [CLIP], options, named)
        return [(cut.first, cut.end) for cut in cuts.cuts]

    assert kept(options, []) == [(1000, 1100)]
    assert kept(options, named) == [(1000, 1100), (3000, 3020)]
    assert kept(CutOptions(keep=(), before_s=0, after_s=0), named) == [(3000, 3020)]


def test_chapters_name_the_stretches_and_what_is_hurried_shows_the_films_time() -> None:
    named = (Named(10_000, 20_000, "one"), Named(50_000, 60_000, "two"))
    cuts = CutList((CLIP,), Fraction(10), (Cut(0, 100, 200), Cut(0, 200, 500, 10), Cut(0, 500, 600)), 0.0, named)
    assert [tuple(cue) for cue in named_chapters(cuts)] == [(0, 130, "one"), (130, 230, "two")]
    cues = hurried(cuts)
    assert [(cue.first, cue.end) for cue in cues] == [(100, 110), (110, 120), (120, 130)]
    assert [cue.text for cue in cues] == [f"10 times as fast, 0:00:{s}" for s in (20, 30, 40)]


def source(name: str, made: object = None) -> Source:
    return Source(Path(name), 600.0, Fraction(25), True, 640, 360, False, made, 0.0, True)  # type: ignore[arg-type]


def test_films_of_one_evening_are_put_in_order_by_their_own_times() -> None:
    from datetime import UTC, datetime, timedelta

    early, late = datetime(2026, 3, 5, 21, 0, tzinfo=UTC), datetime(2026, 3, 5, 21, 10, 30, tzinfo=UTC)
    placed = one_clock([source("b", late), source("a", early)])
    assert [(p.source.path.name, p.at_s, p.run) for p in placed] == [("a", 0.0, 0), ("b", 630.0, 1)]
    # Without times, or with those of one copy that all files got, they follow as they were named.
    for made in (None, early):
        placed = one_clock([source("b", made), source("a", made)])
        assert [(p.source.path.name, p.at_s, p.run) for p in placed] == [("b", 0.0, 0), ("a", 600.0, 0)]
    # Times of whole seconds put no second between files that follow each other, however many there are.
    whole = [source(str(n), early + timedelta(seconds=n * 600 + n % 2)) for n in range(9)]
    assert [p.at_s for p in one_clock(whole)] == [600.0 * n for n in range(9)]
    # A camera that loses a second at each file is not a minute wrong after an evening.
    lossy = [source(str(n), early + timedelta(seconds=n * 601)) for n in range(60)]
    assert max(abs(p.at_s - n * 601) for n, p in enumerate(one_clock(lossy))) <= 1.0
