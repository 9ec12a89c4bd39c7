"""A form on the screen: a line for each question, all of which may be left empty."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.screen import Screen
from textual.suggester import SuggestFromList
from textual.widgets import Input, Static

from etholog.base.refusal import Refusal
from etholog.recording.forms import answers
from etholog.screens.fit import packed
from etholog.screens.line import Line
from etholog.screens.packed import Packed
from etholog.session.question import NotUnderstood, Question

Known = Callable[[str], Sequence[str]]
Check = Callable[[dict[str, Any]], None]
Changed = Callable[[Mapping[str, str]], None]
Aside = Callable[[Mapping[str, str]], str]


class Form(Screen[dict[str, Any] | None], inherit_bindings=False):
    """Asks; the result is what was answered, or None where the whole form was left.

    `title` and `foot` are in parts, each of which stands whole. `known` gives the words to complete an answer from,
    `aside` what stands below the questions; `check` may refuse; `changed` is told what stands in the form by now.
    """

    CSS = """
    Form { overflow: hidden; }
    #questions { height: auto; overflow-x: hidden; scrollbar-size: 0 0; }
    #questions Horizontal { height: 1; }
    #questions Static { width: 34; }
    #questions Input { width: 1fr; }
    #hint { color: $faint; max-height: 4; min-height: 1; }
    #aside { height: 1fr; padding: 1 0 0 0; overflow: hidden; }
    #foot { color: $faint; dock: bottom; }
    """
    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(
        self,
        title: Sequence[str],
        foot: Sequence[str],
        questions: Sequence[Question],
        given: Mapping[str, str],
        known: Known = lambda _: (),
        aside: Aside = lambda _: "",
        check: Check = lambda _: None,
        changed: Changed = lambda _: None,
    ) -> None:
        super().__init__()
        self._title, self._foot = title, foot
        self._asked, self._given = questions, given
        self._check, self._aside, self._changed = check, aside, changed
        self._refusal = ""  # until the next key
        self._known = {question.name: list(known(question.name)) for question in questions}

    def compose(self) -> ComposeResult:
        """Lay the form out."""
        yield Packed(*self._title, id="title")
        with VerticalScroll(id="questions", can_focus=False):
            for question in self._asked:
                with Horizontal():
                    yield Static(f" {question.what}", markup=False)
                    words = self._known[question.name]
                    yield Line(
                        self._given.get(question.name, ""),
                        id=question.name,
                        max_length=500,
                        suggester=SuggestFromList(words, case_sensitive=False) if words else None,
                        select_on_focus=False,
                    )
        yield Packed(id="hint")
        yield Static(id="aside", markup=False)
        yield Packed(*self._foot, id="foot")

    def on_mount(self) -> None:
        """Begin with the first question that has no answer."""
        first = next((question.name for question in self._asked if not self._given.get(question.name)), None)
        self.query_one(f"#{first or self._asked[0].name}", Input).focus()

    def on_resize(self, event: events.Resize) -> None:
        """Leave room for the title, the hint and the foot; the questions scroll if they must."""
        width = max(1, event.size.width - 1)
        around = sum(packed(parts, width).count("\n") + 1 for parts in (self._title, self._foot))
        self.query_one("#questions").styles.max_height = max(1, event.size.height - 3 - around)

    @property
    def typed(self) -> dict[str, str]:
        """What stands in the form."""
        return {question.name: self.query_one(f"#{question.name}", Input).value for question in self._asked}

    async def on_key(self, event: events.Key) -> None:
        """Walk along the form, fill it, or leave it."""
        event.stop()
        event.prevent_default()
        self._refusal = ""
        match event.key:
            case "up" | "shift+tab":
                self._walk(-1)
            case "down" | "tab":
                self._walk(1)
            case "ctrl+s":
                self._done()
            case "escape" | "ctrl+c":
                self._leave(None)
            case "enter":
                self._onward()
            case _ if isinstance(self.focused, Line):
                await self.focused.take(event)

    def _onward(self) -> None:
        if self.focused is not None and self.focused.id == self._asked[-1].name:
            self._done()
        else:
            self._walk(1)

    def _walk(self, steps: int) -> None:
        """Go to the next line (1) or the one before (-1), if this one may be left."""
        if self.focused is None or self.focused.id is None or self._may_leave(self.focused.id):
            (self.focus_next if steps > 0 else self.focus_previous)(Input)

    def _may_leave(self, name: str) -> bool:
        """Whether the cursor may leave a line as it stands."""
        return True

    def on_descendant_focus(self) -> None:
        """Tell what may be answered here."""
        self._tell()

    def on_input_changed(self) -> None:
        """Tell what is known of what was typed, and whoever keeps that."""
        self._tell()
        self._changed(self.typed)

    def _tell(self) -> None:
        field = self.focused
        if not isinstance(field, Input) or field.id is None:
            return
        question = next(question for question in self._asked if question.name == field.id)
        near = [word for word in self._known[field.id] if field.value.lower() in word.lower() and word != field.value]
        known = (f"known: {', '.join(near[:20])}", "(Right takes what is shown)") if near else ()
        self.query_one("#hint", Packed).say(*((self._refusal,) if self._refusal else question.hints or known))
        self.query_one("#aside", Static).update(self._aside(self.typed))

    def _refuse(self, error: Exception) -> None:
        """Say what is wrong, and put the cursor there; where the fault says no place, it stays."""
        self._refusal = self._in_words(error)
        if isinstance(error, NotUnderstood):
            self.query_one(f"#{error.question.name}", Input).focus()
        self._tell()

    def _in_words(self, error: Exception) -> str:
        return str(error)

    def _done(self) -> None:
        try:
            meant = answers(self._asked, self.typed)
            self._check(meant)
        except (ValueError, Refusal) as error:
            self._refuse(error)
        else:
            self._leave(meant)

    def _leave(self, meant: dict[str, Any] | None) -> None:
        self._changed = lambda _: None  # what is still on its way here was finished with the form
        self.dismiss(meant)
