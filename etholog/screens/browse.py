"""Leafing through the cards: the animals on the left, the card of one on the right."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from etholog.animals import Animals, life
from etholog.base.text import visible, visible_lines
from etholog.screens.packed import Packed
from etholog.screens.themed import ThemedApp
from etholog.screens.themes import Look


class CardBrowser(ThemedApp, inherit_bindings=False):
    """The cards of a workspace, one at a time."""

    CSS = (
        ThemedApp.CSS
        + """
    Screen Static { background: $ground; color: $ink; }
    OptionList, OptionList:focus { width: auto; max-width: 30; height: 100%; border: none;
        background: $ground; color: $ink; background-tint: $ground 0%; scrollbar-size: 0 0; }
    OptionList > .option-list--option, OptionList:focus > .option-list--option { background: $ground; color: $ink; }
    OptionList > .option-list--option-highlighted, OptionList:focus > .option-list--option-highlighted {
        background: $ink; color: $ground; }
    #foot { color: $faint; dock: bottom; }
    VerticalScroll { padding: 0 2; background: $ground; scrollbar-size: 0 0; }
    """
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q,escape,ctrl+c", "quit", "leave"),
        Binding("space,pagedown", "down", "card down"),
        Binding("pageup", "up", "card up"),
    ]

    def __init__(self, look: Look, animals: Animals, first: str | None = None) -> None:
        super().__init__(look)
        self._animals, self._names = animals, animals.known()
        self._first = animals.id_of(first) if first else None

    def compose(self) -> ComposeResult:
        """Lay out list and card."""
        with Horizontal():
            yield OptionList(*(Option(visible(name)) for name in self._names), markup=False)
            with VerticalScroll(can_focus=False):
                yield Static("no cards and no sessions here yet", id="card", markup=False)
        yield Packed("Up and Down walk", "Space and PgUp turn a long card", "Esc leaves", id="foot")

    def on_mount(self) -> None:
        """Begin at the animal that was named."""
        if self._first in self._names:
            self.query_one(OptionList).highlighted = self._names.index(self._first or "")

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Show the card of the animal that the cursor is on."""
        shown = visible_lines(life.lines(self._animals, self._names[event.option_index]))
        self.query_one("#card", Static).update(shown)
        self.query_one(VerticalScroll).scroll_home(animate=False)

    def action_down(self) -> None:
        """Turn the card a page on."""
        self.query_one(VerticalScroll).scroll_page_down(animate=False)

    def action_up(self) -> None:
        """Turn the card a page back."""
        self.query_one(VerticalScroll).scroll_page_up(animate=False)
