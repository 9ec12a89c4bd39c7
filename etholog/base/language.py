"""The language of what leaves the program: which one is asked for, its sentences and its numbers.

Catalogues are gettext's (`languages/de/LC_MESSAGES/etholog.po`); babel reads them as they are, so that nobody has to
compile them. English is the language of the sources: it needs no catalogue and no babel.
"""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from etholog.base.refusal import Refusal

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog

ENGLISH = "en"
FOLDER = Path(__file__).parents[1] / "languages"
CHECKED_BY = "X-Checked-By"
_now: ContextVar[str] = ContextVar("language", default=ENGLISH)


@dataclass(frozen=True)
class Sentences:
    """A language's sentences by their English ones; each has a text for every plural form that the language has."""

    by_english: Mapping[str, tuple[str, ...]]
    plural: Any
    checked_by: str


def languages() -> list[str]:
    """Return the languages that there are, by their ISO 639 codes, English among them."""
    return sorted({ENGLISH, *(file.parts[-3] for file in FOLDER.glob("*/LC_MESSAGES/etholog.po"))})


def asked(option: str | None) -> str:
    """Return the language of an option; where it is not given, that of the environment, by gettext's own rules:
    LANGUAGE, then LC_ALL, LC_MESSAGES, LANG; none in the locale C. Raises Refusal for an option that is no language
    here; an environment's that is none here means English.

    >>> asked("de"), asked("es-AR")
    ('de', 'es')
    """
    known = languages()
    if option is not None:
        if (code := _code(option)) in known:
            return code
        raise Refusal(f"no language {option!r}; there are: {', '.join(known)}")
    locale = next(filter(None, map(os.environ.get, ("LC_ALL", "LC_MESSAGES", "LANG"))), "C")
    if _code(locale) in ("c", "posix"):
        return ENGLISH
    wanted = (os.environ.get("LANGUAGE") or locale).split(":")
    return next((code for code in map(_code, wanted) if code in known), ENGLISH)


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Let what is said within be in this language."""
    token = _now.set(language)
    try:
        yield
    finally:
        _now.reset(token)


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
    text = said[_sentences(current()).plural(count)] if said else one if count == 1 else more
    return text.format(n=number(count, ","), **values)


def gettext_noop(sentence: str) -> str:
    """Return a sentence as it is: it belongs into the catalogues, and is translated where it is said."""
    return sentence


def beside(caution: str) -> str:
    """Return a caution, the English one beside its translation: a wrong word in it could hurt somebody."""
    said = gettext(caution)
    return said if said == caution else f"{said} / {caution}"


def number(value: float, form: str) -> str:
    """Return a number as Python's format spec writes it, with the language's decimal and thousands separators."""
    text = format(value, form)
    if current() == ENGLISH or not any(mark in text for mark in ".,"):
        return text
    from babel.numbers import get_decimal_symbol, get_group_symbol

    signs = {".": get_decimal_symbol(current()), ",": get_group_symbol(current())}
    return "".join(signs.get(character, character) for character in text)


def weekday(day: date) -> str:
    """Return the name of a day of the week."""
    if current() == ENGLISH:
        return f"{day:%A}"
    from babel.dates import format_date

    return format_date(day, "EEEE", locale=current())


def unchecked() -> str:
    """Return that no native speaker has checked the translation, in it and in English; '' in English, or where the
    catalogue's header says who has."""
    if current() == ENGLISH or _sentences(current()).checked_by:
        return ""
    return beside("No native speaker has checked this translation. Where it matters, the English sentence counts.")


def catalogue(file: Path) -> "Catalog":
    """Return a catalogue as babel reads it."""
    from babel.messages.pofile import read_po

    with file.open("rb") as opened:
        return read_po(opened, locale=file.parts[-3], domain="etholog", abort_invalid=True)


def _code(locale: str) -> str:
    return locale.partition(".")[0].partition("@")[0].replace("-", "_").partition("_")[0].lower()


def _said(sentence: str) -> tuple[str, ...]:
    return () if current() == ENGLISH else _sentences(current()).by_english.get(sentence, ())


@cache
def _sentences(language: str) -> Sentences:
    from gettext import c2py

    kept = catalogue(FOLDER / language / "LC_MESSAGES" / "etholog.po")
    said: dict[str, tuple[str, ...]] = {}
    for message in kept:
        forms = (message.string,) if isinstance(message.string, str) else tuple(message.string or ())
        if message.id and forms and not message.fuzzy and all(forms):
            said[message.id if isinstance(message.id, str) else message.id[0]] = forms
    checked = next((value for name, value in kept.mime_headers if name == CHECKED_BY), "")
    return Sentences(said, c2py(kept.plural_expr), checked.strip())
