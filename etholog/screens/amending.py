"""The screen on which a keeper walks along a closed session and corrects it."""

from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.screen import Screen
from textual.strip import Strip
from textual.widgets import Input

from etholog.base.clock import clock_face
from etholog.base.text import visible
from etholog.ethogram.own_keys import Act, Where, act_of
from etholog.recording.amender import Amender
from etholog.recording.begun import Begun
from etholog.recording.corrector import Answer
from etholog.recording.lanes import Lanes
from etholog.screens.chart import Chart
from etholog.screens.closing import ClosingForm
from etholog.screens.fit import first_fitting, shortened
from etholog.screens.keys_panel import KeysPanel
from etholog.screens.line import Line
from etholog.screens.sheet import Sheet, ink, line_of, written
from etholog.screens.strip import KEY_WIDTH, LABEL_WIDTH, axis
from etholog.screens.themed import ThemedApp
from etholog.screens.themes import Look

ABOVE = 2  # lines above the strip
SCALES = (500, 1000, 2000, 5000, 10_000, 30_000, 60_000)
LINE_HINTS = (
    "a note, -12 or +3 to move the mark, @2:30 to go there; Enter, or Esc",
    "a note, -12 or +3 moves it, @2:30 goes there; Enter, Esc",
    "a note, or -12 moves it; Enter, or Esc",
)


class AmendApp(ThemedApp):
    """Shows one closed session to be corrected."""

    def __init__(self, amender: Amender, look: Look, pair: str) -> None:
        super().__init__(look)
        self.amending = Amending(amender, look, pair)

    def on_mount(self) -> None:
        """Show it."""
        self.push_screen(self.amending, self.exit)


class Amending(Screen[bool], inherit_bindings=False):
    """A strip with a cursor. Letters add a mark there; corrections are for the mark in hand."""

    CSS = """
    Amending { overflow: hidden; layers: default typed; }
    #line { display: none; layer: typed; }
    """
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(self, amender: Amender, look: Look, pair: str) -> None:
        super().__init__()
        self.amender, self.look = amender, look
        self._pair = visible(pair)
        self._lanes = Lanes(amender.ethogram, amender.layout)
        self._chart = Chart(amender.live, self._lanes, look, lambda: amender.cursor, with_cursor=True)
        self._ink, self._faint, self._alarm = (ink(look, name) for name in ("text", "faint", "alarm"))
        self._sheet, self._line_at = Sheet(self._lines), 0
        self._answer = ""
        self._scale = 2
        self._begun = Begun.of_session(amender.journal.path)

    def compose(self) -> ComposeResult:
        """Lay the screen out, from top to bottom."""
        yield self._sheet
        yield Line(id="line", select_on_focus=False)  # or what is typed ahead of the focus is typed over
        yield KeysPanel(self.amender, Where.AMEND)

    def on_mount(self) -> None:
        """Begin at the first mark."""
        self.amender.step(1)
        self.show()
        if note := self._begun.typed("note").get("note"):
            self._open_line(note)

    def on_resize(self) -> None:
        """Put the line that is typed where it belongs, once the new size is laid out."""
        self.call_after_refresh(self.show)

    async def on_key(self, event: events.Key) -> None:
        """Take in a key."""
        event.stop()
        event.prevent_default()
        line = self.query_one(Line)
        if line.display:
            await line.typed(event, self._line_ended)
            return
        place = self.amender.keyboard.place(event.character or "")
        act = act_of(event.key, Where.AMEND) or act_of(place, Where.AMEND)
        if act is not Act.KEYS:
            self.query_one(KeysPanel).hide()
        if act is Act.LEAVE:
            self.dismiss(True)
            return
        answer = self._press(event, act)
        self._answer = answer.text if answer is not None else ""
        self.show()

    def _press(self, event: events.Key, act: Act | None) -> Answer | None:
        amender = self.amender
        chart = self._chart
        match act:
            case Act.COLUMN_BACK | Act.COLUMN_ON:
                amender.go(amender.cursor + (chart.scale if act is Act.COLUMN_ON else -chart.scale))
            case Act.WINDOW_BACK | Act.WINDOW_ON:
                amender.go(amender.cursor + chart.scale * chart.room * (1 if act is Act.WINDOW_ON else -1))
            case Act.FIRST | Act.LAST:
                amender.go(0 if act is Act.FIRST else amender.end)
            case Act.MARK_BACK | Act.MARK_ON:
                amender.step(1 if act is Act.MARK_ON else -1)
            case Act.WIDER | Act.CLOSER:
                self._scale = min(max(self._scale + (1 if act is Act.WIDER else -1), 0), len(SCALES) - 1)
                chart.scale = SCALES[self._scale]
            case Act.LINE:
                self._open_line()
            case Act.KEYS:
                self.query_one(KeysPanel).turn()
            case Act.ANSWERS:
                self.app.push_screen(ClosingForm(amender))
            case Act.UNDO:
                return amender.undo()
            case Act.TAKE_OUT:
                return amender.take_out()
            case Act.MOVE_BACK | Act.MOVE_ON:
                return amender.shift(1 if act is Act.MOVE_ON else -1)
            case Act.EARLIER:
                return amender.shift(-1)
            case Act.OTHER:
                return amender.recode_or_ask()
            case Act.DOUBT:
                return amender.doubt()
            case Act.AWAY:
                return amender.gap()
            case None if event.character:
                return amender.press(event.character)
        return None

    def on_mouse_down(self, event: events.MouseDown) -> None:
        """A tap on the strip puts the cursor there."""
        chart = self._chart
        column = event.screen_x - KEY_WIDTH - LABEL_WIDTH - 1
        lane = chart.lane_at(event.screen_y - self._sheet.region.y - ABOVE)
        if lane is not None and 0 <= column < chart.room:
            self.amender.go(chart.time_at(column))
            self.show()

    def on_input_changed(self, event: Input.Changed) -> None:
        """Keep what is typed, or a break would lose it."""
        if self.query_one(Line).display:
            self._begun.keep("note", {"note": event.value})

    def _open_line(self, begun: str = "") -> None:
        self.query_one(Line).open(first_fitting(self.size.width - 1, *LINE_HINTS), begun)

    def _line_ended(self, text: str | None) -> None:
        self._begun.forget()
        if text is not None:
            self._answer = self.amender.line(text).text
        self.show()

    def show(self) -> None:
        """Show what is."""
        self._lanes.follow(self.amender.live)
        self._sheet.changed()
        line = self.query_one(Line)
        if line.display:
            line.styles.offset = (0, self._sheet.region.y + self._line_at)

    def _lines(self, width: int, height: int) -> list[Strip]:
        """Return all of the screen but what is typed."""
        amender, chart, live = self.amender, self._chart, self.amender.live
        mark = amender.in_hand()
        ways = (amender.with_undo(self._answer), amender.with_undo_key(self._answer), self._answer)
        last = "" if self.query_one(Line).display else first_fitting(width, *(f" {visible(way)}" for way in ways))
        hand = f" in hand: {live.told(mark['n']) if mark is not None else 'nothing, no mark before this'}"
        below = [
            line_of(shortened(visible(hand), width), width, self._ink),
            *written(visible(self._questions()), width, self._alarm),
            line_of(shortened(visible(last), width), width, self._faint),
        ]
        strip = chart.lines(width, height - ABOVE - len(below))
        self._line_at = ABOVE + len(strip) + len(below) - 1
        above = (
            f" {clock_face(amender.cursor)} of {clock_face(amender.end)}  {self._pair}  ? keys, Esc leaves",
            axis(chart.right, chart.room, chart.scale, self.look.glyphs, live.signs, amender.cursor),
        )
        return [
            *(line_of(shortened(visible(text), width), width, self._ink) for text in above),
            *strip,
            *below,
        ]

    def _questions(self) -> str:
        remarks = self.amender.live.folding.remarks
        if not remarks:
            return ""
        first = remarks[0]
        mark = None if first.record is None else self.amender.live.lasting(first.record)
        at = "" if mark is None else f"at {clock_face(mark['t'])}: "
        return f" {len(remarks)} to look at; first, {at}{first.what}"
