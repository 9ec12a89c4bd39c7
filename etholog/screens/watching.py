"""The watch screen: clock and pair on top, the strip, and below it the prompt, what runs, and what undo takes back."""

import time
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, ClassVar

from rich.segment import Segment
from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.renderables.digits import Digits
from textual.screen import Screen
from textual.strip import Strip
from textual.widgets import Input

from etholog.base import system
from etholog.base.clock import clock_face, length_face
from etholog.base.text import many, visible, visible_lines
from etholog.ethogram import Prompt
from etholog.ethogram.own_keys import Act, act_of
from etholog.recording.begun import Begun
from etholog.recording.corrector import Answer
from etholog.recording.lanes import Lanes
from etholog.recording.prompts import Prompts, is_taken_back
from etholog.recording.recorder import Recorder
from etholog.screens.chart import Chart
from etholog.screens.code_panel import CodePanel
from etholog.screens.driver import held
from etholog.screens.fit import first_fitting, shortened
from etholog.screens.keys_panel import KeysPanel
from etholog.screens.line import Line
from etholog.screens.sheet import Sheet, ink, written
from etholog.screens.strip import PLAIN, axis
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

    DEFAULT_CSS = """
    Watching { overflow: hidden; layers: default typed; }
    #line { display: none; layer: typed; }
    """
    AUTO_FOCUS = ""
    BLANK = True  # of the screen itself nothing is seen: the sheet covers it
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
        self._chart, self._chart_top = Chart(recorder.live, self._lanes, look, self._now), 0
        self._ink, self._faint, self._alarm = (ink(look, name) for name in ("text", "faint", "alarm"))
        self._loud = ink(look, "alarm", bold=True, reverse=True)
        self._sheet, self._line_at = Sheet(self._lines), 0
        self._gap_key, self._fold_key = recorder.keyboard.typed("-"), recorder.keyboard.typed("`")
        self._prompts = Prompts(recorder.ethogram, recorder.live.records)
        self._prompt: Prompt | None = None
        self._prompt_text, self._answer = "", ""
        self._begun = Begun.of_session(recorder.journal.path)
        self._folded_away = 0  # so many rescues were read; a new one shows what to do again
        self._ending = False
        self.phone: Phone | str | None = None  # or why there is none
        self._code_shown = False  # it is shown once by itself
        self.continued = False  # set by whoever sees that the program was stopped and goes on
        self.takes_keys = True  # False while a line is typed, whose letters are no marks
        self.before_key: Callable[[events.Event], None] = lambda event: None

    def compose(self) -> ComposeResult:
        """Lay the screen out, from top to bottom."""
        yield self._sheet
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
        """Put the line that is typed where it belongs, once the new size is laid out."""
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

    def catch_up(self) -> None:
        """Leave a gap for what went by while the program was stopped or the machine slept, before anything of now is
        taken in."""
        self._after_stop()
        if self.compares_clocks:
            at, awake, wall = self._clock(), time.monotonic(), self.recorder.wall()
            if not self.continued:  # stopped meanwhile: the gap begins where the clocks were compared before
                self.recorder.watch_clocks(at, awake, wall)

    # ------------------------------------------------------------ input

    async def on_key(self, event: events.Key) -> None:
        """Take in a key, stamped with its arrival."""
        event.stop()
        event.prevent_default()
        self.before_key(event)
        self.catch_up()
        if not self.takes_keys:
            await self.query_one(Line).typed(event, self._line_ended)
            return
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
        if self.get_widget_at(event.screen_x, event.screen_y)[0] is not self._sheet:
            return ""
        lane = self._chart.lane_at(event.screen_y - self._sheet.region.y - self._chart_top)
        if lane is None or not lane.keys:
            return ""
        return lane.keys[2 * event.screen_x // max(1, self.size.width) if len(lane.keys) > 1 else 0]

    def on_mouse_down(self, event: events.MouseDown) -> None:
        """A tap on a lane is its key."""
        if key := self.tapped(event):
            self.before_key(event)
            self._ending = False
            self.catch_up()
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
        self.takes_keys = False
        hints = NOTE_HINTS if self.recorder.live.folding.gap is None else GAP_HINTS
        self.query_one(Line).open(first_fitting(self.size.width - 1, *hints), begun)

    def _line_ended(self, text: str | None) -> None:
        self.takes_keys = True
        self._begun.forget()
        if text is not None:
            self._told(self.recorder.line(text, self._clock()))
        self.tick()

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

    def _follow_phone(self) -> None:
        """Tell the phone how it stands; show the code once, until a phone has come or a key is pressed."""
        if (phone := self._phone) is None:
            return
        phone.prompt = self._prompt_text
        phone.tick()
        if phone.listens and not self._code_shown:
            self._code_shown = True
            self._ask_for_phone()
        elif phone.connected:
            self.query_one(CodePanel).hide()

    def tick(self) -> None:
        """Show what is: called after each key and a few times a second."""
        if not self.is_attached:
            return  # the form at the end is here already
        self.catch_up()
        now = self._now()
        for prompt in self._prompts.due(self.recorder.live, now):
            self.recorder.prompted(prompt.name, self._clock())
            self._prompt, self._prompt_text = prompt, f"{clock_face(now)}  {prompt.text}"
            if self.look.bell:
                self.app.bell()
        if self._prompt and is_taken_back(self._prompt, self.recorder.live):
            self._prompt, self._prompt_text = None, ""
        self._follow_phone()
        self._lanes.follow(self.recorder.live)
        self._sheet.changed()
        if not self.takes_keys:
            self.query_one(Line).styles.offset = (0, self._sheet.region.y + self._line_at)

    def _lines(self, width: int, height: int) -> list[Strip]:
        """Return all of the screen but what is typed."""
        now = self._now()
        above = [*self._big_clock(now, width), *written(self._top(now), width, self._ink)]
        if trouble := self._trouble():
            above += written(visible(trouble), width, self._loud)
        if self.phone is not None:
            above += written(f" {visible(str(self._phone.line if self._phone else self.phone))}", width, self._ink)
        runs = written(self._run_text(now), width, self._ink)
        ways = (self.recorder.with_undo(self._answer), self.recorder.with_undo_key(self._answer), self._answer)
        last = first_fitting(width, *(f" {visible(way)}" for way in ways)) if self.takes_keys else ""
        below = [*runs, *written(last, width, self._faint)]
        around = len(above) + len(below)
        middle = self._middle(width, height - around, self.size.height - around)
        self._chart_top, self._line_at = len(above), len(above) + len(middle) + len(runs)
        return [*above, *middle, *below]

    def _middle(self, width: int, rows: int, uncovered: int) -> list[Strip]:
        """Return strip, axis and prompt in so many rows; so many there are where no panel covers some. Where a line for
        the axis would hide a lane, it stands in the prompt's own, as long as there is no prompt."""
        lanes, hidden = len(self._lanes.lanes), 0
        while True:
            text = self._bottom_prompt(width, hidden)
            prompt = written(text, width, self._alarm)
            alone = uncovered - len(prompt) != lanes
            room = max(1, rows - len(prompt) - alone)
            if lanes - room <= hidden:  # what is said of them may take a line of its own
                break
            hidden = lanes - room
        strip = self._chart.lines(width, room)
        if text and not alone:
            return [*strip, *prompt]
        chart = self._chart
        times = axis(chart.right, chart.room, chart.scale, self.look.glyphs, self.recorder.live.signs)
        return [*strip, *written(times, width, self._faint), *(prompt if alone else ())]

    def _big_clock(self, now: int, width: int) -> list[Strip]:
        """Return the clock in big figures, where there is room for it."""
        roomy = self.size.height >= len(self._lanes.lanes) + OTHER_ROWS
        if not roomy or self.look.glyphs is PLAIN or self.query_one(CodePanel).display:
            return []
        figures = self.app.console.render_lines(Digits(clock_face(now), self._ink), pad=False)
        return [Strip([Segment("  ", self._ink), *line]).adjust_cell_length(width, self._ink) for line in figures]

    def _top(self, now: int) -> str:
        keyed = self.recorder.live.last_keyed
        ago = f"last mark {clock_face(max(0, now - keyed))} ago" if keyed is not None else "no mark yet"
        stage = (self.recorder.live.stage or "before").upper()
        short = f" {clock_face(now)}  {stage:<10}"
        ways = (f"{short}  {ago}  {self.pair}  {self.recorder.wall():%H:%M}", f"{short}  {ago}  {self.pair}")
        width = self.size.width
        shorter = f"{short}  {ago.removeprefix('last mark ')}  {self.pair}"
        return shortened(first_fitting(width, *ways, shorter, f"{short}  {self.pair}"), width) if width else short

    def _bottom_prompt(self, width: int, hidden: int) -> str:
        if self.recorder.live.rescues > self._folded_away:
            *lines, last = (f" {line}" for line in self.recorder.rescue_lines)
            return visible_lines([*lines, f"{last}   ({self._fold_key} folds this away)"])
        prompt = f" {visible(self._prompt_text)}" if self._prompt_text else ""
        if not hidden or self.query_one(KeysPanel).display or self.query_one(CodePanel).display:
            return prompt
        lanes = many(hidden, "lane")
        finds = "finds" if hidden == 1 else "find"
        return first_fitting(width, f"{prompt}   ({lanes} {finds} no room)", f"{prompt} ({lanes} hidden)")

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

    def _trouble(self) -> str:
        """Return what is wrong, of the disk or the window: '' where nothing is."""
        journal = self.recorder.journal
        if not journal.trouble and journal.waiting_s > SLOW_DISK_S:
            return f"The disk is slow: the last marks have been waiting for it for {journal.waiting_s:.0f} s"
        return journal.trouble or ("" if self.app.app_focus else FOCUS_LOST)
