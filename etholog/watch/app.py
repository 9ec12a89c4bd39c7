"""The watch screen: clock and pair on top, the strip, and below it the prompt, what runs, and what undo takes back."""

import signal
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.app import App, ComposeResult
from textual.binding import BindingType
from textual.driver import Driver
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget
from textual.widgets import Digits, Input, Static

from etholog import system
from etholog.text import visible
from etholog.watch.prompts import Prompts
from etholog.watch.recorder import Answer, Recorder, clock_face, wall_now
from etholog.watch.strip import (
    KEY_WIDTH,
    LABEL_WIDTH,
    MS_PER_COLUMN,
    TOTALS_WIDTH,
    Glyphs,
    Lane,
    Lanes,
    totals,
    trace,
)
from etholog.watch.themes import Theme

TICK_S = 0.25
SLOW_DISK_S = 2.0
BIG_CLOCK_ROWS = 6


@dataclass(frozen=True)
class Look:
    """How the screen is to look and behave."""

    theme: Theme
    glyphs: Glyphs
    bell: bool = False


class StripChart(Widget):
    """A lane for each behaviour. Lines are drawn one by one and kept until something in them changes."""

    DEFAULT_CSS = "StripChart { height: 1fr; }"

    def __init__(self, recorder: Recorder, lanes: Lanes, look: Look, now: Callable[[], int]) -> None:
        super().__init__()
        self._recorder, self._lanes, self._look, self._now = recorder, lanes, look, now
        self._styles = {
            actor: Style(color=look.theme.of(actor), bgcolor=look.theme.ground)
            for actor in ("male", "female", "pair", "keeper")
        }
        self._faint = Style(color=look.theme.faint, bgcolor=look.theme.ground)
        self._drawn: dict[int, tuple[object, Strip]] = {}

    @property
    def hidden(self) -> int:
        """How many lanes find no room."""
        return max(0, len(self._lanes.lanes) - self.size.height)

    def lane_at(self, y: int) -> Lane | None:
        """Return the lane in a line of the widget."""
        return self._lanes.lanes[y] if 0 <= y < len(self._lanes.lanes) else None

    def changed(self) -> None:
        """Repaint the lines that no longer show what is."""
        now = self._now()
        for y in range(min(self.size.height, len(self._lanes.lanes))):
            drawn = self._drawn.get(y)
            if drawn is None or drawn[0] != self._version(self._lanes.lanes[y], now):
                self.refresh(Region(0, y, self.size.width, 1))

    def _version(self, lane: Lane, now: int) -> object:
        return (
            now // MS_PER_COLUMN,
            lane.count,
            len(lane.running),
            lane.total_ms(now) // 1000,
            self._recorder.refolds,
            self.size.width,
        )

    def render_line(self, y: int) -> Strip:
        """Draw one line; Textual asks for it."""
        lane = self.lane_at(y)
        if lane is None:
            return Strip.blank(self.size.width, self._faint)
        now = self._now()
        version = self._version(lane, now)
        drawn = self._drawn.get(y)
        if drawn is None or drawn[0] != version:
            self._drawn[y] = drawn = (version, self._draw(lane, now))
        return drawn[1]

    def _draw(self, lane: Lane, now: int) -> Strip:
        style, frame = self._styles[lane.behaviour.actor], self._look.glyphs.frame
        runs = bool(lane.running)
        strong = style + Style(bold=True, reverse=True) if runs else style + Style(bold=True)
        label = visible(lane.behaviour.label)[:LABEL_WIDTH].ljust(LABEL_WIDTH)
        room = max(0, self.size.width - KEY_WIDTH - LABEL_WIDTH - TOTALS_WIDTH - 2)
        return Strip(
            [
                Segment(lane.keys[:2].ljust(KEY_WIDTH - 1) + " ", strong),
                Segment(label, style + Style(bold=True) if runs else style),
                Segment(frame, self._faint),
                Segment(trace(lane, now, room, self._look.glyphs), style),
                Segment(frame, self._faint),
                Segment(totals(lane, now), style if lane.count else self._faint),
            ]
        ).adjust_cell_length(self.size.width, self._faint)


class WatchApp(App[bool], inherit_bindings=False):
    """Records one session. `run` gives True when it was ended on purpose, None when it was broken off."""

    CSS = """
    #clock { width: auto; padding: 0 2; display: none; }
    #top, #prompt, #runs, #last, #trouble, #keys { height: 1; }
    #prompt.rescued { height: auto; }
    #keys { height: auto; dock: bottom; display: none; padding: 1 2; }
    #trouble { display: none; text-style: bold reverse; height: auto; }
    #line { display: none; border: none; height: 1; padding: 0; }
    """
    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = None
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
        driver: type[Driver] | None = None,
    ) -> None:
        super().__init__(driver_class=driver)
        self.recorder = recorder
        self.look = look
        self._pair = visible(pair)
        self._clock, self._stamp, self._live = clock, stamp, live
        self._lanes = Lanes(recorder.ethogram, recorder.layout)
        self._prompts = Prompts(recorder.ethogram)
        self._prompt_text, self._answer = "", ""
        self._blurred = self._ending = False
        self.takes_keys = True  # False while a line is typed, whose letters are no marks
        self._shown: dict[str, str] = {}

    def compose(self) -> ComposeResult:
        """Lay the screen out, from top to bottom."""
        yield Digits("0:00:00", id="clock")
        yield Static(id="top", markup=False)
        yield Static(id="trouble", markup=False)
        yield StripChart(self.recorder, self._lanes, self.look, self._now)
        yield Static(id="prompt", markup=False)
        yield Static(id="runs", markup=False)
        yield Static(id="last", markup=False)
        yield Input(id="line", placeholder="a note, or -12 to move the last mark 12 s earlier; Enter keeps, Esc leaves")
        yield Static(id="keys", markup=False)

    def on_mount(self) -> None:
        """Dress the screen and listen for what may end us."""
        theme = self.look.theme
        self.screen.styles.background = theme.ground
        for widget in self.query("Static, Digits, Input, StripChart"):
            widget.styles.background, widget.styles.color = theme.ground, theme.text
        self.query_one("#prompt").styles.color = theme.alarm
        self.query_one("#trouble").styles.color = theme.alarm
        self.query_one("#last").styles.color = theme.faint
        self.app_resume_signal.subscribe(self, self._came_back)
        if self._live:
            self.set_interval(TICK_S, self.tick)
            self._listen_for_signals()
        self.tick()

    def _listen_for_signals(self) -> None:
        if sys.platform == "win32":
            return
        import asyncio

        loop = asyncio.get_running_loop()
        for name in ("SIGHUP", "SIGTERM", "SIGINT"):
            number = getattr(signal, name)
            loop.add_signal_handler(number, self._broken_off, number, name)

    def _broken_off(self, number: int, name: str) -> None:
        """Somebody ends the program: the session stays open, and nobody watches from here on."""
        if not self.recorder.closed and self.recorder.folding.gap is None:
            self.recorder.gap(self._clock(), f"etholog was ended ({name})")
        self.recorder.journal.close()
        self.exit(return_code=128 + number)

    def action_suspend_process(self) -> None:
        """Ctrl-Z: go to the shell; the time there is a gap."""
        if self.recorder.folding.gap is None:
            self.recorder.gap(self._clock(), "suspended by Ctrl-Z")
        super().action_suspend_process()

    def _came_back(self, _: object) -> None:
        if self.recorder.folding.gap is not None:
            self._told(self.recorder.back(self._clock()))
        # Textual repaints only what changed, and the shell has written over all of it.
        self.screen.refresh(layout=True)

    # ------------------------------------------------------------ input

    def on_key(self, event: events.Key) -> None:
        """Take in a key, stamped with its arrival."""
        line = self.query_one("#line", Input)
        if line.has_focus:
            if event.key == "escape":
                self._close_line()
                event.stop()
            return
        event.stop()
        event.prevent_default()
        at = self._stamp(event)
        self.query_one("#keys").display = False
        if self._ending:
            self._ending = False
            if event.key == "enter":
                self.recorder.close(at)
                self.exit(True)
                return
        self._told(self._press(event, at))

    def _press(self, event: events.Key, at: float) -> Answer:
        recorder, character = self.recorder, event.character or ""
        match event.key:
            case "backspace" | "tab":
                return recorder.undo()
            case "delete":
                return recorder.redo()
            case "enter":
                self._open_line()
                return Answer("line", "")
            case "escape":
                self._ending = True
                return Answer("ending", "END? Enter ends the session; any other key goes on")
            case "ctrl+z":
                self.action_suspend_process()
                return Answer("suspended", "")
            case "ctrl+c" | "ctrl+q":
                return Answer("nothing", "Esc, then Enter ends the session")
        if character == "?":
            self._show_keys()
            return Answer("keys", "")
        return recorder.take(character or event.key, at)

    def on_mouse_down(self, event: events.MouseDown) -> None:
        """A tap on a lane is its key; on a lane with two keys, the left half is the first."""
        widget = self.screen.get_widget_at(event.screen_x, event.screen_y)[0]
        if not isinstance(widget, StripChart):
            return
        lane = widget.lane_at(event.screen_y - widget.region.y)
        if lane is not None and lane.keys:
            half = 2 * event.screen_x // max(1, self.size.width) if len(lane.keys) > 1 else 0
            self._told(self.recorder.press(lane.keys[half], self._stamp(event)))

    def on_paste(self, event: events.Paste) -> None:
        """Pasted text makes no marks."""
        if not self.query_one("#line", Input).has_focus:
            event.stop()
            self._told(self.recorder.pasted(event.text, self._stamp(event)))

    def on_app_blur(self) -> None:
        """Keys go elsewhere now: say so where it can't be missed."""
        self._blurred = True
        self.tick()

    def on_app_focus(self) -> None:
        """Keys come here again."""
        self._blurred = False
        self.tick()

    def _open_line(self) -> None:
        line = self.query_one("#line", Input)
        line.value = ""
        line.display, self.query_one("#last").display = True, False
        self.takes_keys = False
        line.focus()

    def _close_line(self) -> None:
        self.query_one("#line").display, self.query_one("#last").display = False, True
        self.takes_keys = True
        self.set_focus(None)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """A typed line is complete."""
        self._close_line()
        self._told(self.recorder.line(event.value, self._clock()))

    def _show_keys(self) -> None:
        words = [
            f"{key} {p.behaviour.label}{' ' + p.choice if p.choice else ''}" for key, p in self.recorder.layout.items()
        ]
        own = [
            "Space RESCUE",
            "Backspace or Tab take back",
            "Delete bring back",
            "1 or 0 a second earlier",
            "2 or 9 it was another",
            "3 or 8 unsure",
            "Enter note",
            "- nobody watches",
            "= sync with film",
            "Esc, Enter end",
        ]
        width = max(map(len, words + own)) + 3
        columns = max(1, (self.size.width - 4) // width)
        shown = [word.ljust(width) for word in words + own]
        rows = ["".join(shown[i : i + columns]) for i in range(0, len(shown), columns)]
        keys = self.query_one("#keys", Static)
        keys.update(visible_lines(rows))
        keys.display = True

    # ------------------------------------------------------------ output

    def _now(self) -> int:
        return self.recorder.t(self._clock())

    def _told(self, answer: Answer) -> None:
        self._answer = answer.text
        self.tick()

    def tick(self) -> None:
        """Show what is: called after each key and a few times a second."""
        now = self._now()
        self.recorder.watch_clocks(self._clock(), time.monotonic(), wall_now())
        for prompt in self._prompts.due(self.recorder, now):
            self.recorder.prompted(prompt.name, self._clock())
            self._prompt_text = f"{clock_face(now)}  {prompt.text}"
            if self.look.bell:
                self.bell()
        self._lanes.follow(self.recorder)
        chart = self.query_one(StripChart)
        chart.changed()
        big = self.size.height >= len(self._lanes.lanes) + BIG_CLOCK_ROWS + 4
        digits = self.query_one(Digits)
        if digits.display != big:
            digits.display = big
        if big:
            digits.update(clock_face(now))
        self._say("top", self._top(now))
        # What to do has to be read at once, so it takes the lines that it needs.
        self.query_one("#prompt").set_class(self.recorder.rescued, "rescued")
        self._say("prompt", self._bottom_prompt(chart))
        self._say("runs", self._run_text(now))
        self._say("last", self._last())
        self._show_trouble()

    def _say(self, name: str, text: str) -> None:
        if self._shown.get(name) != text:
            self._shown[name] = text
            self.query_one(f"#{name}", Static).update(text, layout=False)

    def _top(self, now: int) -> str:
        last = self.recorder.last_mark_t
        ago = f"last mark {clock_face(max(0, now - last))} ago" if last is not None else "no mark yet"
        stage = (self.recorder.stage or "before").upper()
        return f" {clock_face(now)}  {stage:<10}  {ago}  {self._pair}  {wall_now():%H:%M}"

    def _bottom_prompt(self, chart: StripChart) -> str:
        if self.recorder.rescued:
            return visible_lines([f" {line}" for line in self.recorder.ethogram.rescue])
        hidden = f"   ({chart.hidden} more below: make the window higher)" if chart.hidden else ""
        return f" {visible(self._prompt_text)}{hidden}" if self._prompt_text or hidden else ""

    def _run_text(self, now: int) -> str:
        if self.recorder.folding.gap is not None:
            return (
                " NOBODY WATCHES since " + clock_face(self.recorder.folding.gap.onset) + "; any mark, or -, ends this"
            )
        names = self.recorder.ethogram.by_code
        runs = [
            f"{names[b.code].label}{' ' + b.qualifier if b.qualifier else ''} {clock_face(now - b.onset)[2:]}"
            for b in self.recorder.folding.running.values()
        ]
        return " now: " + visible(", ".join(runs) if runs else "nothing runs")

    def _last(self) -> str:
        undo = self.recorder.undo_text
        return f" {visible(self._answer)}" + (f"   [Backspace takes back: {visible(undo)}]" if undo else "")

    def _show_trouble(self) -> None:
        journal = self.recorder.journal
        text = journal.trouble or ""
        if not text and journal.waiting_s > SLOW_DISK_S:
            text = f"The disk is slow: the last marks have been waiting for it for {journal.waiting_s:.0f} s"
        if not text and self._blurred:
            text = "THIS WINDOW HAS LOST THE FOCUS: keys go elsewhere and are no marks. Click here."
        trouble = self.query_one("#trouble", Static)
        if trouble.display != bool(text):
            trouble.display = bool(text)
        if self._shown.get("trouble") != text:
            self._shown["trouble"] = text
            trouble.update(visible(text))


def visible_lines(rows: list[str]) -> str:
    """Return rows of text, each made safe, as one."""
    return "\n".join(visible(row) for row in rows)
