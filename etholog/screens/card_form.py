"""A form that begins an animal's card, or adds to one."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from etholog.screens.form import Form
from etholog.screens.themed import ThemedApp
from etholog.screens.themes import Look
from etholog.session.question import Question

QUESTIONS = (
    Question("animal", "its name or id"),
    Question("sex", "its sex", "choice", ("male", "female", "unknown")),
    Question("species", "its species"),
    Question("moved", "where it lives"),
    Question("moult", "last moult (a day or a month)"),
    Question("meal", "last meal (a day)"),
    Question("size", "leg span in mm, or 14.8 cm"),
    Question("note", "anything else"),
)


class CardForm(ThemedApp):
    """Its result is True where the card was written. `check` may refuse what was answered, and writes it."""

    def __init__(
        self,
        look: Look,
        known: Callable[[str], Sequence[str]],
        check: Callable[[dict[str, Any]], None],
        aside: Callable[[Mapping[str, str]], str],
    ) -> None:
        super().__init__(look)
        self._known, self._check, self._aside = known, check, aside

    def on_mount(self) -> None:
        """Ask."""
        form = Form(
            ("An animal's card; each line but the first may stay empty",),
            ("Enter or Down goes on", "Ctrl-S writes it", "Esc leaves"),
            QUESTIONS,
            {},
            known=self._known,
            check=self._check,
            aside=self._aside,
        )
        self.push_screen(form, lambda answers: self.exit(answers is not None))
