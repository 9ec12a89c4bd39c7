"""The language of what leaves the program: its sentences and its numbers, in the language that is spoken now.

English is the language of the sources, and loads nothing: this is imported before `--help` is shown.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

TYPE_CHECKING = False  # typing's own costs a fifth of the time of --help
if TYPE_CHECKING:
    from datetime import date
    from typing import TypeVar

    from etholog.base.catalogues import Sentences

    Sentence = TypeVar("Sentence", bound=str)

ENGLISH = "en"
_now: ContextVar[str] = ContextVar("language", default=ENGLISH)
_labels: ContextVar[str] = ContextVar("language of labels", default=ENGLISH)


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Let what is said within be in this language."""
    token = _now.set(language)
    try:
        yield
    finally:
        _now.reset(token)


@contextmanager
def labelling(language: str) -> Iterator[None]:
    """Let labels be in this language where their ethogram has them so, and all else in English: on the screens."""
    token = _labels.set(language)
    try:
        yield
    finally:
        _labels.reset(token)


def of_labels() -> str:
    """Return the language of an ethogram's labels: the one that is spoken, or on a screen in English its own."""
    return _labels.get() if current() == ENGLISH else current()


def current() -> str:
    """Return the language that is spoken now."""
    return _now.get()


def gettext(sentence: str, **values: object) -> str:
    """Return a sentence in the language that is spoken, its `{names}` filled in; in English where it has none.

    >>> gettext("moulted {day}", day="2026-03-05")
    'moulted 2026-03-05'
    """
    said = _said(sentence)
    text = said[0] if said else sentence
    return text.format(**values) if values else text


def ngettext(one: str, more: str, count: int, **values: object) -> str:
    """Return a sentence in the plural form for a count, which its `{n}` shows.

    >>> ngettext("{n} mark", "{n} marks", 1), ngettext("{n} mark", "{n} marks", 1400)
    ('1 mark', '1,400 marks')
    """
    said = _said(one)
    text = said[_spoken().plural(count)] if said else one if count == 1 else more
    return text.format(n=number(count, ","), **values)


def gettext_noop(sentence: "Sentence") -> "Sentence":
    """Return a sentence as it is: it belongs into the catalogues, and is translated where it is said."""
    return sentence


def ngettext_noop(one: str, more: str) -> tuple[str, str]:
    """Return a sentence's two forms as they are, as `gettext_noop` does."""
    return one, more


def beside(caution: str) -> str:
    """Return a caution, the English one beside its translation: a wrong word in it could hurt somebody."""
    said = gettext(caution)
    return said if said == caution else f"{said} / {caution}"


def number(value: float, form: str) -> str:
    """Return a number as Python's format spec writes it, with the language's decimal and thousands separators."""
    return digits(format(value, form))


def digits(text: str) -> str:
    """Return a number that is written with a decimal point, with the language's separators."""
    if current() == ENGLISH or not any(mark in text for mark in ".,"):
        return text
    from babel.numbers import get_decimal_symbol, get_group_symbol

    signs = {".": get_decimal_symbol(current()), ",": get_group_symbol(current())}
    return "".join(signs.get(character, character) for character in text)


def weekday(day: "date") -> str:
    """Return the name of a day of the week."""
    if current() == ENGLISH:
        return f"{day:%A}"
    from babel.dates import format_date

    return format_date(day, "EEEE", locale=current())


def unchecked() -> str:
    """Return that no native speaker has checked the translation, in it and in English; '' in English, or where the
    catalogue's header says who has."""
    if current() == ENGLISH or _spoken().checked_by:
        return ""
    return beside("No native speaker has checked this translation. Where it matters, the English sentence counts.")


def _said(sentence: str) -> tuple[str, ...]:
    return () if current() == ENGLISH else _spoken().by_english.get(sentence, ())


def _spoken() -> "Sentences":
    from etholog.base.catalogues import sentences

    return sentences(current())
