"""A feeding round: walk down the list, one key for each meal; each is on its card before the next key."""

from collections.abc import Callable, Sequence

from textual import events
from textual.app import ComposeResult
from textual.widgets import Static

from etholog.base.refusal import Refusal
from etholog.base.text import visible
from etholog.screens.packed import Packed
from etholog.screens.roster import Roster
from etholog.screens.themed import ThemedApp
from etholog.screens.themes import Look

Give = Callable[[str, str], tuple[str, int, str]]  # an animal and its meal -> whose card, the entry's number, questions
TakeBack = Callable[[str, int], None]


class Feeding(ThemedApp):
    """Its result is how many meals were written. `meals`: what a meal can be, each by its first letter."""

    CSS = ThemedApp.CSS + "#said { height: auto; min-height: 1; } #foot { color: $faint; }"

    def __init__(
        self, look: Look, day: str, rows: Sequence[tuple[str, str]], meals: Sequence[str], give: Give, back: TakeBack
    ) -> None:
        super().__init__(look)
        self._day, self._rows = day, rows
        self._meals = {meal[0]: meal for meal in meals}
        self._give, self._back = give, back
        self._given: list[tuple[int, str, str, int]] = []  # row, what stood there, card, entry: for undo

    def compose(self) -> ComposeResult:
        """Lay the round out."""
        keys = (f"{key} {meal}" for key, meal in self._meals.items())
        yield Packed(f"Feeding round, {self._day}", *keys, id="title")
        yield Static(id="said", markup=False)
        yield Roster(self._rows)
        yield Packed("Enter or Down skips", "Up goes back", "Backspace takes the last back", "Esc leaves", id="foot")

    def on_key(self, event: events.Key) -> None:
        """Write a meal, walk, take back, or leave."""
        roster = self.query_one(Roster)
        said = ""
        if event.key in ("escape", "ctrl+c", "ctrl+q"):
            self.exit(len(self._given))
        elif event.key == "enter":
            roster.walk(1)
        elif event.key == "backspace":
            said = self._take_back(roster)
        elif event.character in self._meals:
            said = self._feed(roster, self._meals[event.character or ""])
        elif not roster.take(event):
            return
        self.query_one("#said", Static).update(f" {visible(said)}")

    def _feed(self, roster: Roster, meal: str) -> str:
        name = roster.name_in_hand
        if name is None:
            return "nobody is here to be fed"
        try:
            card, n, asked = self._give(name, meal)
        except Refusal as refusal:
            return str(refusal)
        self._given.append((roster.at, roster.rows[roster.at][1], card, n))
        roster.tell(roster.at, f"{meal} {self._day}, written")
        roster.walk(1)
        return f"{name}: {meal}{f'. {asked}' if asked else ''}"

    def _take_back(self, roster: Roster) -> str:
        if not self._given:
            return "nothing left to take back"
        at, known, card, n = self._given[-1]
        try:
            self._back(card, n)
        except Refusal as refusal:
            return str(refusal)
        self._given.pop()
        roster.tell(at, known)
        roster.walk(at - roster.at)
        return f"taken back: {roster.rows[at][0]}"
