"""A line to type into: it holds nothing a terminal would act on, and takes its keys from its screen, in their order."""

from collections.abc import Callable

from textual import events
from textual.widgets import Input


class Line(Input):
    """Textual's input hands what it holds to the terminal as it is: pasted controls and direction marks are dropped.

    Textual also chooses the widget for a key before the keys before it are worked off, and each widget works off its
    own: typed ahead, an Enter and what follows it would change places. So every key goes to the screen, which hands on
    to `take` what is meant for the line.
    """

    before_paste: Callable[[events.Paste], None] = staticmethod(lambda event: None)

    def _on_paste(self, event: events.Paste) -> None:
        self.before_paste(event)  # Textual's own handler comes after this one

    def validate_value(self, value: str) -> str:
        """Keep what can be printed; Textual asks this of every new value."""
        return "".join(character for character in value if character.isprintable())

    def _forward_event(self, event: events.Event) -> None:
        if isinstance(event, events.Key):
            self.screen._forward_event(event)
        else:
            super()._forward_event(event)

    async def typed(self, event: events.Key, ended: Callable[[str | None], None]) -> None:
        """Take in a key of a line that was opened: Enter ends it with what stands in it, Esc with None."""
        if event.key not in ("enter", "escape"):
            await self.take(event)
            return
        self.shut()
        ended(self.value if event.key == "enter" else None)

    async def take(self, event: events.Key) -> None:
        """Take in a key at once: a character, or what moves in the line and changes it."""
        event.stop()
        event.prevent_default()
        if event.is_printable:
            await super()._on_key(event)
        elif (bound := self.screen.active_bindings.get(event.key)) and bound.enabled:
            await self.app.run_action(bound.binding.action, bound.node)

    def open(self, hint: str, begun: str = "") -> None:
        """Begin a new line, or go on with one."""
        self.value, self.placeholder, self.display = begun, hint, True
        self.cursor_position = len(self.value)
        self.screen.set_focus(self)

    def shut(self) -> None:
        """Go back to what lies behind."""
        self.display = False
        self.screen.set_focus(None)
