"""The questions about a session's end: what an answer to each means, whoever asks, and what the answers say later."""

from collections.abc import Iterator, Mapping
from datetime import date

from etholog.base.dates import Day
from etholog.base.journal import Scalar
from etholog.base.language import gettext, gettext_noop
from etholog.base.refusal import Finding
from etholog.base.text import nearest
from etholog.session.endings import ATTACKED, KILLED
from etholog.session.evidence import OF_A_SESSION
from etholog.session.question import NEVER, NO, WISHES, YES, NotUnderstood, Question, day_meant

__all__ = [
    "NEVER",
    "NO",
    "QUESTIONS",
    "YES",
    "answer",
    "changed",
    "contradictions",
    "is_accident",
    "wish",
    "wished_day",
]

QUESTIONS = (
    Question(
        "ended",
        "How did it end?",
        "choice",
        (
            gettext_noop("he got out"),
            gettext_noop("keeper ended it"),
            gettext_noop("she withdrew"),
            ATTACKED,
            KILLED,
            gettext_noop("left together"),
        ),
    ),
    Question("male_whole", "Is he whole?", "yes or no"),
    Question(
        "female_after",
        "How is she now?",
        "choice",
        (
            gettext_noop("calm"),
            gettext_noop("restless"),
            gettext_noop("hunting"),
            gettext_noop("feeding"),
            gettext_noop("hidden"),
        ),
    ),
    Question("evidence", "Evidence of a transfer?", "rung", tuple(rung.words for rung in OF_A_SESSION)),
    Question("again", "Pair them again?", "wish"),
    Question("again_when", "When?", "day"),
    Question("accident", "Begun by mistake, not to count?", "yes or no"),
)
_BY_NAME = {question.name: question for question in QUESTIONS}


def answer(name: str, text: str, today: date, sure: bool = False) -> Scalar | Finding:
    """Return what one answer means, or what is wrong with it; None for an empty one.

    What could be meant, and is odd, is a finding too, until it is given with `sure`.

    >>> answer("again_when", "in 10 days", date(2026, 5, 3))
    '2026-05-13'
    >>> print(answer("again_when", "2026-04-30", date(2026, 5, 3)))
    When? 2026-04-30 is past. Is it meant so?
    >>> answer("again_when", "2026-04-30", date(2026, 5, 3), sure=True)
    '2026-04-30'
    """
    if name not in _BY_NAME:
        return Finding(f"no question {name!r}{nearest(name, _BY_NAME)}")
    try:
        return _BY_NAME[name].answer(text, today, sure)
    except NotUnderstood as error:
        return Finding(str(error))


def changed(outcome: Mapping[str, Scalar], answers: Mapping[str, Scalar]) -> dict[str, Scalar]:
    """Return the answers so far with some given anew; None takes one away.

    >>> changed({"ended": "he got out", "again": "yes"}, {"again": None, "male_whole": True})
    {'ended': 'he got out', 'male_whole': True}
    """
    return {name: value for name, value in {**outcome, **answers}.items() if value is not None}


def wish(outcome: Mapping[str, Scalar]) -> str:
    """Return whether they shall be paired again: 'yes', 'no' or 'never'; '' where that was not said clearly.

    >>> wish({"again": "Yes, in a fort"}), wish({"again": "never again"}), wish({"again": "we will see"})
    ('yes', 'never', '')
    """
    said = outcome.get("again")
    if isinstance(said, bool):
        return YES if said else NO
    words = str(said or "").replace(",", " ").casefold().split()
    return words[0] if words and words[0] in WISHES else ""


def wished_day(outcome: Mapping[str, Scalar], began: date) -> Day | None:
    """Return when they shall be paired again; words such as 'in two weeks' count from the session's day."""
    said = outcome.get("again_when")
    return day_meant(said, began) if isinstance(said, str) else None


def contradictions(outcome: Mapping[str, Scalar]) -> Iterator[str]:
    """Yield which answers can't all be true: a male who was killed is not whole, and is not paired again."""
    if outcome.get("ended") != KILLED:
        return
    if outcome.get("male_whole") is True:
        yield gettext("he was killed, and is whole: which is right?")
    if wish(outcome) == YES or (outcome.get("again_when") and wish(outcome) not in (NO, NEVER)):
        yield gettext("he was killed, and is to be paired again: which is right?")


def is_accident(outcome: Mapping[str, Scalar]) -> bool:
    """Return whether the session was begun by mistake: it stays in its folder and counts for nothing."""
    return outcome.get("accident") is True
