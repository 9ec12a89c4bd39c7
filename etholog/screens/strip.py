"""The strip's geometry: what each lane shows at which column. Pure, no screen."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from etholog.base.clock import clock_face, length_face, round_step
from etholog.recording.lanes import Lane, onset_of
from etholog.session.folding import Bout, Span
from etholog.session.log import SIGNED

MS_PER_COLUMN = 2000
KEY_WIDTH, LABEL_WIDTH, TOTALS_WIDTH = 3, 17, 13
TICK_WIDTH, TICK_COLUMNS = 8, 12  # what a time on the ruler takes, and how far apart two are at least


class Glyphs(NamedTuple):
    """What a trace is drawn with; shapes tell everything, colours only repeat it."""

    state: str = "━"
    cut: str = "╍"
    event: str = "╿"
    runs: str = "▶"
    gap: str = "░"
    frame: str = "│"
    here: str = "▼"
    note: str = "*"
    rescue: str = "!"
    sync: str = "+"

    def sign(self, what: str) -> str:
        """Return the sign of a note, a rescue or a sync."""
        sign: str = getattr(self, what)
        return sign


BOXES = Glyphs()
PLAIN = Glyphs(state="=", cut="-", event="|", runs=">", gap=":", frame="|", here="V")


def trace(
    lane: Lane, now: int, columns: int, glyphs: Glyphs, scale: int = MS_PER_COLUMN, gaps: Sequence[Span] = ()
) -> str:
    """Return a lane's body: `columns` characters, the last one holding `now` (ms), each `scale` ms wide."""
    right = now // scale
    left = right - columns + 1
    cells = [" "] * columns
    for gap in gaps:
        for at in range(max(gap.onset // scale - left, 0), min((gap.offset - 1) // scale - left + 1, columns)):
            cells[at] = glyphs.gap
    if lane.behaviour.kind == "event":
        for at in range(columns):
            count = _began_before(lane, (left + at + 1) * scale) - _began_before(lane, (left + at) * scale)
            if count:
                cells[at] = glyphs.event if count == 1 else str(min(count, 9))
        return "".join(cells)
    for bout in [*reversed(list(_reaching(lane, left, right, scale))), *lane.running]:
        first = max(bout.onset // scale, left) - left
        if first >= columns:
            continue
        runs = bout in lane.running
        last = min((now if runs else bout.offset) // scale, right) - left
        stroke = glyphs.state if bout.whole or runs else glyphs.cut
        side = (bout.qualifier or "")[:1].upper()
        mark = side if side.isascii() and side.isalpha() else stroke  # a file can hold any text there
        for at in range(first, last + 1):
            cells[at] = stroke
        # A doubt stands beside the side, which is known all the same.
        cells[first] = mark if bout.sure or mark == side else "?"
        beside = first + 1
        if not bout.sure and mark == side and beside < columns and (last > first or cells[beside] == " "):
            cells[beside] = "?"
        if runs and last > first and cells[last] != "?":
            cells[last] = glyphs.runs
    return "".join(cells)


def _began_before(lane: Lane, t: int) -> int:
    """Return how many of the lane's ended bouts began before `t` (ms)."""
    return bisect_left(lane.bouts, t, key=onset_of)


def _reaching(lane: Lane, left: int, right: int, scale: int) -> Iterator[Bout]:
    """Yield the bouts that reach into the columns, last ones first; no more than one beginning in each column, so
    that a trace costs the same after ten marks and after fifty thousand."""
    # Where both choices may run at once, a long bout may lie below many short ones: all have to be looked at.
    overlapping = lane.behaviour.chain is None and bool(lane.behaviour.choices)
    at = _began_before(lane, (right + 1) * scale) - 1
    while at >= 0:
        bout = lane.bouts[at]
        if bout.offset >= left * scale:
            yield bout
        elif not overlapping:
            return
        at = at - 1 if overlapping else _began_before(lane, bout.onset // scale * scale) - 1


def ruler(now: int, columns: int, scale: int, signs: Iterable[tuple[int, str]] = ()) -> str:
    """Return a line of times above a trace of the same measure, and signs at their times (ms); the last one wins.

    >>> ruler(62_000, 32, 2000, [(4000, "*")])
    '  *            0:00:30          '
    """
    left = now // scale - columns + 1
    cells = [" "] * columns
    at_column = {t // scale - left: sign for t, sign in signs}
    apart = round_step(TICK_COLUMNS * scale / 1000) * 1000
    for tick in range(max(0, left * scale // apart), now // apart + 1):
        at = tick * apart // scale - left
        room = range(at, at + TICK_WIDTH)
        if 0 <= at <= columns - TICK_WIDTH and not any(column in at_column for column in room):
            cells[at : at + TICK_WIDTH] = f"{clock_face(tick * apart):<{TICK_WIDTH}}"
    for at, sign in at_column.items():
        if 0 <= at < columns:
            cells[at] = sign
    return "".join(cells)


def axis(
    now: int, columns: int, scale: int, glyphs: Glyphs, signs: Iterable[tuple[int, str]] = (), here: int | None = None
) -> str:
    """Return the ruler of a strip, below the traces' columns: `signs` by what they are, and a cursor `here` (ms)."""
    drawn = [(t, glyphs.sign(what)) for t, what in sorted(signs, key=lambda sign: SIGNED.index(sign[1]))]
    cursor = [] if here is None else [(here, glyphs.here)]
    return " " * (KEY_WIDTH + LABEL_WIDTH + 1) + ruler(now, columns, scale, [*drawn, *cursor])


def totals(lane: Lane, now: int) -> str:
    """Return a lane's count and total time, `TOTALS_WIDTH` characters."""
    if not lane.count:
        return " " * TOTALS_WIDTH
    if lane.behaviour.kind == "event":
        return f"{lane.count:>4}".ljust(TOTALS_WIDTH)
    return f"{lane.count:>4} {length_face(lane.total_ms(now)):>7} "[:TOTALS_WIDTH]
