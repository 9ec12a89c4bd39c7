"""The screens of a session in their order, and what ends them from outside."""

import signal
import sys
from pathlib import Path
from threading import Thread
from types import FrameType
from typing import Any, ClassVar

from textual import events
from textual.app import App
from textual.binding import BindingType

from etholog.base import system
from etholog.base.journal import Journal
from etholog.base.refusal import Refusal
from etholog.base.text import visible
from etholog.recording.arrivals import Arrivals
from etholog.recording.begun import Begun
from etholog.recording.corrector import Corrector
from etholog.recording.forms import ETHOGRAM, OUTCOME
from etholog.recording.opening import NewSession
from etholog.recording.recorder import Recorder
from etholog.screens.driver import give_back, noting_driver
from etholog.screens.form import Form
from etholog.screens.ready import Ready
from etholog.screens.themes import Look
from etholog.screens.watchdog import LAST_S, Watchdog
from etholog.screens.watching import Watching
from etholog.session.evidence import evidence
from etholog.session.folding import fold
from etholog.session.record import Scalar


class ThemedApp(App[bool], inherit_bindings=False):
    """An app in the colours of a theme, with no key of its own."""

    CSS = """
    Screen, Screen > * { background: $ground; color: $ink; }
    Input, Input:focus { border: none; height: 1; padding: 0; background: $ground; color: $ink; }
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

    def run(self, *args: Any, **options: Any) -> bool | None:
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

    def listen_for_signals(self) -> None:
        """Let a signal end the app as it should: the terminal given back, the file whole."""
        if sys.platform == "win32" or self.is_headless:
            return
        self.watchdog.listen()
        self._heed_stops()

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

    def note(self, event: events.Key) -> None:
        """Take notice of a key as it arrives; called in the input thread."""

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


class WatchApp(ThemedApp):
    """Records one session: the form, the cautions, the strip, the form at the end.

    `run` gives True when the session was ended on purpose, None when it was broken off or never begun.
    """

    def __init__(
        self,
        look: Look,
        *,
        watching: Watching | None = None,
        new: NewSession | None = None,
    ) -> None:
        super().__init__(look)
        self.watching, self.new = watching, new
        self.arrivals: Arrivals | None = None
        self.refusal: Refusal | None = None

    @property
    def recorder(self) -> Recorder | None:
        """Where the session is recorded, once it is."""
        return self.watching.recorder if self.watching is not None else None

    def note(self, event: events.Key) -> None:
        """Keep a key as it arrives, in the input thread, where it is meant for the strip."""
        if self.recorder is not None and self.arrivals is not None and not self.recorder.closed:
            t = self.recorder.t(system.at_stamp(event.time))
            event.arrival = self.arrivals.note(event.key, event.character or "", t)  # type: ignore[attr-defined]

    def take_up(self, event: events.Key) -> None:
        """Keep that the strip is about to handle a key."""
        number = getattr(event, "arrival", None)
        if number is not None and self.arrivals is not None and self.watching is not None:
            self.arrivals.take_up(number, self.watching.recorder.journal.n, not self.watching.takes_keys)

    def on_mount(self) -> None:
        """Show the first screen, and listen for what may end us."""
        self.listen_for_signals()
        if self.watching is not None:
            self.show_strip(self.watching)
        elif self.new is not None and self.new.named:
            self.show_cautions()
        else:
            self.show_form()

    def show_form(self) -> None:
        """Ask for the animals and the rest, if anything is about to begin."""
        if self.new is not None:
            self.push_screen(
                Form(
                    "Before the clock; each line may stay empty",
                    "Enter or Down goes on, Ctrl-S is done, Esc leaves",
                    self.new.questions,
                    self._given(self.new),
                    known=self.new.earlier.known,
                    aside=self.new.aside,
                    check=self.new.take,
                    changed=lambda typed: self._begun_form.keep("form", typed),
                ),
                self._form_done,
            )

    def _given(self, new: NewSession) -> dict[str, str]:
        """What was said by options, and else what was typed before the form was broken off; the ethogram has a default
        among the options, so what was typed goes before that."""
        begun = self._begun_form.typed("form")
        return begun | new.given | {name: text for name, text in begun.items() if name == ETHOGRAM.name}

    @property
    def _begun_form(self) -> Begun:
        return Begun.of_folder(self.new.folder if self.new is not None else Path())

    def _form_done(self, said: dict[str, Any] | None) -> None:
        if said is None:
            self._begun_form.forget()
            self.exit()
        else:
            self.show_cautions()

    def show_cautions(self) -> None:
        """Show the cautions; one key starts the clock."""
        if self.new is not None:
            self.push_screen(
                Ready(
                    self.new.ethogram,
                    self.new.layout,
                    self.new.pair,
                    self.new.cautions,
                    self.new.before,
                    self.start_clock,
                ),
                lambda back: self.show_form() if back else self.exit(),
            )

    def start_clock(self) -> None:
        """Make the session's file and go on to the strip, at once."""
        if self.new is None:
            return
        try:
            recorder = self.new.begin()
        except Refusal as refusal:
            self.refusal = refusal
            self.exit()
            return
        self._begun_form.forget()
        self.show_strip(Watching(recorder, self.look, pair=self.new.pair))

    def show_strip(self, watching: Watching) -> None:
        """Record."""
        self.watching = watching
        self.arrivals = Arrivals(watching.recorder.journal.path)
        watching.before_key = self.take_up
        self.push_screen(watching, self.show_outcome)

    def show_outcome(self, _: bool | None) -> None:
        """Ask how it ended; the session is closed and kept already."""
        if self.watching is None or not self.watching.asks:
            self.exit(True)
            return
        self.push_screen(outcome_form(self.watching.recorder), self.keep_outcome)

    def keep_outcome(self, outcome: dict[str, Scalar] | None) -> None:
        """Keep what was told, and leave."""
        if self.recorder is not None:
            tell_outcome(self.recorder, outcome)
        self.exit(True)

    def before_end(self, name: str) -> None:
        """Keep that nobody watches from here on; the session stays open."""
        recorder = self.recorder
        if recorder is None:
            return
        if not recorder.closed and recorder.live.folding.gap is None:
            recorder.gap(system.now(), f"etholog was ended ({name})")
        recorder.journal.close(LAST_S)

    def goes_on(self) -> None:
        """Have the strip leave a gap for the time in which the program was stopped."""
        if self.watching is not None:
            self.watching.continued = True


def _closed_words(journal: Journal) -> str:
    if journal.trouble is None:
        return "The session is closed and kept"
    return visible(f"The session is closed, but NOT all of it is in its file: {journal.trouble}")


def outcome_form(of: Corrector) -> Form:
    """Return the questions about a session's end, with what was typed before they were broken off."""
    bouts = fold(of.ethogram, of.live.records).bouts  # what still ran at the end, too
    rung = evidence(of.ethogram, bouts).words
    begun = Begun.of_session(of.journal.path)
    return Form(
        f"{_closed_words(of.journal)}. Two minutes more; each line may stay empty",
        "Enter or Down goes on, Ctrl-S is done, Esc leaves it all empty",
        OUTCOME,
        begun.typed("outcome"),
        aside=lambda _: f" By the marks: {rung}.",
        changed=lambda typed: begun.keep("outcome", typed),
    )


def tell_outcome(of: Corrector, outcome: dict[str, Scalar] | None) -> None:
    """Keep the answers about a session's end, where there are any."""
    Begun.of_session(of.journal.path).forget()
    if outcome:
        of.close_again(outcome)


class OutcomeApp(ThemedApp):
    """Asks again how a closed session ended, when that was broken off."""

    def __init__(self, of: Corrector, look: Look) -> None:
        super().__init__(look)
        self._of = of

    def on_mount(self) -> None:
        """Ask."""
        self.listen_for_signals()
        self.push_screen(outcome_form(self._of), self._told)

    def _told(self, outcome: dict[str, Scalar] | None) -> None:
        tell_outcome(self._of, outcome)
        self.exit(True)
