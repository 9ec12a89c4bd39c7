"""The catalogues of languages, and which of them is asked for.

They are gettext's (`languages/de/LC_MESSAGES/etholog.po`); babel reads them as they are, so that nobody has to compile
them. English is the language of the sources: it needs no catalogue and no babel.
"""

import os
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from etholog.base.language import ENGLISH
from etholog.base.refusal import Refusal

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog

FOLDER = Path(__file__).parents[1] / "languages"
CHECKED_BY = "X-Checked-By"


class Sentences(NamedTuple):
    """A language's sentences by their English ones; each has a text for every plural form that the language has."""

    by_english: Mapping[str, tuple[str, ...]]
    plural: Any
    checked_by: str


def languages() -> list[str]:
    """Return the languages that there are, by their ISO 639 codes, English among them."""
    return sorted({ENGLISH, *(file.parts[-3] for file in FOLDER.glob("*/LC_MESSAGES/etholog.po"))})


def asked(option: str | None) -> str:
    """Return the language of an option; where it is not given, that of the environment, by gettext's own rules:
    LANGUAGE, then LC_ALL, LC_MESSAGES, LANG; none in the locale C. Raises Refusal for an option that names no
    language here; where the environment names one that is not here, it is English.

    >>> asked("de"), asked("es-AR")
    ('de', 'es')
    """
    known = languages()
    if option is not None:
        if (code := _code(option)) in known:
            return code
        raise Refusal(f"no language {option!r}; there are: {', '.join(known)}")
    return next((code for code in _of_environment() if code in known), ENGLISH)


def asked_for_labels(option: str | None) -> str:
    """Return the language in which labels are asked for, as `asked` does; an ethogram may have them in any.

    >>> asked_for_labels("fr")
    'fr'
    """
    return _code(option) if option else next(iter(_of_environment()), ENGLISH)


def _of_environment() -> list[str]:
    locale = next(filter(None, map(os.environ.get, ("LC_ALL", "LC_MESSAGES", "LANG"))), "C")
    if _code(locale) in ("c", "posix"):
        return []
    return [_code(one) for one in (os.environ.get("LANGUAGE") or locale).split(":")]


def catalogue(file: Path) -> "Catalog":
    """Return a catalogue as babel reads it."""
    from babel.messages.pofile import read_po

    with file.open("rb") as opened:
        return read_po(opened, locale=file.parts[-3], domain="etholog", abort_invalid=True)


@cache
def sentences(language: str) -> Sentences:
    """Return the sentences of a language other than English."""
    from gettext import c2py

    kept = catalogue(FOLDER / language / "LC_MESSAGES" / "etholog.po")
    said: dict[str, tuple[str, ...]] = {}
    for message in kept:
        forms = (message.string,) if isinstance(message.string, str) else tuple(message.string or ())
        if message.id and forms and not message.fuzzy and all(forms):
            said[message.id if isinstance(message.id, str) else message.id[0]] = forms
    checked = next((value for name, value in kept.mime_headers if name == CHECKED_BY), "")
    return Sentences(said, c2py(kept.plural_expr), checked.strip())


def _code(locale: str) -> str:
    return locale.partition(".")[0].partition("@")[0].replace("-", "_").partition("_")[0].lower()
