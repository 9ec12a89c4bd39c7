"""The least that a terminal's screen can do in Textual: one line, painted anew at each key. What ours is measured
against."""

from textual import events
from textual.app import App, ComposeResult
from textual.widgets import Static


class Bare(App[None]):
    """Says which key was pressed, and that how many there were."""

    pressed = 0

    def compose(self) -> ComposeResult:
        """One line."""
        yield Static("nothing pressed", id="line")

    def on_key(self, event: events.Key) -> None:
        """Paint it."""
        self.pressed += 1
        self.query_one("#line", Static).update(f"pressed {self.pressed}: {event.key}")


if __name__ == "__main__":
    Bare().run()
