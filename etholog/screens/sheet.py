"""A screen's lines as one widget. What a key costs most is to have Textual lay widgets out anew, and then to paint
each of them; here more lines or fewer are other lines to paint, and no more."""

from collections.abc import Callable
from itertools import zip_longest

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget

from etholog.screens.fit import wrapped
from etholog.screens.themes import Look


class Sheet(Widget):
    """Shows what `lines_of(width, height)` gives, from its top."""

    DEFAULT_CSS = "Sheet { height: 1fr; }"  # no border and no padding: the outer size is all there is

    def __init__(self, lines_of: Callable[[int, int], list[Strip]]) -> None:
        super().__init__()
        self._lines_of = lines_of
        self._lines: list[Strip] = []
        self._fits = Size(0, 0)

    def changed(self) -> None:
        """Paint the lines that are no longer what they were."""
        before, width = self._lines, self.outer_size.width
        self._draw()
        lines = enumerate(zip_longest(before, self._lines))
        if stale := [Region(0, y, width, 1) for y, (was, now) in lines if was is not now and was != now]:
            self.refresh(*stale)

    def render_line(self, y: int) -> Strip:
        """Draw one line; Textual asks for it."""
        if self._fits != self.outer_size:
            self._draw()
        return self._lines[y] if y < len(self._lines) else Strip.blank(self.outer_size.width, self.rich_style)

    def _draw(self) -> None:
        self._fits = self.outer_size
        self._lines = self._lines_of(*self._fits) if self._fits else []  # nothing is laid out yet


def ink(look: Look, name: str, *, bold: bool = False, reverse: bool = False) -> Style:
    """Return the style of one of the theme's colours on its ground."""
    return Style(color=look.theme.of(name), bgcolor=look.theme.ground, bold=bold, reverse=reverse)


def line_of(text: str, width: int, style: Style) -> Strip:
    """Return text as one line of a width."""
    return Strip([Segment(text, style)]).adjust_cell_length(width, style)


def written(text: str, width: int, style: Style) -> list[Strip]:
    """Return text as lines of a width; what does not fit into one takes the lines that it needs, between words."""
    return [line_of(line, width, style) for line in wrapped(text, width).split("\n")]
