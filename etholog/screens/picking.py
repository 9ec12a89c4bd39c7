"""Choosing one animal from a list, with what is known of each."""

from collections.abc import Sequence

from textual import events
from textual.app import ComposeResult

from etholog.screens.packed import Packed
from etholog.screens.roster import Roster
from etholog.screens.themed import ThemedApp
from etholog.screens.themes import Look


class Picking(ThemedApp):
    """Its result is the name of the animal that was chosen, or None. A letter goes to the next name that has it."""

    CSS = ThemedApp.CSS + "#title { padding: 0 0 1 1; } #foot { color: $faint; dock: bottom; }"

    def __init__(self, look: Look, title: str, rows: Sequence[tuple[str, str]]) -> None:
        super().__init__(look)
        self._title_line, self._rows = title, rows

    def compose(self) -> ComposeResult:
        """Lay the list out."""
        yield Packed(self._title_line, id="title")
        yield Roster(self._rows)
        yield Packed("Up and Down walk", "a letter goes to a name", "Enter chooses", "Esc leaves", id="foot")

    def on_key(self, event: events.Key) -> None:
        """Walk, choose, or leave."""
        roster = self.query_one(Roster)
        if roster.take(event):
            return
        if event.key == "enter":
            self.exit(roster.name_in_hand)
        elif event.key in ("escape", "ctrl+c", "ctrl+q"):
            self.exit(None)
        elif event.character and event.character.isprintable():
            self._go_to(roster, event.character.casefold())

    def _go_to(self, roster: Roster, letter: str) -> None:
        """Go to the next name with a part that begins with this letter: of F-Umbra, f and u lead there."""
        count = len(roster.rows)
        for ahead in range(1, count + 1):
            at = (roster.at + ahead) % count
            parts = roster.rows[at][0].casefold().replace("-", " ").split()
            if any(part.startswith(letter) for part in parts):
                roster.walk(at - roster.at)
                return
