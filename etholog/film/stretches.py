"""From the changes in each block to a trace, and from the trace to the stretches of a film that are worth a look.

A block counts as moving by its own noise: its change against the median of the two minutes on either side, in units of
its own spread there. What most blocks do at the same instant (a key frame, a lamp, the camera's exposure) is taken off.
The threshold is chosen from the film: its quiet half tells how high chance alone reaches.

Stillness is no absence: an animal that does not move is in no stretch.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from etholog.base.language import gettext_noop
from etholog.film.activity import PER_S, Cells, Floats

Why = Literal["quick movement", "slow movement", "the picture was disturbed"]
QUICK, SLOW, DISTURBED = range(3)
REASONS: tuple[Why, Why, Why] = (
    gettext_noop("quick movement"),
    gettext_noop("slow movement"),
    gettext_noop("the picture was disturbed"),
)

# All chosen on made films (tests/bench/film_search.py prints what they find there); no published source.
AROUND_S = 120  # seconds on either side that tell a block's own noise
GRID_S = 10  # how often that is counted anew
QUICK_S, SLOW_S = 2.0, 1.5  # over which the two measures are averaged
LEAST_SPREAD = 0.03  # luma: a block that an encoder has frozen has no noise at all
HOT = 5.0  # from here on a block counts as moving, when asked how much of the picture does
LARGE = 0.25  # share of the picture that no spider fills
SHIFTED = 0.25  # share of the change that is explained by the camera having moved
DISTURBED_S = 3.0  # on either side of what disturbed the picture
SETTLED_S = 5  # an encoder needs so long to find its rate when a film begins
CLOCK_S, CLOCK_LETTERS, TEXT_HOT = 40, 8, 0.005  # so many seconds show a clock; hh:mm:ss; share of its changes
JOIN_S, PAD_S, SHORTEST_S = 1.5, 0.25, 0.5
WORK_S = 600  # of film are judged at a time
CHANCE_HOURS = 20  # of film for each time that noise alone would make a stretch; real noise is less tame
LEAST = 3.0  # no threshold is lower, however quiet the film


@dataclass(frozen=True)
class Trace:
    """What was seen at each quarter of a second: arrays of one length.

    `quick` and `slow` are the greatest change of a place in the picture, in spreads of its own noise, as two measures
    have it; `quick_at` and `slow_at` number that place, row by row. `disturbed`: light, camera, or something large.
    """

    quick: Floats
    slow: Floats
    quick_at: NDArray[np.uint16]
    slow_at: NDArray[np.uint16]
    disturbed: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.quick)

    def __getitem__(self, part: slice) -> "Trace":
        return Trace(*(getattr(self, field.name)[part] for field in fields(self)))

    @staticmethod
    def joined(parts: Sequence["Trace"]) -> "Trace":
        """Return one trace of several that follow each other."""
        return Trace(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Trace)))


@dataclass(frozen=True)
class Stretch:
    """A part of a film, in its seconds, in which something moves.

    `strength` is in thresholds: 1 has just reached it. `x` and `y` are shares of the searched picture.
    """

    onset_s: float
    offset_s: float
    strength: float
    x: float
    y: float
    why: Why
    peak_s: float = 0.0


def traces(
    cells: Iterator[Cells], keys_s: Floats, kept: NDArray[np.bool_] | None = None, known: int = 0
) -> Iterator[Trace]:
    """Yield the trace piece by piece, in constant memory.

    `keys_s` are the key frames' times, from where `cells` begin; `known` the pictures at their beginning whose trace is
    known already and is not yielded.
    """
    margin, work = AROUND_S * PER_S, WORK_S * PER_S
    held: list[Cells] = []
    first, done, count = 0, known, 0  # pictures: where `held` begins, what was given away, what has come
    for chunk in cells:
        held.append(chunk)
        count += len(chunk)
        if count - done >= work + margin:
            whole = _joined(held)
            yield scored(whole, keys_s - first / PER_S, kept, done - first, done - first + work)
            done += work
            keep = max(first, done - margin)
            held = [Cells(whole.fast[keep - first :], whole.slow[keep - first :], whole.shift[keep - first :])]
            first = keep
    if count > done:
        yield scored(_joined(held), keys_s - first / PER_S, kept, done - first)


def _joined(held: Sequence[Cells]) -> Cells:
    return Cells(*(np.concatenate([getattr(c, name) for c in held]) for name in ("fast", "slow", "shift")))


def scored(
    cells: Cells,
    keys_s: Floats,
    kept: NDArray[np.bool_] | None = None,
    first: int = 0,
    end: int | None = None,
) -> Trace:
    """Return the trace of some minutes of film, from picture `first` to before `end`; the others tell of the noise.

    `kept`: the blocks that count, rows x columns.
    """
    fast, slow = cells.fast.copy(), cells.slow.copy()
    across_keys = np.ceil(keys_s * PER_S - 1e-3).astype(int)
    _bridge(fast, slow, across_keys)
    # Before the film there was nothing to compare with, and its encoder had still to settle.
    settled = SETTLED_S * PER_S
    if len(slow) > settled and len(keys_s) and keys_s[0] < 1 / PER_S and keys_s[0] > -1 / PER_S:
        for change in (fast, slow):
            change[:settled] = np.minimum(change[:settled], change[settled])
    # A second is compared with the one before it: what changed lies in the middle of both.
    slow, shift = _earlier(slow), _earlier(cells.shift)
    still = without_clock(fast)
    if kept is not None:
        still &= kept
    quick, slowly = (np.sqrt(_box(change, round(over * PER_S))) for change, over in ((fast, QUICK_S), (slow, SLOW_S)))
    cuts = _cuts(quick)
    part = slice(first, end)
    measures = [_standard(quick, cuts, part), _standard(slowly, cuts, part)]
    hot = np.maximum(*((measure > HOT).mean(axis=(1, 2)) for measure in measures))
    over = [pooled(less_common(measure) * still) for measure in measures]
    best = [measure.reshape(len(measure), -1).argmax(axis=1) for measure in over]
    peaks = [m.reshape(len(m), -1)[np.arange(len(m)), b] for m, b in zip(over, best, strict=True)]
    disturbed = (hot > LARGE) | ((shift[part] > SHIFTED) & (np.maximum(*peaks) > HOT))
    return Trace(
        peaks[0].astype(np.float32),
        peaks[1].astype(np.float32),
        best[0].astype(np.uint16),
        best[1].astype(np.uint16),
        disturbed,
    )


def _earlier(change: Floats) -> Floats:
    """Return the changes a second earlier; those of the last second come twice."""
    return np.concatenate([change[PER_S:], change[-PER_S:]])[: len(change)]


def _bridge(fast: Floats, slow: Floats, at: NDArray[np.intp]) -> None:
    """Where a key frame comes, replace the changes against the pictures before it by the smaller of those around."""
    for i in at:
        if 1 <= i < len(fast) - 1:
            fast[i] = np.minimum(fast[i - 1], fast[i + 1])
        if 1 <= i < len(slow) - 2 * PER_S:
            part = slice(i, i + 2 * PER_S)
            slow[part] = np.minimum(slow[part], np.minimum(slow[i - 1], slow[i + 2 * PER_S]))


def without_clock(fast: Floats) -> NDArray[np.bool_]:
    """Return the blocks that hold no burnt-in clock, rows x columns.

    A block that changes once a second, always in the same quarter of it, holds a digit of seconds. What changes now and
    then in one line with it is text as well, and so is what stands to its left where minutes and hours are written.
    """
    kept = np.ones(fast.shape[1:], bool)
    change = np.sqrt(fast)
    change -= quantile(change[:, ::2, ::2].reshape(len(change), -1), 0.75)[:, None, None]
    level = _middle(change)
    hot = change > level + 5 * 1.48 * np.maximum(_middle(np.abs(change - level)), LEAST_SPREAD)
    count = len(hot) // PER_S
    if count < CLOCK_S:
        return kept
    quarters = hot[: count * PER_S].reshape(count, PER_S, *kept.shape)
    # A tick at the border of two quarters falls now into the one, now into the other.
    ticks = (quarters | np.roll(quarters, -1, axis=1)).mean(axis=0).max(axis=0)
    seconds = (ticks > 0.7) & (quarters.mean(axis=0).sum(axis=0) - ticks < 0.4)
    if not 0 < seconds.mean() < 0.05:  # an encoder that pulses each second does so everywhere
        return kept
    rows, columns = np.nonzero(seconds)
    line = slice(max(0, rows.min() - 1), rows.max() + 2)
    # A digit lies across one more column of blocks than it is wide. hh:mm:ss has eight letters, and minutes change too
    # seldom to be seen in a short film.
    wide = CLOCK_LETTERS * max(1, int(np.ptp(columns)))
    left, right = max(0, int(columns.max()) - 2 * wide), int(columns.max()) + wide + 1
    text = np.flatnonzero((hot.mean(axis=0) > TEXT_HOT)[line, left:right].any(axis=0)) + left
    kept[line, max(0, min(int(text[0]), int(columns.max()) - wide)) : int(text[-1]) + 2] = False
    return kept


def _box(change: Floats, count: int) -> Floats:
    """Return the mean over `count` pictures around each."""
    padded = np.pad(change, ((count // 2, count - 1 - count // 2), (0, 0), (0, 0)), mode="edge")
    total = np.cumsum(padded, axis=0, dtype=np.float64)
    total[count:] -= total[:-count].copy()
    return (total[count - 1 :] / count).astype(np.float32)


def _cuts(quick: Floats) -> list[int]:
    """Return where the light changed for good, so that the noise before says nothing of the noise after."""
    ends = [0, len(quick)]
    level = quick.mean(axis=(1, 2))
    step = 30 * PER_S
    low = 4 * float(level.min(initial=0))
    for at in range(step, len(quick) - step, PER_S):
        peak = level[at - PER_S : at + PER_S].max()
        if peak <= low or at - ends[-2] <= step:
            continue
        around = np.concatenate([level[at - step : at - 4 * PER_S], level[at + 4 * PER_S : at + step]])
        if peak > 4 * quantile(around, 0.5):
            ends.insert(-1, at)
    return ends


def _standard(change: Floats, cuts: Sequence[int], wanted: slice) -> Floats:
    """Return each block's change in spreads of its own noise around the instant, for the pictures that are wanted."""
    first, last, _ = wanted.indices(len(change))
    level, spread = np.empty_like(change), np.empty_like(change)
    for start, end in pairwise(cuts):
        for at in range(start, end, GRID_S * PER_S):
            part = slice(at, min(end, at + GRID_S * PER_S))
            if part.stop <= first or at >= last:
                continue
            window = change[max(start, at - AROUND_S * PER_S) : min(end, at + AROUND_S * PER_S) : PER_S]
            level[part] = _middle(window)
            spread[part] = _middle(np.abs(window - level[at]))
    change, level, spread = change[wanted], level[wanted], spread[wanted]
    ordinary = quantile(spread.reshape(len(spread), -1), 0.5)[:, None, None]
    standard: Floats = (change - level) / (1.48 * np.maximum(np.maximum(spread, 0.7 * ordinary), LEAST_SPREAD))
    return standard


def _middle(change: Floats) -> Floats:
    """Return the median of each block over the pictures."""
    return quantile(change.reshape(len(change), -1).T.copy(), 0.5).reshape(change.shape[1:])


def quantile(rows: Floats, share: float) -> Floats:
    """Return a quantile of each row as numpy's own does, which takes five times as long over many short rows."""
    place = (rows.shape[-1] - 1) * share
    low = int(place)
    ranked = np.sort(rows, axis=-1)  # sorted by the processor's vectors: a partition at two places is not
    above = ranked[..., min(low + 1, rows.shape[-1] - 1)]
    between: Floats = ranked[..., low] + (above - ranked[..., low]) * np.float32(place - low)
    return between


def less_common(measure: Floats) -> Floats:
    """Return what each block has more than three of four of them at the same instant."""
    common = np.maximum(0, quantile(measure.reshape(len(measure), -1), 0.75))
    return measure - common[:, None, None].astype(np.float32)


def pooled(measure: Floats) -> Floats:
    """Return the sum of each 2 x 2 blocks, in the spread of such a sum."""
    summed: Floats = (measure[:, 1:, 1:] + measure[:, :-1, 1:] + measure[:, 1:, :-1] + measure[:, :-1, :-1]) / 2
    return summed


def thresholds(trace: Trace, more: float = 1.0) -> tuple[float, float]:
    """Return the strengths from which on quick and slow movement count, from the film's own quiet half.

    The greatest of many noisy blocks follows Gumbel's law (Gumbel 1958, Statistics of extremes). Its quantiles
    tell its place and scale; from them, the strength that chance would pass once in CHANCE_HOURS. `more` above 1
    lowers it, and shows more.
    """
    return chance_threshold(trace.quick[~trace.disturbed], more), chance_threshold(trace.slow[~trace.disturbed], more)


_GUMBEL_LOW = np.log(np.log(4)) - np.log(np.log(2))  # from its quartile to its median, in scales
_GUMBEL_HIGH = np.log(np.log(2)) - np.log(-np.log(0.9))


def chance_threshold(strength: Floats, more: float) -> float:
    """Return the strength from which on it is no chance, from the quiet half of all instants."""
    if len(strength) < 10 * PER_S:
        return 2 * LEAST / more
    low, middle, high = (float(quantile(strength, share)) for share in (0.25, 0.5, 0.9))
    # Noise that comes and goes widens the lower half, movement the upper: the narrower of the two is chance.
    scale = min((middle - low) / _GUMBEL_LOW, (high - middle) / _GUMBEL_HIGH)
    chance = middle + scale * (np.log(np.log(2)) + np.log(CHANCE_HOURS * 3600 / QUICK_S))
    return float(max(LEAST, chance) / more)


def strength(trace: Trace, more: float = 1.0) -> Floats:
    """Return at each quarter of a second the stronger of both measures, in thresholds."""
    quick, slow = thresholds(trace, more)
    both: Floats = np.maximum(trace.quick / quick, trace.slow / slow)
    return both


def found(trace: Trace, shape: tuple[int, int], more: float = 1.0) -> list[Stretch]:
    """Return the stretches of a trace; `shape` is the rows and columns of blocks in the picture."""
    quick, slow = thresholds(trace, more)
    height = strength(trace, more)
    wide = _widened(trace.disturbed, round(DISTURBED_S * PER_S))
    quicker = trace.quick / quick >= trace.slow / slow
    moving = [
        (first, last, REASONS[QUICK if quicker[first + int(height[first:last].argmax())] else SLOW])
        for first, last in _runs((height >= 1) & ~wide, round(JOIN_S * PER_S))
    ]
    spoilt = [(first, last, REASONS[DISTURBED]) for first, last in _runs(wide, 0)]
    made = []
    for first, last, why in sorted(moving + spoilt):
        peak = first + int(height[first:last].argmax())
        row, column = divmod(int((trace.quick_at if quicker[peak] else trace.slow_at)[peak]), shape[1] - 1)
        made.append(
            Stretch(
                max(0.0, first / PER_S - PAD_S),
                min(last / PER_S + PAD_S, len(trace) / PER_S),
                round(float(height[peak]), 2),
                round((column + 1) / shape[1], 3),
                round((row + 1) / shape[0], 3),
                why,
                peak / PER_S,
            )
        )
    return made


def _widened(flags: NDArray[np.bool_], by: int) -> NDArray[np.bool_]:
    wide = flags.copy()
    for at in np.flatnonzero(np.diff(flags, prepend=False, append=False)):
        wide[max(0, at - by) : at + by] = True
    return wide


def _runs(flags: NDArray[np.bool_], join: int) -> list[tuple[int, int]]:
    """Return (first, end) of each run that is long enough; what lies nearer than `join` is one."""
    at = np.flatnonzero(flags)
    if not len(at):
        return []
    breaks = np.flatnonzero(np.diff(at) > join + 1)
    edges = zip(at[np.r_[0, breaks + 1]].tolist(), at[np.r_[breaks, len(at) - 1]].tolist(), strict=True)
    return [(first, last + 1) for first, last in edges if last + 1 - first >= SHORTEST_S * PER_S]
