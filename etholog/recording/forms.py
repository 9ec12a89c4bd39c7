"""The questions before the clock and after it. A screen may ask them, or a plain line; what an answer means is here."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Literal

from etholog.session.endings import ATTACKED, KILLED
from etholog.session.evidence import OF_A_SESSION
from etholog.session.record import Scalar

Ask = Callable[[str], str]


class NotUnderstood(ValueError):
    """An answer that is none to its `question`; the text says what would be understood."""

    def __init__(self, question: "Question", what: str) -> None:
        super().__init__(f"{question.what}{'' if question.what.endswith('?') else ':'} {what}")
        self.question = question


@dataclass(frozen=True)
class Question:
    """One question; it may always be skipped. `kind` says what an answer is turned into."""

    name: str
    what: str
    kind: Literal["words", "number", "count", "yes or no", "choice", "rung"] = "words"
    choices: tuple[str, ...] = ()

    @property
    def hint(self) -> str:
        """What may be answered, in one line; '' where any words will do."""
        first = 0 if self.kind == "rung" else 1
        listed = "  ".join(f"{number} {choice}" for number, choice in enumerate(self.choices, first))
        return listed or {"yes or no": "y or n", "number": "a number", "count": "a whole number"}.get(self.kind, "")

    def answer(self, typed: str) -> Scalar:
        """Return what was meant; None for skipped. NotUnderstood says in words what would be understood."""
        typed = typed.strip()
        if not typed:
            return None
        if self.kind == "yes or no":
            if typed.lower() not in ("y", "yes", "n", "no"):  # "not sure" is no answer
                raise NotUnderstood(self, "y or n, or nothing")
            return typed[0].lower() == "y"
        if self.kind in ("number", "count"):
            try:
                number = float(typed.replace(",", ".")) if self.kind == "number" else int(typed)
                if not math.isfinite(number):
                    raise ValueError
                return number
            except ValueError:
                raise NotUnderstood(self, f"{self.hint}, or nothing; not {typed!r}") from None
        if self.kind == "rung" or (self.kind == "choice" and typed.isdecimal()):
            first = 0 if self.kind == "rung" else 1
            numbers = [str(number) for number, _ in enumerate(self.choices, first)]
            if typed not in numbers:
                raise NotUnderstood(self, f"a number from {numbers[0]} to {numbers[-1]}, or nothing")
            return int(typed) if self.kind == "rung" else self.choices[int(typed) - 1]
        return typed[:200]


PAIR = (Question("male", "his name or id"), Question("female", "her name or id"))
SETTING = (
    Question("species", "their species"),
    Question("place", "where it takes place"),
    Question("observer", "who watches"),
)
ETHOGRAM = Question("ethogram", "what may be recorded (ethogram)")
CONDITIONS = (
    Question("temperature_c", "temperature in degrees Celsius", "number"),
    Question("humidity_percent", "relative humidity in percent", "number"),
    Question("light", "the light, in words"),
    Question("stands_on", "what the enclosure stands on"),
    Question("female_days_since_moult", "days since her last moult", "count"),
    Question("female_days_since_meal", "days since her last meal", "count"),
    Question("male_days_since_moult", "days since his last moult", "count"),
    Question("male_days_since_meal", "days since his last meal", "count"),
)
OUTCOME = (
    Question(
        "ended",
        "How did it end?",
        "choice",
        ("he got out", "keeper ended it", "she withdrew", ATTACKED, KILLED, "left together"),
    ),
    Question("male_whole", "Is he whole?", "yes or no"),
    Question("female_after", "How is she now?", "choice", ("calm", "restless", "hunting", "feeding", "hidden")),
    Question("evidence", "Evidence of a transfer?", "rung", tuple(rung.words for rung in OF_A_SESSION)),
    Question("again", "Pair them again?"),
    Question("again_when", "When?"),
)


def answers(questions: Iterable[Question], typed: dict[str, str]) -> dict[str, Any]:
    """Return what was answered, without what was skipped. NotUnderstood for the first that is not understood."""
    meant = {question.name: question.answer(typed.get(question.name, "")) for question in questions}
    return {name: value for name, value in meant.items() if value is not None}


def ask_each(questions: Iterable[Question], ask: Ask, told: dict[str, Any] | None = None) -> dict[str, Any]:
    """Ask line by line; Enter skips, and what is not understood is asked again.

    `told` is filled as answers come (None for skipped), so that a break leaves those that were given.
    """
    told = {} if told is None else told
    for question in questions:
        hint = f" ({question.hint})" if question.hint else ""
        while question.name not in told:
            try:
                told[question.name] = question.answer(ask(f"{question.what}{hint}: "))
            except NotUnderstood as error:
                ask(f"{error}. Enter asks again. ")
    return {name: value for name, value in told.items() if value is not None}
