"""An app in the colours of a theme, and what ends it from outside."""

import gc
import signal
import sys
from threading import Thread
from types import FrameType
from typing import Any, ClassVar

from textual import events
from textual.app import App
from textual.binding import BindingType

from etholog.screens.driver import give_back, noting_driver
from etholog.screens.themes import Look
from etholog.screens.watchdog import Watchdog

YOUNG = 2_000  # objects of which garbage is looked for among them: some ten keys', and a millisecond


def _collect_briefly() -> None:
    """Look for garbage often and among little, so that no key waits for it long: what is there now will stay."""
    gc.freeze()
    gc.set_threshold(YOUNG, 50, 50)


class ThemedApp(App[Any], inherit_bindings=False):
    """An app in the colours of a theme, with no key of its own."""

    CSS = """
    Screen, Screen > * { background: $ground; color: $ink; }
    Input, Input:focus { border: none; height: 1; padding: 0; background: $ground; color: $ink;
        background-tint: $ground 0%; }
    Input > .input--cursor { background: $ink; color: $ground; text-style: none; }
    Input > .input--placeholder, Input > .input--suggestion { color: $faint; }
    """
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(self, look: Look) -> None:
        self.look = look
        self.watchdog = Watchdog(self._ask_to_end, self._end_by_force)
        self._stops = False  # whether Ctrl-Z, or the signal of it, gives the terminal to the shell
        super().__init__(driver_class=noting_driver(self.note, self.input_ended, self.farewell))

    def run(self, *args: Any, **options: Any) -> Any:
        """Show the app until it ends."""
        try:
            return super().run(*args, **options)
        finally:
            self.watchdog.over()

    def get_css_variables(self) -> dict[str, str]:
        """Give style sheets the theme's colours."""
        theme = self.look.theme
        own = {"ground": theme.ground, "ink": theme.text, "faint": theme.faint, "alarm": theme.alarm}
        return super().get_css_variables() | own

    def on_mount(self) -> None:
        """Let a signal end the app as it should: the terminal given back, the file whole.

        Textual calls this after the `on_mount` of an app that has one of its own.
        """
        if sys.platform == "win32" or self.is_headless:
            return
        self.watchdog.listen()
        self._heed_stops()
        _collect_briefly()

    def _ask_to_end(self, number: int, how: str) -> None:
        if self._loop is not None:
            self._loop.call_soon_threadsafe(self._broken_off, number, how)

    def _end_by_force(self, how: str) -> None:
        self.before_end(how)
        if self._driver is not None:
            give_back(self._driver)

    def _heed_stops(self) -> None:
        stops, goes_on = signal.getsignal(signal.SIGTSTP), signal.getsignal(signal.SIGCONT)
        suspended = False

        def stop(number: int, frame: FrameType | None) -> None:
            nonlocal suspended
            suspended = self._stops = True
            if callable(stops):
                stops(number, frame)

        def go_on(number: int, frame: FrameType | None) -> None:
            nonlocal suspended
            self.goes_on()
            # After a SIGSTOP, which nobody can hear, Textual would read the terminal in two threads from here on.
            if not suspended and self._driver is not None:
                self._driver.suspend_application_mode()
            suspended = self._stops = False
            if callable(goes_on):
                goes_on(number, frame)
                self.call_later(self.refresh, layout=True)

        if callable(stops):  # there is none in a test without a terminal
            signal.signal(signal.SIGTSTP, stop)
            signal.signal(signal.SIGCONT, go_on)

    def _broken_off(self, number: int, name: str) -> None:
        self.before_end(name)
        self.exit(return_code=128 + number if number else 1)

    def note(self, event: events.Event) -> None:
        """Take notice of a key, tap or paste as it arrives; called in the input thread."""

    def farewell(self) -> str:
        """Return what the shell's screen says while the program is stopped."""
        return "etholog waits, and records nothing meanwhile. To go on with it: fg\r\n" if self._stops else ""

    def input_ended(self, number: int, how: str) -> None:
        """End as after a signal: no key can come any more. Called in the input thread."""
        # In a thread of its own: the driver waits for the one that calls this.
        Thread(target=self.watchdog.end, args=(number, how), daemon=True).start()

    def before_end(self, name: str) -> None:
        """Do what has to be done when a signal ends us."""

    def goes_on(self) -> None:
        """Take notice, and no more, that the program was stopped and goes on: this is called within a signal."""
