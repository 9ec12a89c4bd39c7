"""Textual's driver, with one ear on the keys as they arrive."""

import sys
from collections.abc import Callable

from textual import events
from textual.driver import Driver
from textual.message import Message


def noting_driver(note: Callable[[str, float], None]) -> type[Driver] | None:
    """Return a Textual driver that calls `note(character, stamp)` in the input thread; None where the usual one has
    to do."""
    if sys.platform == "win32":
        return None
    from textual.drivers.linux_driver import LinuxDriver

    class NotingDriver(LinuxDriver):
        """The usual driver, with one ear on the keys."""

        def process_message(self, message: Message) -> None:
            if isinstance(message, events.Key) and message.character:
                note(message.character, message.time)
            super().process_message(message)

    return NotingDriver
