"""Text that somebody typed or a file holds, made safe to print."""

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
    return "".join(
        character.encode("unicode_escape").decode() if unicodedata.category(character) in _UNSAFE else character
        for character in text
    )
