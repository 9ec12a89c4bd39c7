"""What to keep of the film: from bouts to spans of the session, and from those to cuts, counted in frames. Pure."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import accumulate, pairwise
from math import ceil, floor
from typing import NamedTuple

from etholog.base.refusal import Refusal
from etholog.base.text import nearest
from etholog.ethogram import STAGES, Ethogram, Role
from etholog.film.alignment import Clip
from etholog.session.folding import Bout

Stretch = tuple[float, float]  # of the session, in milliseconds


class Named(NamedTuple):
    """A part of the session that has a name without a mark: what a search of the film found. Milliseconds."""

    onset: float
    offset: float
    text: str


KEPT_STAGES = ("courtship", "contact", "copulation", "separation")
UNCUT: Role = "insertion"  # no cut ever falls into a bout of this
# Which bouts a longest total keeps first: the rarest and shortest part of a pairing is what it is filmed for.
RANK = ("copulation", "separation", "contact", "courtship", "search", "after", None)


@dataclass(frozen=True)
class CutOptions:
    """What the keeper wants to see. Seconds; `speed` 1 cuts the waits between, more runs through them so many times as
    fast; `rest`: and through what comes before and after all of it."""

    keep: tuple[str, ...] = KEPT_STAGES
    before_s: float = 3.0
    after_s: float = 5.0
    join_s: float = 10.0
    longest_s: float | None = None
    speed: int = 1
    rest: bool = False


@dataclass(frozen=True)
class Cut:
    """Frames `first` up to, not including, `end` of clip number `clip`, of which every `speed`-th is shown."""

    clip: int
    first: int
    end: int
    speed: int = 1

    @property
    def frames(self) -> int:
        """How many frames it takes of the cut film."""
        return -(-(self.end - self.first) // self.speed)


@dataclass(frozen=True)
class CutList:
    """Cuts in the order of the session, all counted at one frame rate, that of the first clip."""

    clips: tuple[Clip, ...]
    rate: Fraction
    cuts: tuple[Cut, ...]
    lost_ms: float = 0.0  # wanted, and not on the film
    named: tuple[Named, ...] = ()

    def names(self, part: Stretch) -> list[Named]:
        """Return what has a name in a part of the session."""
        return [named for named in self.named if named.onset < part[1] and named.offset > part[0]]

    @cached_property
    def starts(self) -> list[int]:
        """The frame of the cut film at which each cut begins, and at last the frame after its end."""
        return [0, *accumulate(cut.frames for cut in self.cuts)]

    @property
    def seconds(self) -> float:
        """The length of the cut film."""
        return float(self.starts[-1] / self.rate)

    def stretch(self, cut: Cut) -> Stretch:
        """Return the part of the session that a cut shows."""
        return self.instant(cut, cut.first), self.instant(cut, cut.end)

    @cached_property
    def stretches(self) -> list[Stretch]:
        """The part of the session that each cut shows."""
        return [self.stretch(cut) for cut in self.cuts]

    def instant(self, cut: Cut, frame: int) -> float:
        """Return the session's millisecond that a frame of the cut's clip shows."""
        return self.clips[cut.clip].session_ms(float(frame / self.rate))

    def frame_of(self, cut: Cut, session_ms: float) -> int:
        """Return the frame, of the cut's clip, that shows an instant of the session."""
        # The journal counts whole milliseconds: a frame's own time, rounded, must not fall to the frame before it.
        return floor((self.clips[cut.clip].film_s(session_ms) + 0.0005) * self.rate)

    def shown(self, onset: float, offset: float) -> Iterator[tuple[int, int]]:
        """Yield the frames of the cut film, (first, end), that show a part of the session; what touches is one."""
        pending: tuple[int, int] | None = None
        at = bisect_right(self.stretches, onset, key=lambda stretch: stretch[1])
        while at < len(self.cuts) and self.stretches[at][0] < max(offset, onset + 0.001):
            cut, start = self.cuts[at], self.starts[at]
            first = max(self.frame_of(cut, onset), cut.first)
            end = min(max(self.frame_of(cut, offset), first + 1), cut.end)
            at += 1
            if first >= end:
                continue
            piece = start + (first - cut.first) // cut.speed, start + -(-(end - cut.first) // cut.speed)
            if pending is not None and piece[0] <= pending[1]:
                pending = pending[0], max(piece[1], pending[1])
                continue
            if pending is not None:
                yield pending
            pending = piece
        if pending is not None:
            yield pending


def whole(clips: Sequence[Clip]) -> CutList:
    """Return the list that cuts nothing."""
    rate = clips[0].rate
    return CutList(tuple(clips), rate, tuple(Cut(i, 0, floor(c.seconds * rate + 1e-4)) for i, c in enumerate(clips)))


def chosen(bouts: Sequence[Bout], ethogram: Ethogram, keep: Sequence[str]) -> list[Bout]:
    """Return the bouts named by code, by `code:qualifier` or by stage. Raises Refusal for a name that nothing has."""
    codes = {b.code for b in ethogram.behaviour}
    sides = {f"{b.code}:{choice.name}" for b in ethogram.behaviour for choice in b.choices}
    for name in keep:
        if name not in codes | sides | set(STAGES):
            raise Refusal(f"--keep {name}: no behaviour or stage{nearest(name, [*sorted(codes | sides), *STAGES])}")
    wanted = set(keep)
    return [
        bout
        for bout in bouts
        if {bout.code, f"{bout.code}:{bout.qualifier}", ethogram.by_code[bout.code].stage} & wanted
    ]


def cut_list(
    bouts: Sequence[Bout], ethogram: Ethogram, clips: Sequence[Clip], options: CutOptions, named: Sequence[Named] = ()
) -> CutList:
    """Return what to keep. Bouts as from `fold`; clips aligned. Raises Refusal for options that can't be met.

    `named` are parts to keep beside what is marked; where there is a longest total, the first of them come first.
    """
    frame_ms = 1000 / float(clips[0].rate)
    span = min(clip.begins for clip in clips), max(clip.ends for clip in clips)
    stretches = kept_stretches(bouts, ethogram, options, frame_ms, named, span)
    runs = [(a, b, 1) for a, b in stretches]
    if options.speed > 1:
        runs += [(end, start, options.speed) for (_, end), (start, _) in pairwise(stretches)]
    if options.rest and stretches:
        runs += [(span[0], stretches[0][0], options.speed), (stretches[-1][1], span[1], options.speed)]
    rate = clips[0].rate
    cuts: list[Cut] = []
    lost = 0.0
    for start, end, speed in sorted(runs):
        covered = 0.0
        for number, a, b in _on_film(clips, start, end):
            clip = clips[number]
            first = max(0, floor(clip.film_s(a) * rate + 1e-4))
            stop = min(ceil(clip.film_s(b) * rate - 1e-4), floor(clip.seconds * rate + 1e-4))
            if cuts and cuts[-1].clip == number:
                first = max(first, cuts[-1].end)
            if first < stop:
                cuts.append(Cut(number, first, stop, speed))
            covered += b - a
        lost += (end - start - covered) if speed == 1 else 0.0
    return CutList(tuple(clips), rate, tuple(cuts), lost, tuple(sorted(named)))


def _on_film(clips: Sequence[Clip], start: float, end: float) -> Iterator[tuple[int, float, float]]:
    """Yield (clip, from, to) of what the clips show of a part of the session, each instant once."""
    at = start
    for number, clip in enumerate(clips):
        a, b = max(at, clip.begins), min(end, clip.ends)
        if a < b:
            yield number, a, b
            at = b


def kept_stretches(
    bouts: Sequence[Bout],
    ethogram: Ethogram,
    options: CutOptions,
    frame_ms: float = 0.0,
    named: Sequence[Named] = (),
    span: Stretch = (0.0, 0.0),
) -> list[Stretch]:
    """Return what to keep of the session, disjoint and sorted; each may grow by two frames when it meets the film.

    `span`: from when to when there is film.
    """
    # Between two that lie nearer than the frames that a cut may grow by, there is no room for its edge.
    uncuttable = ethogram.codes_of(UNCUT)
    uncut = _merged(sorted((b.onset, b.offset) for b in bouts if b.code in uncuttable), 2 * frame_ms)
    kept = _Kept(options.join_s * 1000, options.speed, uncut, 2 * frame_ms, span if options.rest else None)
    wanted = chosen(bouts, ethogram, options.keep)
    if options.longest_s is not None:
        wanted = sorted(wanted, key=lambda b: (RANK.index(ethogram.by_code[b.code].stage), b.onset))
    limit = float("inf") if options.longest_s is None else options.longest_s * 1000
    parts: list[tuple[float, float, float]] = [(bout.onset, bout.offset, 0.0) for bout in wanted]
    # A camera may run before the session begins, and what moves then has no mark.
    parts += [(part.onset, part.offset, min(0.0, span[0])) for part in named]
    for onset, offset, earliest in parts:
        kept.add((max(earliest, onset - options.before_s * 1000), offset + options.after_s * 1000), limit)
    return kept.stretches


def _merged(stretches: Sequence[Stretch], join: float) -> list[Stretch]:
    found: list[Stretch] = []
    for start, end in stretches:
        if found and start - found[-1][1] <= join:
            found[-1] = found[-1][0], max(found[-1][1], end)
        else:
            found.append((start, end))
    return found


class _Kept:
    """Disjoint stretches that grow one by one, and how long the film of them would be."""

    def __init__(
        self, join: float, speed: int, uncut: Sequence[Stretch], allowance: float, span: Stretch | None
    ) -> None:
        self.stretches: list[Stretch] = []
        self._join, self._speed, self._uncut, self._allowance, self._span = join, speed, uncut, allowance, span
        self._sum = 0.0

    def add(self, stretch: Stretch, limit: float) -> None:
        """Take a stretch in, joined to what is near, unless the film would be longer than the limit."""
        start, end = self._whole(*stretch)
        kept = self.stretches
        low = bisect_left(kept, start - self._join, key=lambda s: s[1])
        high = bisect_right(kept, end + self._join, key=lambda s: s[0])
        if low < high:
            start, end = min(start, kept[low][0]), max(end, kept[high - 1][1])
        grown = self._sum + (end - start) - sum(b - a for a, b in kept[low:high])
        pieces = len(kept) - (high - low) + 1
        first = min(start, kept[0][0]) if kept else start
        last = max(end, kept[-1][1]) if kept else end
        if self._span is not None:
            first, last = min(first, self._span[0]), max(last, self._span[1])
        waits = (last - first - grown) / self._speed if self._speed > 1 else 0.0
        if grown + waits + pieces * self._allowance <= limit:
            kept[low:high] = [(start, end)]
            self._sum = grown

    def _whole(self, start: float, end: float) -> Stretch:
        """Widen a stretch so that neither end of it, to the frame, lies inside what must not be cut."""
        at = bisect_right(self._uncut, start - self._allowance, key=lambda s: s[1])
        if at < len(self._uncut) and self._uncut[at][0] < start:
            start = self._uncut[at][0]
        at = bisect_left(self._uncut, end, key=lambda s: s[1])
        if at < len(self._uncut) and self._uncut[at][0] - self._allowance < end:
            end = self._uncut[at][1]
        return start, end
