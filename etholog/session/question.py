"""One question to a keeper, and what is meant by the words typed as its answer. Pure: no screen asks here."""

import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from etholog.base.dates import Day
from etholog.base.journal import Scalar
from etholog.base.numbers import typed_number
from etholog.base.refusal import Refusal

WISHES = YES, NO, NEVER = "yes", "no", "never"
LEAST_LETTERS = 3  # of an answer in one's own words: a single letter is a key that went astray

_IN = re.compile(r"in\s+(\w+)\s+(day|week|month)s?", re.IGNORECASE)
_DAYS_IN = {"day": 1, "week": 7, "month": 30}
_NUMBERS = ("a", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_NUMBER = {word: max(1, number) for number, word in enumerate(_NUMBERS)}
_LONGEST_DAYS = 3660


class NotUnderstood(ValueError):
    """An answer that does not answer its `question`; the text says what would be understood."""

    def __init__(self, question: "Question", what: str) -> None:
        super().__init__(f"{question.what}{'' if question.what.endswith('?') else ':'} {what}")
        self.question = question


class Surprising(NotUnderstood):
    """An answer that can be meant, and is asked about first: who gives it once more is sure."""


@dataclass(frozen=True)
class Question:
    """One question; it may always be skipped. `kind` says what an answer is turned into; a number that is not `within`
    these two is a slip."""

    name: str
    what: str
    kind: Literal["words", "number", "count", "yes or no", "choice", "rung", "wish", "day"] = "words"
    choices: tuple[str, ...] = ()
    within: tuple[float, float] | None = None

    @property
    def hints(self) -> tuple[str, ...]:
        """What may be answered: each choice with its number, or what kind of words; none where any will do."""
        first = 0 if self.kind == "rung" else 1
        listed = tuple(f"{number} {choice}" for number, choice in enumerate(self.choices, first))
        return listed or ((_HINTS[self.kind],) if self.kind in _HINTS else ())

    @property
    def hint(self) -> str:
        """What may be answered, in one line; '' where any words will do."""
        return "  ".join(self.hints)

    @property
    def asked(self) -> str:
        """The question in a line, with what may be answered."""
        return f"{self.what} ({self.hint})" if self.hint else self.what

    def answer(self, typed: str, today: date | None = None, sure: bool = False) -> Scalar:
        """Return what was meant; None for skipped.

        NotUnderstood says in words what would be understood; Surprising, unless `sure`, what is odd about it. A day is
        counted from `today`.
        """
        typed = typed.strip()
        if not typed:
            return None
        match self.kind:
            case "yes or no":
                if typed.lower() not in ("y", "yes", "n", "no"):  # "not sure" is no answer
                    raise NotUnderstood(self, "y or n, or nothing")
                return typed[0].lower() == "y"
            case "number" | "count":
                return self._number(typed)
            case "rung" | "choice":
                return self._choice(typed)
            case "wish":
                return self._wish(typed)
            case "day":
                return self._day(typed, today or date.today(), sure)
        return typed[:200]

    def shown(self, value: Scalar) -> str:
        """Return a value as one would type it, so that it can be changed."""
        if isinstance(value, bool):
            return "y" if value else "n"
        return "" if value is None else str(value)

    def _number(self, typed: str) -> float | int:
        try:
            number = typed_number(typed) if self.kind == "number" else int(typed)
        except Refusal as error:
            raise NotUnderstood(self, str(error)) from None
        except ValueError:
            number = None
        if number is None:
            raise NotUnderstood(self, f"{self.hint}, or nothing; not {typed!r}")
        if self.within and not self.within[0] <= number <= self.within[1]:
            least, most = self.within
            raise NotUnderstood(self, f"{self.hint} from {least:g} to {most:g}, or nothing; not {typed!r}")
        return number

    def _choice(self, typed: str) -> Scalar:
        first = 0 if self.kind == "rung" else 1
        numbers = [str(number) for number, _ in enumerate(self.choices, first)]
        own = "" if self.kind == "rung" else " your own words,"
        wanted = f"a number from {numbers[0]} to {numbers[-1]},{own} or nothing"
        if typed in numbers:
            return int(typed) if self.kind == "rung" else self.choices[int(typed) - first]
        if self.kind == "rung" or typed.isdecimal():
            raise NotUnderstood(self, wanted)
        meant = [choice for choice in self.choices if choice == typed.casefold()]
        meant = meant or [choice for choice in self.choices if choice.startswith(typed.casefold())]
        meant = meant or [choice for choice in self.choices if {*typed.casefold().split()} <= {*choice.split()}]
        if sum(map(str.isalpha, typed)) < LEAST_LETTERS or len(meant) > 1:
            also = f": {' or '.join(meant)}?" if len(meant) > 1 else ""
            raise NotUnderstood(self, f"{wanted}; not {typed!r}{also}")
        return meant[0] if meant else typed[:200]

    def _wish(self, typed: str) -> str:
        first, behind = re.match(r"(\w*)(.*)", typed, re.DOTALL).groups()  # type: ignore[union-attr]
        said = {"y": YES, "n": NO}.get(first.casefold(), first.casefold())
        if said not in WISHES:
            raise NotUnderstood(self, f"{self.hint}, or nothing; not {typed!r}")
        return f"{said}{behind}"[:200]

    def _day(self, typed: str, today: date, sure: bool) -> str:
        meant = day_meant(typed, today)
        if meant is None:
            raise NotUnderstood(self, f"{self.hint}, or nothing; not {typed!r}")
        if meant.last < today and not sure:
            raise Surprising(self, f"{meant.text} is past. Is it meant so?")
        return meant.text


_HINTS = {
    "yes or no": "y or n",
    "number": "a number",
    "count": "a whole number",
    "wish": "yes, no or never; more words may follow",
    "day": "a date such as 2026-12-05, or: in 10 days",
}


def day_meant(words: str, today: date) -> Day | None:
    """Return the day or the month that words mean, counted from `today`; None for words that mean none.

    >>> day_meant("in 10 days", date(2026, 5, 3)).text, day_meant("in two weeks", date(2026, 5, 3)).text
    ('2026-05-13', '2026-05-17')
    >>> day_meant("2026-12", date(2026, 5, 3)).text, day_meant("soon", date(2026, 5, 3))
    ('2026-12', None)
    """
    words = words.strip().casefold()
    ahead = {"today": 0, "tomorrow": 1}.get(words)
    if found := _IN.fullmatch(words):
        count = int(found[1]) if found[1].isdecimal() and found[1].isascii() else _NUMBER.get(found[1])
        ahead = None if count is None else count * _DAYS_IN[found[2]]
    if ahead is not None:
        return Day.of(today + timedelta(days=ahead)) if ahead <= _LONGEST_DAYS else None
    try:
        return Day.parse(words) if len(words) > len("2026") else None
    except Refusal:
        return None
