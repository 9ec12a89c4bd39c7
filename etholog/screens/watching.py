"""The watch screen: clock and pair on top, the strip, and below it the prompt, what runs, and what undo takes back."""

import time
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, ClassVar

from rich.cells import cell_len
from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.screen import Screen
from textual.widgets import Digits, Input, Static

from etholog.base import system
from etholog.base.clock import clock_face, length_face
from etholog.base.text import many, visible, visible_lines
from etholog.ethogram.own_keys import Act, act_of
from etholog.recording.begun import Begun
from etholog.recording.corrector import Answer
from etholog.recording.lanes import Lanes
from etholog.recording.prompts import Prompts
from etholog.recording.recorder import Recorder
from etholog.screens.chart import StripChart
from etholog.screens.code_panel import CodePanel
from etholog.screens.driver import held
from etholog.screens.fit import first_fitting, shortened, wrapped
from etholog.screens.keys_panel import KeysPanel
from etholog.screens.line import Line
from etholog.screens.strip import PLAIN, axis
from etholog.screens.text_lines import TextLines
from etholog.screens.themes import Look
from etholog.session.folding import Bout

if TYPE_CHECKING:
    from etholog.phone.server import Phone

TICK_S = 0.25
SLOW_DISK_S = 2.0
OTHER_ROWS = 9  # the clock in big figures, and all the lines above and below the strip
NOTE_HINTS = (
    "a note, or -12 to move the last mark 12 s earlier; Enter keeps, Esc leaves",
    "a note, or -12 to move the mark; Enter keeps, Esc leaves",
    "a note; Enter keeps, Esc leaves",
)
GAP_HINTS = ("why does nobody watch? Enter keeps, Esc leaves", "why? Enter keeps, Esc leaves")
FOCUS_LOST = "THIS WINDOW HAS LOST THE FOCUS: keys go elsewhere and are not marks. Click here."


class Watching(Screen[bool], inherit_bindings=False):
    """Records one session; its result is True when it was ended on purpose."""

    CSS = """
    Watching { overflow: hidden; }
    #clock { width: auto; padding: 0 2; display: none; }
    #axis, #prompt.axis { color: $faint; }
    #prompt { color: $alarm; }
    #trouble { display: none; color: $alarm; text-style: bold reverse; height: auto; }
    #last { color: $faint; }
    #line, #phone { display: none; }
    """
    AUTO_FOCUS = ""
    compares_clocks = True
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(
        self,
        recorder: Recorder,
        look: Look,
        *,
        pair: str,
        clock: Callable[[], float] = system.now,
        stamp: Callable[[events.Event], float] = lambda event: system.at_stamp(event.time),
        live: bool = True,
        asks: bool = True,
    ) -> None:
        super().__init__()
        self.recorder = recorder
        self.look = look
        self.asks = asks  # whether the form at the end follows
        self.pair = visible(pair)
        self._clock, self._stamp, self._live = clock, stamp, live
        self._lanes = Lanes(recorder.ethogram, recorder.layout)
        self._gap_key, self._fold_key = recorder.keyboard.typed("-"), recorder.keyboard.typed("`")
        self._prompts = Prompts(recorder.ethogram, recorder.live.records)
        self._prompt_text, self._answer = "", ""
        self._begun = Begun.of_session(recorder.journal.path)
        self._folded_away = 0  # so many rescues were read; a new one shows what to do again
        self._ending = False
        self.phone: Phone | str | None = None  # or why there is none
        self._code_shown = False  # it is shown once by itself
        self.continued = False  # set by whoever sees that the program was stopped and goes on
        self.takes_keys = True  # False while a line is typed, whose letters are no marks
        self.before_key: Callable[[events.Event], None] = lambda event: None
        self._shown: dict[str, str] = {}

    def compose(self) -> ComposeResult:
        """Lay the screen out, from top to bottom."""
        yield Digits("0:00:00", id="clock")
        yield TextLines(id="top")
        yield Static(id="trouble", markup=False)
        yield TextLines(id="phone")
        yield StripChart(self.recorder.live, self._lanes, self.look, self._now)
        yield TextLines(id="axis")
        yield TextLines(id="prompt")
        yield TextLines(id="runs")
        yield TextLines(id="last")
        yield Line(id="line", select_on_focus=False)  # or what is typed ahead of the focus is typed over
        yield KeysPanel(self.recorder, self.recorder.where)
        yield CodePanel(markup=False)

    def on_mount(self) -> None:
        """Start to tick."""
        self.app.app_resume_signal.subscribe(self, self._came_back)
        self.watch(self.app, "app_focus", self.tick, init=False)
        self.query_one(Line).before_paste = self.before_key
        if self._live:
            self.set_interval(TICK_S, self.tick)
        self.tick()
        if note := self._begun.typed("note").get("note"):
            self._open_line(note)

    def on_resize(self) -> None:
        """Fit what is said to the new size, once it is laid out."""
        self.call_after_refresh(self.tick)

    def _suspend(self) -> None:
        """Ctrl-Z: go to the shell; the time there is a gap."""
        if self.recorder.live.folding.gap is None:
            self.recorder.gap(self._clock(), "suspended by Ctrl-Z")
        self.app.action_suspend_process()

    def _came_back(self, _: object) -> None:
        self.continued = False
        if self.recorder.live.folding.gap is not None:
            self._told(self.recorder.back(self._clock()))
        # Textual repaints only what changed, and the shell has written over all of it.
        self.refresh(layout=True)

    def _after_stop(self) -> None:
        """A program that was stopped from outside recorded nothing meanwhile."""
        if self.continued and self.recorder.live.folding.gap is None:
            self._answer = self.recorder.stopped(self._clock()).text
        self.continued = False

    # ------------------------------------------------------------ input

    async def on_key(self, event: events.Key) -> None:
        """Take in a key, stamped with its arrival."""
        event.stop()
        event.prevent_default()
        self.before_key(event)
        if not self.takes_keys:
            await self.query_one(Line).typed(event, self._line_ended)
            return
        self._after_stop()
        at = self._stamp(event)
        place = self.recorder.keyboard.place(event.character or "")
        act = act_of(event.key, self.recorder.where) or act_of(place, self.recorder.where)
        if act is not Act.KEYS:
            self.query_one(KeysPanel).hide()
        if act is not Act.PHONE:
            self.query_one(CodePanel).hide()
        ending, self._ending = self._ending, act is Act.END
        if ending and act is Act.LINE:
            self.takes_keys = False
            self.recorder.close(at)
            self.dismiss(True)
            return
        self._told(self._press(event, act, at))

    def _press(self, event: events.Key, act: Act | None, at: float) -> Answer:
        recorder = self.recorder
        match act:
            case Act.LINE:
                self._open_line()
                return Answer("")
            case Act.FOLD:
                shown = recorder.live.rescues > self._folded_away
                self._folded_away = recorder.live.rescues if shown else 0
                return Answer(f"folded away; {self._fold_key} shows it again" if shown else "")
            case Act.END:
                recorder.asks_code = False
                return Answer("END? Enter ends the session; any other key goes on")
            case Act.SUSPEND:
                self._suspend()
                return Answer("")
            case Act.HOW_TO_END:
                return Answer("Esc, then Enter ends the session")
            case Act.KEYS:
                self.query_one(KeysPanel).turn()
                return Answer("")
            case Act.PHONE:
                return self._ask_for_phone()
        named = event.character is None or act_of(event.key, recorder.where) is not None
        return recorder.take(event.key if named else event.character or "", at, held(event))

    def _forward_event(self, event: events.Event) -> None:
        # Handed on to a widget, a tap would be stamped anew, and leave its place among the keys.
        if isinstance(event, events.MouseDown) and not event.is_forwarded and self.tapped(event):
            event._set_forwarded()
            self.post_message(event)
        else:
            super()._forward_event(event)

    def tapped(self, event: events.MouseDown) -> str:
        """Return the key that a tap stands for: that of its lane; of two, the left half of it is the first. '' for
        none."""
        widget = self.get_widget_at(event.screen_x, event.screen_y)[0]
        lane = widget.lane_at(event.screen_y - widget.region.y) if isinstance(widget, StripChart) else None
        if lane is None or not lane.keys:
            return ""
        return lane.keys[2 * event.screen_x // max(1, self.size.width) if len(lane.keys) > 1 else 0]

    def on_mouse_down(self, event: events.MouseDown) -> None:
        """A tap on a lane is its key."""
        if key := self.tapped(event):
            self.before_key(event)
            self._ending = False
            self._told(self.recorder.press(key, self._stamp(event)))

    def on_paste(self, event: events.Paste) -> None:
        """Pasted text makes no marks."""
        if self.takes_keys:
            event.stop()
            self.before_key(event)
            self._told(self.recorder.pasted(event.text, self._stamp(event)))

    def on_input_changed(self, event: Input.Changed) -> None:
        """Keep what is typed, or a break would lose it."""
        if not self.takes_keys:
            self._begun.keep("note", {"note": event.value})

    def _open_line(self, begun: str = "") -> None:
        self.query_one("#last").display = self.takes_keys = False
        hints = NOTE_HINTS if self.recorder.live.folding.gap is None else GAP_HINTS
        self.query_one(Line).open(first_fitting(self.size.width - 1, *hints), begun)

    def _line_ended(self, text: str | None) -> None:
        self.query_one("#last").display = self.takes_keys = True
        self._begun.forget()
        if text is not None:
            self._told(self.recorder.line(text, self._clock()))

    # ------------------------------------------------------------ output

    def _now(self) -> int:
        return self.recorder.t(self._clock())

    def _told(self, answer: Answer) -> None:
        if self._phone is not None:
            self._phone.said(answer.text)
        self.tapped_on_phone(answer)

    def tapped_on_phone(self, answer: Answer) -> None:
        """Show what came of a tap on the phone."""
        self._answer = answer.text
        self.tick()

    @property
    def _phone(self) -> "Phone | None":
        return None if isinstance(self.phone, str) else self.phone

    def _ask_for_phone(self) -> Answer:
        phone, panel = self._phone, self.query_one(CodePanel)
        if phone is None or not phone.listens:
            return Answer("no phone listens here; --phone begins with one")
        if phone.let_in():
            return Answer("the other phone is the keyboard now")
        if panel.display:
            panel.hide()
        else:
            panel.show(phone.seat.url, self.look.glyphs is not PLAIN)
        return Answer("")

    def _show_phone(self) -> None:
        """Say how it stands with the phone; show the code once, until a phone has come or a key is pressed."""
        if self.phone is None:
            return
        phone = self._phone
        self.query_one("#phone").display = True
        if phone is not None:
            phone.prompt = self._prompt_text
            phone.tick()
            if phone.listens and not self._code_shown:
                self._code_shown = True
                self._ask_for_phone()
            elif phone.connected:
                self.query_one(CodePanel).hide()
        line = phone.line if phone is not None else self.phone
        self._say("phone", f" {visible(str(line))}")

    def tick(self) -> None:
        """Show what is: called after each key and a few times a second."""
        if not self.is_attached:
            return  # the form at the end is here already
        self._after_stop()
        now = self._now()
        if self.compares_clocks:
            self.recorder.watch_clocks(self._clock(), time.monotonic(), self.recorder.wall())
        for prompt in self._prompts.due(self.recorder.live, now):
            self.recorder.prompted(prompt.name, self._clock())
            self._prompt_text = f"{clock_face(now)}  {prompt.text}"
            if self.look.bell:
                self.app.bell()
        self._lanes.follow(self.recorder.live)
        chart = self.query_one(StripChart)
        chart.changed()
        covered = self.query_one(CodePanel).display
        big = not covered and self.look.glyphs is not PLAIN and self.size.height >= len(self._lanes.lanes) + OTHER_ROWS
        digits = self.query_one(Digits)
        if digits.display != big:
            digits.display = big
        if big and digits.value != (face := clock_face(now)):
            digits.update(face)
        self._say("top", self._top(now))
        self._say_prompt(self._bottom_prompt(chart), chart)
        self._say("runs", self._run_text(now))
        ways = (self.recorder.with_undo(self._answer), self.recorder.with_undo_key(self._answer), self._answer)
        self._say("last", first_fitting(self.size.width, *(f" {visible(way)}" for way in ways)))
        self._show_trouble()
        self._show_phone()

    def _say(self, name: str, text: str) -> None:
        """Show a line; what does not fit into one takes the lines that it needs, between words."""
        width = self.size.width
        if width and (cell_len(text) > width or "\n" in text):
            text = wrapped(text, width)
        if self._shown.get(name) == text:
            return
        self._shown[name] = text
        self.query_one(f"#{name}", TextLines).say(text)

    def _say_prompt(self, text: str, chart: StripChart) -> None:
        """Show the prompt, and the axis above it. Where a line for the axis would hide a lane, it stands in the
        prompt's own, as long as there is no prompt."""
        times = axis(chart.right, chart.room, chart.scale, self.look.glyphs, self.recorder.live.signs)
        around = [
            self.query_one(f"#{name}")
            for name in ("clock", "top", "trouble", "phone", "prompt", "runs", "last", "line")
        ]
        room = self.size.height - sum(one.outer_size.height for one in around if one.display)
        own, prompt = self.query_one("#axis"), self.query_one("#prompt")
        tight = room == len(self._lanes.lanes)
        if own.display == tight:
            own.display = not tight
        prompt.set_class(tight and not text, "axis")
        self._say("axis", times)
        self._say("prompt", times if tight and not text else text)

    def _top(self, now: int) -> str:
        keyed = self.recorder.live.last_keyed
        ago = f"last mark {clock_face(max(0, now - keyed))} ago" if keyed is not None else "no mark yet"
        stage = (self.recorder.live.stage or "before").upper()
        short = f" {clock_face(now)}  {stage:<10}"
        ways = (f"{short}  {ago}  {self.pair}  {self.recorder.wall():%H:%M}", f"{short}  {ago}  {self.pair}")
        width = self.size.width
        shorter = f"{short}  {ago.removeprefix('last mark ')}  {self.pair}"
        return shortened(first_fitting(width, *ways, shorter, f"{short}  {self.pair}"), width) if width else short

    def _bottom_prompt(self, chart: StripChart) -> str:
        if self.recorder.live.rescues > self._folded_away:
            *lines, last = (f" {line}" for line in self.recorder.rescue_lines)
            return visible_lines([*lines, f"{last}   ({self._fold_key} folds this away)"])
        prompt = f" {visible(self._prompt_text)}" if self._prompt_text else ""
        if not chart.hidden or self.query_one(KeysPanel).display or self.query_one(CodePanel).display:
            return prompt
        lanes = many(chart.hidden, "lane")
        finds = "finds" if chart.hidden == 1 else "find"
        return first_fitting(self.size.width, f"{prompt}   ({lanes} {finds} no room)", f"{prompt} ({lanes} hidden)")

    def _run_text(self, now: int) -> str:
        folding = self.recorder.live.folding
        if folding.gap is not None:
            why = f" ({visible(folding.gap.why)})" if folding.gap.why else "; Enter says why"
            since = f" NOBODY WATCHES since {clock_face(folding.gap.onset)}{why}"
            ways = (f"{since}; any mark, or {self._gap_key}, ends it", f"{since}; {self._gap_key} ends it")
            return first_fitting(self.size.width, *ways)
        return self._runs(now, folding.running)

    def _runs(self, now: int, running: Mapping[object, Bout]) -> str:
        names = self.recorder.ethogram.by_code
        runs = [
            f"{names[b.code].words}{' ' + b.qualifier if b.qualifier else ''} {length_face(now - b.onset)}"
            for b in running.values()
        ]
        return " now: " + visible(", ".join(runs) if runs else "nothing runs")

    def _show_trouble(self) -> None:
        journal = self.recorder.journal
        text = journal.trouble or ""
        if not text and journal.waiting_s > SLOW_DISK_S:
            text = f"The disk is slow: the last marks have been waiting for it for {journal.waiting_s:.0f} s"
        if not text and not self.app.app_focus:
            text = FOCUS_LOST
        trouble = self.query_one("#trouble", Static)
        if trouble.display != bool(text):
            trouble.display = bool(text)
        if self._shown.get("trouble") != text:
            self._shown["trouble"] = text
            trouble.update(visible(text))
