"""A line to type into: it holds nothing a terminal would act on, and takes no key that is not meant for it."""

from textual import events
from textual.message import Message
from textual.widgets import Input


class Line(Input):
    """Textual's input hands what it holds to the terminal as it is: pasted controls and direction marks are dropped.

    Textual also chooses the widget for a key before the keys before it are worked off. So what is submitted is what
    stood there when Enter came, and a key that comes after that is handed back as `Late`.
    """

    class Late(Message):
        """A key that was meant for what lies behind the line."""

        def __init__(self, key: events.Key) -> None:
            super().__init__()
            self.key = key

    closes = False  # whether Enter ends it; in a form it stays
    _entered = False

    def validate_value(self, value: str) -> str:
        """Keep what can be printed; Textual asks this of every new value."""
        return "".join(character for character in value if character.isprintable())

    async def _on_key(self, event: events.Key) -> None:
        if self._entered or not self.display:
            self.post_message(self.Late(event))
        elif event.key == "enter":
            self._enter()
        else:
            return  # to the input that this is
        event.stop()
        event.prevent_default()

    def open(self, hint: str) -> None:
        """Begin a new line, which Enter closes."""
        self.closes = True
        self._entered = False
        self.value, self.placeholder, self.display = "", hint, True
        self.screen.set_focus(self)

    def shut(self) -> None:
        """Go back to what lies behind."""
        self.display = False
        self.screen.set_focus(None)

    def _enter(self) -> None:
        self._entered = self.closes
        self.post_message(self.Submitted(self, self.value))

    def sent_elsewhere(self, event: events.Key) -> None:
        """Take in a key that the screen got although the line is open: it came too soon after the opening."""
        if self._entered:
            self.post_message(self.Late(event))
        elif event.key == "enter":
            self._enter()
        elif event.is_printable and event.character:
            self.insert_text_at_cursor(event.character)
        else:
            return
        event.stop()
