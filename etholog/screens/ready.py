"""The last screen before the clock: how these two fared before, and the cautions."""

from collections.abc import Callable, Sequence
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import VerticalScroll
from textual.screen import Screen
from textual.widgets import Static

from etholog.base.text import visible, visible_lines
from etholog.screens.packed import Packed


class Ready(Screen[bool], inherit_bindings=False):
    """Waits for one key, which calls `start`; its result is whether to go back to the form rather than leave.

    `definitions` gives what each behaviour is, which stands in place of the rest after `?`. `prepare` is called when
    all is painted, the first time and later. This screen stays below the one that `start` shows.
    """

    DEFAULT_CSS = """
    Ready { overflow: hidden; }
    VerticalScroll { height: 1fr; padding: 1 2; scrollbar-size: 0 0; }
    VerticalScroll Static { height: auto; margin: 0 0 1 0; }
    #start { text-style: bold; padding: 0 2; }
    #meanings { display: none; }
    """
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(
        self,
        definitions: Callable[[], Sequence[str]],
        title: str,
        cautions: Sequence[str],
        asked: Sequence[str],
        before: Sequence[str],
        warnings: Sequence[str],
        start: Callable[[], None],
        prepare: Callable[[], None],
    ) -> None:
        super().__init__()
        self._definitions, self._title = definitions, title
        self._cautions, self._warnings = cautions, warnings
        self._asked, self._before = asked, before
        self._meanings = False  # whether the behaviours are shown in place of the cautions
        self._start, self._prepare = start, prepare
        self._started = False

    def compose(self) -> ComposeResult:
        """Lay the screen out."""
        said = [
            visible(self._title),
            visible_lines(self._asked),
            visible_lines(("Before:", *self._before) if self._before else ()),
            visible_lines(("Speaks against it:", *self._warnings) if self._warnings else ()),
            *map(visible, self._cautions),
        ]
        # One widget for all of it, and one for what is not asked for yet: each costs the first paint a millisecond.
        with VerticalScroll(id="said", can_focus=False):
            yield Static("\n\n".join(filter(None, said)), markup=False)
        with VerticalScroll(id="meanings", can_focus=False):
            yield Static(markup=False)
        yield Packed(id="start")

    def on_resize(self) -> None:
        """Say when there is more than the window shows."""
        self.call_after_refresh(self._tell)

    def _tell(self) -> None:
        more = ("Down reads on",) if self._shown.max_scroll_y else ()
        what = "the cautions" if self._meanings else "the behaviours"
        self.query_one("#start", Packed).say(
            *more, "Enter starts the clock", f"? {what}", "Esc the form", "Ctrl-C leave"
        )
        self.call_after_refresh(self._prepare)

    @property
    def _shown(self) -> VerticalScroll:
        return self.query_one("#meanings" if self._meanings else "#said", VerticalScroll)

    def _turn(self) -> None:
        self._shown.display = False
        self._meanings = not self._meanings
        if self._meanings:
            self._shown.query_one(Static).update("\n\n".join(self._definitions()))
        self._shown.display = True
        self.call_after_refresh(self._tell)

    def _forward_event(self, event: events.Event) -> None:
        # Textual would queue a key for this screen, and with it those of the same breath, which are for the next one.
        if isinstance(event, events.Key):
            self._press(event.key)
        else:
            super()._forward_event(event)

    def _press(self, key: str) -> None:
        if self._started:
            return  # the session has ended, and the form after it is not there yet
        match key:
            case "down" | "up":
                self._shown.scroll_relative(y=3 if key == "down" else -3, animate=False)
            case "pagedown" | "pageup":
                page = self._shown.size.height - 1
                self._shown.scroll_relative(y=page if key == "pagedown" else -page, animate=False)
            case "question_mark":
                self._turn()
            case "enter":
                self._started = True
                self._start()
            case "escape" | "ctrl+c":
                self.dismiss(key == "escape")
