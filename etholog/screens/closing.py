"""The questions about a session's end on the screen: each answer is kept as it is given."""

from collections.abc import Mapping
from datetime import date

from textual.widgets import Input

from etholog.base.text import visible
from etholog.recording.begun import Begun
from etholog.recording.corrector import Corrector
from etholog.screens.form import Form
from etholog.screens.themed import ThemedApp
from etholog.screens.themes import Look
from etholog.session.closing import QUESTIONS
from etholog.session.evidence import evidence
from etholog.session.folding import fold
from etholog.session.question import NotUnderstood, Question, Surprising

AGAIN = "The same key again keeps it."
FOOT = ("Enter or Down goes on", "Ctrl-S is done", "Esc leaves", "what is answered is kept")


class ClosingForm(Form):
    """Asks how a session ended. Leaving a line keeps its answer in the session's file; a line that makes no sense yet
    is kept beside it, and offered again by `etholog resume`. An answer given before stands there, to be changed."""

    def __init__(self, of: Corrector) -> None:
        self._of = of
        self._begun = Begun.of_session(of.journal.path)
        self._surprises: dict[str, str] = {}  # what was asked about: given once more, it is meant
        rung = evidence(of.ethogram, fold(of.ethogram, of.live.records).bouts).words  # with what still ran at the end
        super().__init__(
            (f"{self._title_words()}.", "Two minutes more; each line may stay empty"),
            FOOT,
            QUESTIONS,
            {question.name: self._kept(question) for question in QUESTIONS} | self._begun.typed("outcome"),
            aside=lambda _: f" By the marks: {rung}.",
            changed=self._changed_to,
        )

    def _title_words(self) -> str:
        trouble = self._of.journal.trouble
        if trouble is None:
            return "The session is closed and kept"
        return visible(f"The session is closed, but NOT all of it is in its file: {trouble}")

    def _kept(self, question: Question) -> str:
        """What stands in the file, as one would type it."""
        return question.shown(self._of.outcome.get(question.name))

    def _changed_to(self, typed: Mapping[str, str]) -> None:
        self._begun.keep("outcome", {q.name: typed[q.name] for q in QUESTIONS if typed[q.name] != self._kept(q)})

    def _answered(self, question: Question, confirms: bool = True) -> NotUnderstood | None:
        """Keep one answer; what was not touched stays as it is, whatever it is. Returns what is wrong with it.

        `confirms`: whether what was asked about before is meant, now that it is given once more.
        """
        field = self.query_one(f"#{question.name}", Input)
        typed = field.value
        if typed == self._kept(question):
            return None
        sure = confirms and self._surprises.get(question.name) == typed
        try:
            value = question.answer(typed, date.today(), sure=sure)
        except NotUnderstood as error:
            if isinstance(error, Surprising):
                self._surprises[question.name] = typed
            return error
        self._of.answer({question.name: value})
        field.value = self._kept(question)
        return None

    def _may_leave(self, name: str) -> bool:
        error = self._answered(next(question for question in QUESTIONS if question.name == name))
        if error is not None:
            self._refuse(error)
        return error is None

    def _in_words(self, error: Exception) -> str:
        return f"{error} {AGAIN}" if isinstance(error, Surprising) else super()._in_words(error)

    def _done(self) -> None:
        errors = [error for question in QUESTIONS if (error := self._answered(question)) is not None]
        if errors:
            self._refuse(errors[0])
        else:
            self._leave({})

    def _leave(self, meant: dict[str, object] | None) -> None:
        done = meant is not None
        wrong = [question for question in QUESTIONS if self._answered(question, confirms=done) is not None]
        if wrong:
            self._changed_to(self.typed)
        else:
            self._begun.forget()
        super()._leave({} if meant is None else meant)


class ClosingApp(ThemedApp):
    """Asks how a closed session ended, when that was broken off."""

    def __init__(self, of: Corrector, look: Look) -> None:
        super().__init__(look)
        self._of = of

    def on_mount(self) -> None:
        """Ask."""
        self.push_screen(ClosingForm(self._of), lambda _: self.exit(True))
