"""What is drawn into the pictures: captions, and under the film a strip of lanes with a clock, as one ASS script.

The strip is a pen recorder's paper that moves to the left under a pen at its right end. ASS (libass) has vector shapes
that move, so that ffmpeg draws it all by itself. Pure: text out.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from unicodedata import east_asian_width

from etholog.base.clock import clock_face, fine_face
from etholog.base.colours import ACTORS
from etholog.ethogram import Behaviour, Ethogram
from etholog.film.captions import Cue
from etholog.film.cuts import CutList
from etholog.film.subtitles import unmarked
from etholog.session.folding import Bout

PAPER, INK, RULE = "#f7f4ec", "#222222", "#cfc9ba"
WINDOW_S = 60.0  # so much of the past is on the paper
MOST_LANES = 10
SIDE = 20  # pixels left free on each side of a caption
NARROW = 0.6  # of a letter that is not wide, in widths of one that is: more than any but the widest take

# The encoding -1 has libass lay each caption out by its own letters, from the right where they are written so.
_HEAD = """[Script Info]
ScriptType: v4.00+
PlayResX: {width}
PlayResY: {height}
WrapStyle: 0
ScaledBorderAndShadow: yes

[V4+ Styles]
Format: Name, Fontname, Fontsize, PrimaryColour, SecondaryColour, OutlineColour, BackColour, Bold, Italic, Underline, \
StrikeOut, ScaleX, ScaleY, Spacing, Angle, BorderStyle, Outline, Shadow, Alignment, MarginL, MarginR, MarginV, Encoding
Style: Caption,Sans,{size},&HFFFFFF,&HFFFFFF,&H000000,&H000000,0,0,0,0,100,100,0,0,1,{outline},0,2,{side},{side},\
{margin},-1
Style: Strip,Sans,{small},&H222222,&H222222,&H000000,&H000000,0,0,0,0,100,100,0,0,1,0,0,7,0,0,0,1

[Events]
Format: Layer, Start, End, Style, Name, MarginL, MarginR, MarginV, Effect, Text
"""


@dataclass(frozen=True)
class Paper:
    """Where the strip lies under a film, in pixels: rows `row` high, one for each lane and one for the clock."""

    width: int
    film: int
    lanes: tuple[Behaviour, ...]

    @property
    def row(self) -> int:
        """The height of a row."""
        return max(12, self.film // 36)

    @property
    def rows(self) -> int:
        """The height of the strip, even."""
        return (self.row * (len(self.lanes) + 1) + self.row // 2 + 1) // 2 * 2

    @property
    def left(self) -> int:
        """Where the paper begins, right of the labels."""
        return 9 * self.row

    @property
    def pen(self) -> int:
        """Where the pen is."""
        return self.width - self.row


def paper(width: int, height: int, ethogram: Ethogram, cuts: CutList, bouts: Sequence[Bout]) -> Paper:
    """Return the strip under a film: lanes for what the cut film shows, no more than MOST_LANES, in their order."""
    seen = [bout for bout in bouts if any(True for _ in cuts.shown(bout.onset, bout.offset))]
    often = {b.code: sum(bout.code == b.code for bout in seen) for b in ethogram.behaviour}
    shown = sorted((b for b in ethogram.behaviour if often[b.code]), key=lambda b: (b.kind != "state", -often[b.code]))
    kept = {b.code for b in shown[:MOST_LANES]}
    return Paper(width, height, tuple(b for b in ethogram.behaviour if b.code in kept))


def script(size: tuple[int, int], captions: Sequence[Cue], rate: Fraction, strip: Iterator[str], below: int) -> str:
    """Return the whole ASS script for a film of this size with a strip of `below` rows under it."""
    width, height = size
    letter = max(14, height // 20)
    head = _HEAD.format(
        width=width,
        height=height + below,
        size=letter,
        side=SIDE,
        small=max(11, height // 42),
        outline=max(1, height // 360),
        margin=below + height // 30,
    )
    room = (width - 2 * SIDE) / letter
    shown = [(cue, unmarked(_broken(cue.text, room), r"\N")) for cue in captions]
    lines = [_line(cue.first, cue.end, rate, "Caption", text) for cue, text in shown]
    return head + "\n".join([*strip, *lines]) + "\n"


def _broken(text: str, room: float) -> str:
    """Return a caption broken between wide letters (Unicode Standard Annex 11), so that no line has more of them than
    `room`: libass breaks between words alone, and such writing has no spaces.

    >>> _broken("two words 放入雄蛛。", 8)
    'two words 放入\\n雄蛛。'
    """
    done, width = "", 0.0
    for sign in text:
        wide = east_asian_width(sign) in ("W", "F")
        if wide and sign.isalpha() and width + 1 > room:
            done, width = f"{done}\n", 0.0
        width = 0.0 if sign == "\n" else width + (1 if wide else NARROW)
        done += sign
    return done


def strip(paper: Paper, cuts: CutList, bouts: Sequence[Bout], pair: str) -> Iterator[str]:
    """Yield the lines that draw the strip over the whole cut film."""
    total, rate, top = cuts.starts[-1], cuts.rate, paper.film
    yield _line(0, total, rate, "Strip", _box(0, top, paper.width, paper.rows, PAPER))
    for row, behaviour in enumerate(paper.lanes):
        y = top + paper.row // 4 + row * paper.row
        colour = _colour(ACTORS[behaviour.actor])
        label = unmarked(behaviour.words, " ")
        yield _line(0, total, rate, "Strip", rf"{{\pos({paper.row // 2},{y})\c{colour}\q2}}{label}", 1)
        yield _line(
            0, total, rate, "Strip", _box(paper.left, y + paper.row * 2 // 3, paper.pen - paper.left, 1, RULE), 1
        )
    below = top + paper.row // 4 + len(paper.lanes) * paper.row
    yield _line(0, total, rate, "Strip", _box(paper.pen, top + paper.row // 4, 2, below - top - paper.row // 4, INK), 3)
    name = rf"{{\an9\pos({paper.pen},{below})\q2}}{unmarked(pair, ' ')}"
    yield _line(0, total, rate, "Strip", name, 1)
    for number in range(len(cuts.cuts)):
        yield from _clock(paper, cuts, number, below)
        yield from _traces(paper, cuts, number, bouts)


def _clock(paper: Paper, cuts: CutList, number: int, y: int) -> Iterator[str]:
    """Yield the session's clock through one cut: a line for each second that it shows."""
    cut, start, (a, b) = cuts.cuts[number], cuts.starts[number], cuts.stretches[number]
    speed = f"   \N{MULTIPLICATION SIGN}{cut.speed}" if cut.speed > 1 else ""
    second = int(a // 1000)
    frame = start
    while frame < start + cut.frames:
        following = second + 1
        until = start + (cuts.frame_of(cut, following * 1000) - cut.first + cut.speed - 1) // cut.speed
        until = min(max(until, frame), start + cut.frames) if following * 1000 < b else start + cut.frames
        if until > frame:
            hand = f"{clock_face(second * 1000)}{speed}"
            yield _line(frame, until, cuts.rate, "Strip", rf"{{\pos({paper.row // 2},{y})\b1\q2}}{hand}", 1)
        frame, second = until, following


def _traces(paper: Paper, cuts: CutList, number: int, bouts: Sequence[Bout]) -> Iterator[str]:
    """Yield the bouts that lie on the paper during one cut, each moving from where it is first to where it is last."""
    cut, start, (a, b) = cuts.cuts[number], cuts.starts[number], cuts.stretches[number]
    scale = (paper.pen - paper.left) / WINDOW_S / 1000
    rows = {behaviour.code: row for row, behaviour in enumerate(paper.lanes)}
    for bout in bouts:
        if bout.code not in rows or bout.onset >= b or bout.offset < a - WINDOW_S * 1000:
            continue
        event = paper.lanes[rows[bout.code]].kind == "event"
        high = paper.row * (3 if event else 2) // 4 - 2
        y = paper.film + paper.row // 4 + rows[bout.code] * paper.row + (paper.row * 2 // 3 - high)
        width = 3 if event else max(2, round((bout.offset - bout.onset) * scale))
        first, last = (paper.pen - (t - bout.onset) * scale for t in (a, b))
        colour = _colour(ACTORS[paper.lanes[rows[bout.code]].actor])
        clip = rf"\clip({paper.left},{paper.film},{paper.pen},{paper.film + paper.rows})"
        drawn = rf"{{\move({first:.1f},{y},{last:.1f},{y})\c{colour}\p1{clip}}}{_rectangle(width, high)}"
        yield _line(start, start + cut.frames, cuts.rate, "Strip", drawn, 2)


def _line(first: int, end: int, rate: Fraction, style: str, text: str, layer: int = 0) -> str:
    # ASS counts hundredths of a second, which is finer than a frame but not on its edge: half a frame earlier is safe.
    times = ",".join(_time((frame - Fraction(1, 2)) / rate) for frame in (first, end))
    return f"Dialogue: {layer},{times},{style},,0,0,0,,{text}"


def _time(seconds: Fraction) -> str:
    return fine_face(max(Fraction(0), seconds))


def _box(x: int, y: int, width: int, height: int, colour: str) -> str:
    return rf"{{\pos({x},{y})\c{_colour(colour)}\p1}}{_rectangle(width, height)}"


def _rectangle(width: int, height: int) -> str:
    return f"m 0 0 l {width} 0 {width} {height} 0 {height}"


def _colour(colour: str) -> str:
    """Return #rrggbb as ASS writes it, blue first."""
    return f"&H{colour[5:7]}{colour[3:5]}{colour[1:3]}&".upper()
