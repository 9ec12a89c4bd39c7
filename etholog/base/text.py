"""Text that somebody typed or a file holds, made safe to print and to hand on."""

import re
import unicodedata

# Controls, direction marks and line separators can move the cursor, colour the screen or turn a line around.
_UNSAFE = {"Cc", "Cf", "Cs", "Zl", "Zp"}


def visible(text: str) -> str:
    """Return the text on one line, each character that a terminal would act on shown as its escape.

    >>> visible("a\\x1b[31mb\\u202ec")
    'a\\\\x1b[31mb\\\\u202ec'
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_escape(character) if unsafe(character) else character for character in text)


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


def _escape(character: str) -> str:
    return character.encode("unicode_escape").decode()
