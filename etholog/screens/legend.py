"""The table of keys that `?` shows."""

import re
from collections.abc import Mapping, Sequence

from etholog.base.text import visible
from etholog.ethogram import Press
from etholog.recording.keyboard import Keyboard

# What every way of recording live has, whether on the strip or line by line.
RIGHTING = (
    "Space RESCUE",
    "Backspace or Tab take back",
    "Delete bring back",
    "{1} or {0} a second earlier",
    "{2} or {9} it was another",
    "{3} or {8} unsure",
)


def key_words(layout: Mapping[str, Press]) -> list[str]:
    """Return each key of a layout with what it means."""
    return [
        visible(f"{key} {press.behaviour.label}{' ' + press.choice if press.choice else ''}")
        for key, press in layout.items()
    ]


def key_table(layout: Mapping[str, Press], own: Sequence[str], width: int) -> str:
    """Return the keys of the layout and the screen's own, in as many columns as fit into `width`."""
    words = [*key_words(layout), *own]
    widest = max(map(len, words)) + 2
    columns = max(1, width // widest)
    rows = -(-len(words) // columns)
    return "\n".join("".join(word.ljust(widest) for word in words[row::rows]).rstrip() for row in range(rows))


def own_words(own: Sequence[str], keyboard: Keyboard) -> list[str]:
    """Return a screen's own keys with what stands on this keyboard in place of each {QWERTY key}."""
    return [re.sub(r"\{(.)\}", lambda found: keyboard.typed(found[1]), words) for words in own]
