"""A line of several things to do or to answer: each stands whole, as many on a line as fit."""

from textual.widgets import Static

from etholog.base.text import visible
from etholog.screens.fit import packed


class Packed(Static):
    """Says parts of a line, packed into the width that it has; a part that alone is too long goes on between words."""

    DEFAULT_CSS = "Packed { height: auto; padding: 0 0 0 1; }"

    def __init__(self, *parts: str, id: str) -> None:
        super().__init__(id=id, markup=False)
        self._parts = parts

    def say(self, *parts: str) -> None:
        """Change what it says."""
        self._parts = parts
        self._show()

    def on_resize(self) -> None:
        """Pack it anew."""
        self._show()

    def _show(self) -> None:
        self.update(packed([visible(part) for part in self._parts], max(1, self.content_size.width)))
