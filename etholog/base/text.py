"""Text that somebody typed or a file holds, made safe to print and to hand on."""

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from etholog.base.language import gettext, gettext_noop, number

# Controls, direction marks and line separators can move the cursor, colour the screen or turn a line around.
_UNSAFE = {"Cc", "Cf", "Cs", "Zl", "Zp"}

LISTED = 60  # of a herd of thousands no list of all helps

# Said wherever stretches of a film are shown.
STILLNESS = gettext_noop("Stillness is not absence: an animal that does not move is in no stretch.")


def visible(text: str) -> str:
    """Return the text on one line, each character that a terminal would act on shown as its escape.

    >>> visible("a\\x1b[31mb\\u202ec")
    'a\\\\x1b[31mb\\\\u202ec'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_escape(character) if unsafe(character) else character for character in text)


# A joiner between two pictographs makes one of them (emoji ZWJ sequences, Unicode TS 51); a modifier may precede it.
_PICTOGRAPH = "\u2190-\u2bff\U0001f000-\U0001faff"
_JOINED = re.compile(f"(?<=[{_PICTOGRAPH}\ufe0f])\u200d(?=[{_PICTOGRAPH}])")


def readable(text: str) -> str:
    """Return the text for a page or a caption: as `visible`, but an emoji that is joined of several stays one sign.
    On a terminal it would not: programs differ in how wide it is.

    >>> joined = "\N{FIRE}\N{ZERO WIDTH JOINER}\N{BUG}"
    >>> readable(joined) == joined, readable(f"a{joined[1]}b") == visible(f"a{joined[1]}b")
    (True, True)
    """
    return "\u200d".join(map(visible, _JOINED.split(text)))


def visible_lines(lines: Iterable[str]) -> str:
    """Return lines, each made safe to show, as one text."""
    return "\n".join(map(visible, lines))


def many(count: int, one: str, more: str = "") -> str:
    """Return a count with its thing; `more` where several are not called by an s.

    >>> many(1, "session"), many(1400, "session"), many(2, "thing is", "things are")
    ('1 session', '1,400 sessions', '2 things are')
    """
    return f"{count:,} {one if count == 1 else more or f'{one}s'}"


def in_words(code: str, labels: Mapping[str, str]) -> str:
    """Return what a behaviour is called, with its side where it has one.

    >>> in_words("insertion:left", {"insertion": "insertion"}), in_words("on_silk", {"on_silk": "on her silk"})
    ('insertion, left', 'on her silk')
    """
    name, _, side = code.partition(":")
    told = labels.get(name, name.replace("_", " "))
    return f"{told}, {gettext(side)}" if side else told


def percent(share: float) -> str:
    """Return a share in percent.

    >>> percent(0.489), percent(0.004), percent(1.0)
    ('49 %', '0.4 %', '100 %')
    """
    return f"{number(100 * share, '.1f' if 0 < share < 0.1 else '.0f')} %"


def short_number(value: float) -> str:
    """Return a number with as many digits as a reader can use.

    >>> short_number(1234.56), short_number(0.01234), short_number(0.0), short_number(0.00001)
    ('1,234.6', '0.012', '0', '<0.0001')
    """
    if value == 0:
        return "0"  # and never -0
    if 0 < value < 0.0001:
        return f"<{number(0.0001, '.4f')}"
    return number(value, ",.1f" if abs(value) >= 1 else ".2g")


def p_number(p: float) -> str:
    """Return a p with four decimals, one that is smaller still with two digits: no p is 0.

    >>> p_number(0.0123), p_number(5.83e-06)
    ('0.0123', '5.8e-06')
    """
    return number(p, ".2g" if p < 0.0001 else ".4f")


def unsafe(character: str) -> bool:
    """Tell whether a terminal would act on the character, or show text in another order for it."""
    return unicodedata.category(character) in _UNSAFE


# For files: control characters but for tab and line feed, which spreadsheets refuse and at which some readers of CSV
# end; and those that turn text around (Unicode TR36) or break lines. Joiners and the like belong to people's writing.
_NO_TEXT = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")


def portable(text: str) -> str:
    """Return the text as any program can hold it: one kind of line end, control characters as their escapes.

    >>> portable("a\\r\\nb\\x1b[0m")
    'a\\nb\\\\x1b[0m'
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return _NO_TEXT.sub(lambda found: _escape(found[0]), text)


def some_of(words: Sequence[str], most: int) -> str:
    """Return the first of the words, and how many more there are.

    >>> some_of(["F-1", "F-2", "F-3", "F-4"], 2)
    'F-1, F-2 and 2 more'
    """
    return ", ".join(words[:most]) + (f" and {len(words) - most} more" if len(words) > most else "")


def nearest(word: str, known: Iterable[str]) -> str:
    """Return '; did you mean ...?' with the words most like this one, or a list of them when none is like it.

    >>> nearest("drum", ["drumming", "walking"])
    "; did you mean 'drumming'?"
    """
    words = list(dict.fromkeys(known))
    listed = f"; known are: {some_of(words, LISTED)}" if words else "; none is known"
    return like(word, words) or listed


def like(word: str, known: Iterable[str]) -> str:
    """Return '; did you mean ...?' with the words most like this one, or '' when none is like it."""
    import difflib  # only where a word was wrong

    close = difflib.get_close_matches(word, list(dict.fromkeys(known)), n=3, cutoff=0.5)
    return f"; did you mean {' or '.join(map(repr, close))}?" if close else ""


def _escape(character: str) -> str:
    return character.encode("unicode_escape").decode()


def drawable(text: str, longest: int) -> str:
    """Return what somebody typed as a picture may hold it: one line, not too long, no controls."""
    short = text if len(text) <= longest else f"{text[: longest - 1]}…"
    return "".join(c if c.isprintable() else " " for c in short)
