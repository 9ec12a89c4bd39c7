"""Fonts for what is drawn: matplotlib's own, and installed ones for the letters that it lacks."""

import logging
from collections.abc import Sequence
from functools import cache

from matplotlib import rcParams
from matplotlib.font_manager import FontProperties, findfont, findSystemFonts, fontManager, get_font

Letter = tuple[str, str]  # and its weight
# That a font has no bold face is no news to a keeper.
logging.getLogger("matplotlib.font_manager").setLevel(logging.ERROR)


def families(letters: set[Letter]) -> tuple[list[str], str]:
    """Return the fonts for these letters, matplotlib's own first and then installed ones that have what it lacks; and
    the letters that none of them has."""
    found = list(rcParams["font.family"])
    lacking = letters - _drawn(found, letters)
    names = set()
    # Not from matplotlib's own list, which doesn't know a font that was installed since.
    for path in findSystemFonts() if lacking else ():
        if any(_holds(path, letter) for letter, _ in lacking):
            fontManager.addfont(path)
            names.add(get_font(path).family_name)
    drawn = {name: _drawn([name], lacking) for name in sorted(names)}
    while drawn and (most := max((own & lacking for own in drawn.values()), key=len)):
        found.append(next(name for name, own in drawn.items() if own & lacking == most))
        lacking -= most
    return found, "".join(sorted({letter for letter, _ in lacking}))


def _drawn(family: Sequence[str], letters: set[Letter]) -> set[Letter]:
    """Return which of the letters a family draws."""
    faces = {weight: findfont(FontProperties(family=family, weight=weight)) for _, weight in letters}
    return {(letter, weight) for letter, weight in letters if _holds(faces[weight], letter)}


@cache  # the figures of a report have many letters in common, and to open a font takes its time
def _holds(path: str, letter: str) -> bool:
    """Tell whether a font has a letter; one that can't be read has none, nor has one of boxes for all letters."""
    try:
        font = get_font(path)
    except (OSError, RuntimeError):
        return False
    boxes = "lastresort" in font.family_name.replace(" ", "").casefold()
    return not boxes and bool(font.get_char_index(ord(letter)))
