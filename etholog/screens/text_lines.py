"""Text on the screen, drawn by hand: what takes a Static from its text to cells is a third of what a key costs."""

from rich.segment import Segment
from textual.geometry import Size
from textual.strip import Strip
from textual.widget import Widget


class TextLines(Widget):
    """Lines of text, each of which fits into the width, in the one style that the style sheet gives them."""

    DEFAULT_CSS = "TextLines { height: auto; }"  # no border and no padding: the outer size is all there is

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._lines = [""]

    def say(self, text: str) -> None:
        """Show another text. The screen is laid out anew, which costs most, only for more lines or fewer."""
        before, self._lines = len(self._lines), text.split("\n")
        self.refresh(layout=len(self._lines) != before)

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Return how many lines there are."""
        return len(self._lines)

    def render_line(self, y: int) -> Strip:
        """Draw one line; Textual asks for it."""
        style = self.rich_style
        text = self._lines[y] if y < len(self._lines) else ""
        return Strip([Segment(text, style)]).adjust_cell_length(self.outer_size.width, style)
