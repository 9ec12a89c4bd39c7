"""A list of animals, one of them in hand: what the desk's screens walk along."""

from collections.abc import Sequence

from rich.cells import cell_len
from rich.style import Style
from rich.text import Text
from textual import events
from textual.widgets import Static

from etholog.base.text import visible
from etholog.screens.fit import padded, shortened

STEPS = {"up": -1, "down": 1}


class Roster(Static):
    """Rows of (name, what is known of it); the row in hand has a sign before it, and is in reverse."""

    DEFAULT_CSS = "Roster { height: 1fr; overflow: hidden; }"

    def __init__(self, rows: Sequence[tuple[str, str]]) -> None:
        super().__init__(id="roster", markup=False)
        self.rows = list(rows)
        self.at = 0

    @property
    def name_in_hand(self) -> str | None:
        """The animal in hand."""
        return self.rows[self.at][0] if self.at < len(self.rows) else None

    def walk(self, steps: int) -> None:
        """Go along the list; its end holds."""
        self.at = min(max(self.at + steps, 0), max(0, len(self.rows) - 1))
        self.show()

    def take(self, event: events.Key) -> bool:
        """Take a key that walks along the list; False for any other."""
        page = max(1, self.size.height - 1)
        steps = STEPS | {"pageup": -page, "pagedown": page, "home": -len(self.rows), "end": len(self.rows)}
        if event.key not in steps:
            return False
        self.walk(steps[event.key])
        return True

    def tell(self, at: int, known: str) -> None:
        """Change what one row says."""
        self.rows[at] = self.rows[at][0], known

    def on_resize(self) -> None:
        """Show as many rows as there is room for."""
        self.show()

    def show(self) -> None:
        """Show the part of the list around the row in hand."""
        height, width = max(1, self.size.height), max(1, self.size.width)
        first = min(max(0, self.at - height // 2), max(0, len(self.rows) - height))
        shown = Text()
        wide = min(max((cell_len(visible(name)) for name, _ in self.rows), default=0), 24)
        for at, (name, known) in enumerate(self.rows[first : first + height], first):
            line = f"{'>' if at == self.at else ' '} {padded(visible(name), wide)}  {visible(known)}"
            shown.append(shortened(line, width), Style(reverse=True) if at == self.at else Style())
            shown.append("\n")
        self.update(shown)
