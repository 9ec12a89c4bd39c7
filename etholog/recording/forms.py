"""The questions before the clock, and how a plain line asks them; a screen may ask them too."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from etholog.session.question import NotUnderstood, Question

Ask = Callable[[str], str]

PAIR = (Question("male", "his name or id"), Question("female", "her name or id"))
SETTING = (
    Question("species", "their species"),
    Question("place", "where it takes place"),
    Question("observer", "who watches"),
)
ETHOGRAM = Question("ethogram", "ethogram, if not the fitting one")
CONDITIONS = (
    Question("temperature_c", "temperature in degrees Celsius", "number", within=(-20, 60)),
    Question("humidity_percent", "relative humidity in percent", "number", within=(0, 100)),
    Question("light", "the light, in words"),
    Question("stands_on", "what the enclosure stands on"),
    Question("female_days_since_moult", "days since her last moult", "count", within=(0, 9999)),
    Question("female_days_since_meal", "days since her last meal", "count", within=(0, 9999)),
    Question("male_days_since_moult", "days since his last moult", "count", within=(0, 9999)),
    Question("male_days_since_meal", "days since his last meal", "count", within=(0, 9999)),
)


def answers(questions: Iterable[Question], typed: Mapping[str, str]) -> dict[str, Any]:
    """Return what was answered, without what was skipped. NotUnderstood for the first that is not understood."""
    meant = {question.name: question.answer(typed.get(question.name, "")) for question in questions}
    return {name: value for name, value in meant.items() if value is not None}


def ask_each(questions: Iterable[Question], ask: Ask) -> dict[str, Any]:
    """Ask line by line; Enter skips, and what is not understood is asked again."""
    told: dict[str, Any] = {}
    for question in questions:
        while question.name not in told:
            try:
                told[question.name] = question.answer(ask(f"{question.asked}: "))
            except NotUnderstood as error:
                ask(f"{error}. Enter asks again. ")
    return {name: value for name, value in told.items() if value is not None}
