"""The screens of a session in their order, and what ends them from outside."""

import signal
import sys
from typing import ClassVar

from textual.app import App
from textual.binding import BindingType
from textual.driver import Driver

from etholog import system
from etholog.watch.themes import Look
from etholog.watch.watching import Watching


class DressedApp(App[bool], inherit_bindings=False):
    """An app in the colours of a theme, with no key of its own."""

    CSS = """
    Screen, Screen > * { background: $ground; color: $ink; }
    Input, Input:focus { border: none; height: 1; padding: 0; background: $ground; color: $ink; }
    Input > .input--cursor { background: $ink; color: $ground; text-style: none; }
    Input > .input--placeholder, Input > .input--suggestion { color: $faint; }
    """
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(self, look: Look, driver: type[Driver] | None = None) -> None:
        self.look = look
        super().__init__(driver_class=driver)

    def get_css_variables(self) -> dict[str, str]:
        """Give style sheets the theme's colours."""
        theme = self.look.theme
        own = {"ground": theme.ground, "ink": theme.text, "faint": theme.faint, "alarm": theme.alarm}
        return super().get_css_variables() | own

    def listen_for_signals(self) -> None:
        """Let a signal end the app as it should: the terminal given back, the file whole."""
        if sys.platform == "win32":
            return
        import asyncio

        loop = asyncio.get_running_loop()
        for name in ("SIGHUP", "SIGTERM", "SIGINT"):
            number = getattr(signal, name)
            loop.add_signal_handler(number, self._broken_off, number, name)

    def _broken_off(self, number: int, name: str) -> None:
        self.before_end(name)
        self.exit(return_code=128 + number)

    def before_end(self, name: str) -> None:
        """Do what has to be done when a signal ends us."""


class WatchApp(DressedApp):
    """Records one session. `run` gives True when it was ended on purpose, None when it was broken off."""

    def __init__(self, watching: Watching, driver: type[Driver] | None = None) -> None:
        super().__init__(watching.look, driver)
        self.watching = watching

    def on_mount(self) -> None:
        """Show the strip, and listen for what may end us."""
        self.listen_for_signals()
        self.push_screen(self.watching, self.exit)

    @property
    def takes_keys(self) -> bool:
        """Whether a key that arrives now is meant for the strip."""
        return self.watching.takes_keys

    def before_end(self, name: str) -> None:
        """Keep that nobody watches from here on; the session stays open."""
        recorder = self.watching.recorder
        if not recorder.closed and recorder.live.folding.gap is None:
            recorder.gap(system.now(), f"etholog was ended ({name})")
        recorder.journal.close()
