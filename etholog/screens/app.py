"""The screens of a session in their order."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual import events

from etholog.base import system
from etholog.base.refusal import Refusal
from etholog.recording.arrivals import PASTE, TAP, Arrivals
from etholog.recording.begun import Begun
from etholog.recording.corrector import NOTE_LENGTH, Answer
from etholog.recording.opening import NewSession
from etholog.recording.recorder import Recorder
from etholog.recording.settings import Settings, keep
from etholog.screens.closing import ClosingForm
from etholog.screens.form import Form
from etholog.screens.legend import definitions
from etholog.screens.ready import Ready
from etholog.screens.themed import ThemedApp
from etholog.screens.themes import Look
from etholog.screens.watchdog import LAST_S
from etholog.screens.watching import Watching

if TYPE_CHECKING:
    from etholog.phone.server import Phone

# What gives a recorder, whose pair is called so, a phone that hands its answers on; or says why there is none.
# What gives a recorder a phone: its pair, who hears of an answer, what is done before a tap is taken in.
PhoneOf = Callable[[Recorder, str, Callable[[Answer], None], Callable[[], None]], "Phone | str"]


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
        settings: Settings | None = None,
        phone: PhoneOf | None = None,
    ) -> None:
        super().__init__(look)
        self._settings = settings or Settings()
        self.watching, self.new = watching, new
        self.arrivals: Arrivals | None = None
        self.refusal: Refusal | None = None
        self._phone_of = phone

    @property
    def recorder(self) -> Recorder | None:
        """Where the session is recorded, once it is."""
        return self.watching.recorder if self.watching is not None else None

    def note(self, event: events.Event) -> None:
        """Keep what arrives, in the input thread, where it is meant for the strip."""
        if self.watching is None or self.arrivals is None or self.watching.recorder.closed:
            return
        match event:
            case events.Key():
                told = event.key, event.character or ""
            case events.MouseDown() if key := self.watching.tapped(event):
                told = TAP, key
            case events.Paste():
                told = PASTE, event.text[:NOTE_LENGTH]
            case _:
                return
        t = self.watching.recorder.t(system.at_stamp(event.time))
        event.arrival = self.arrivals.note(*told, t)  # type: ignore[union-attr]

    def take_up(self, event: events.Event) -> None:
        """Keep that the strip is about to handle what arrived."""
        number = getattr(event, "arrival", None)
        if number is not None and self.arrivals is not None and self.watching is not None:
            self.arrivals.take_up(number, self.watching.recorder.journal.n, not self.watching.takes_keys)

    def on_mount(self) -> None:
        """Show the first screen."""
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
                    ("Before the clock; each line may stay empty",),
                    ("Enter or Down goes on", "Ctrl-S is done", "Esc leaves"),
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
        """What was said by options, and else what was typed before the form was broken off."""
        return self._begun_form.typed("form") | new.given

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
        new = self.new
        if new is not None:
            self.push_screen(
                Ready(
                    lambda: definitions(new.ethogram, new.layout, new.keyboard, new.hand),
                    f"{new.pair}. {new.headline}",
                    new.cautions,
                    new.asked,
                    new.before,
                    new.warnings,
                    self.start_clock,
                    new.prepare,
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
        keep(watching.recorder.journal.path, self._settings)
        watching.before_key = self.take_up
        if self._phone_of is not None:
            watching.phone = self._phone_of(
                watching.recorder, watching.pair, watching.tapped_on_phone, watching.catch_up
            )
            if not isinstance(watching.phone, str):
                self.run_worker(watching.phone.start(), exit_on_error=False)
        self.push_screen(watching, self.show_outcome)

    async def on_unmount(self) -> None:
        """No phone can come any more."""
        phone = self.watching.phone if self.watching is not None else None
        if phone is not None and not isinstance(phone, str):
            await phone.stop()

    def show_outcome(self, _: bool | None) -> None:
        """Ask how it ended; the session is closed and kept already."""
        if self.watching is None or not self.watching.asks:
            self.exit(True)
            return
        self.push_screen(ClosingForm(self.watching.recorder), lambda _: self.exit(True))

    def before_end(self, name: str) -> None:
        """Keep that nobody watches from here on; the session stays open."""
        recorder = self.recorder
        if recorder is None:
            return
        if not recorder.closed and recorder.live.folding.gap is None:
            recorder.gap(system.now(), f"etholog was ended ({name})")
        recorder.journal.close(LAST_S / 2)  # the terminal wants its share

    def goes_on(self) -> None:
        """Have the strip leave a gap for the time in which the program was stopped."""
        if self.watching is not None:
            self.watching.continued = True
