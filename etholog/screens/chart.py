"""The strip on the screen: a line for each lane, drawn when something in it changed and kept until then."""

from collections.abc import Callable

from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

from etholog.base.clock import LATER_MS
from etholog.base.text import visible
from etholog.ethogram import ACTORS
from etholog.recording.lanes import Lane, Lanes
from etholog.recording.live import Live
from etholog.screens.fit import padded, shortened
from etholog.screens.sheet import ink
from etholog.screens.strip import (
    KEY_WIDTH,
    LABEL_WIDTH,
    MS_PER_COLUMN,
    TOTALS_WIDTH,
    totals,
    trace,
)
from etholog.screens.themes import Look
from etholog.session.folding import Span


class Chart:
    """The lanes of a session up to `now()`, in milliseconds; with a cursor, `now()` is in the middle."""

    def __init__(self, live: Live, lanes: Lanes, look: Look, now: Callable[[], int], with_cursor: bool = False) -> None:
        self._live, self._lanes, self._look, self._now = live, lanes, look, now
        self._styles = {actor: ink(look, actor) for actor in ACTORS}
        self._faint = ink(look, "faint")
        self._with_cursor = with_cursor
        self.scale = MS_PER_COLUMN
        self._width = 0
        self._shown: list[Lane] = []
        self._drawn: dict[int, tuple[object, Strip]] = {}

    @property
    def room(self) -> int:
        """How many columns a trace has."""
        return max(0, self._width - KEY_WIDTH - LABEL_WIDTH - TOTALS_WIDTH - 2)

    @property
    def right(self) -> int:
        """The time at the last column, in milliseconds."""
        return self._now() + (self.room // 2 * self.scale if self._with_cursor else 0)

    def time_at(self, column: int) -> int:
        """Return the time at a column of the traces, in milliseconds."""
        return (self.right // self.scale - self.room + 1 + column) * self.scale

    def lane_at(self, y: int) -> Lane | None:
        """Return the lane in one of the lines."""
        return self._shown[y] if 0 <= y < len(self._shown) else None

    def lines(self, width: int, rows: int) -> list[Strip]:
        """Return a line for each lane that finds room."""
        self._width, self._shown = width, self._lanes.shown(max(0, rows))
        now = self._now()
        return [self._line(y, lane, now) for y, lane in enumerate(self._shown)]

    def _line(self, y: int, lane: Lane, now: int) -> Strip:
        version = self._version(lane, now)
        drawn = self._drawn.get(y)
        if drawn is None or drawn[0] != version:
            self._drawn[y] = drawn = (version, self._draw(lane, now))
        return drawn[1]

    def _version(self, lane: Lane, now: int) -> object:
        return (
            lane.behaviour.code,
            now // self.scale,
            self.scale,
            len(self._lanes.gaps),
            lane.count,
            len(lane.running),
            round(lane.total_ms(now) / 1000),
            self._live.refolds,
            self._width,
        )

    def _draw(self, lane: Lane, now: int) -> Strip:
        style, frame = self._styles[lane.behaviour.actor], self._look.glyphs.frame
        runs = bool(lane.running)
        strong = style + Style(bold=True, reverse=True) if runs else style + Style(bold=True)
        label = padded(shortened(visible(lane.behaviour.words), LABEL_WIDTH), LABEL_WIDTH)
        return Strip(
            [
                Segment(lane.keys[:2].ljust(KEY_WIDTH - 1) + " ", strong),
                Segment(label, style + Style(bold=True) if runs else style),
                Segment(frame, self._faint),
                *self._traced(lane, style),
                Segment(frame, self._faint),
                Segment(totals(lane, now), style if lane.count else self._faint),
            ]
        ).adjust_cell_length(self._width, self._faint)

    def _traced(self, lane: Lane, style: Style) -> list[Segment]:
        gaps, end = self._lanes.gaps, self._live.end
        if end is not None:
            gaps = [*gaps, Span(-LATER_MS, 0, ""), Span(end + 1, LATER_MS, "")]
        body = trace(lane, self.right, self.room, self._look.glyphs, self.scale, gaps)
        if not self._with_cursor:
            return [Segment(body, style)]
        at = self.room - 1 - self.room // 2
        here = Segment(body[at : at + 1], style + Style(reverse=True))
        return [Segment(body[:at], style), here, Segment(body[at + 1 :], style)]
