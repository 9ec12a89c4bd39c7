"""What `?` shows, page by page: the keys, then what each behaviour of the ethogram is."""

from collections.abc import Mapping

from rich.cells import cell_len

from etholog.base.text import visible
from etholog.ethogram import Ethogram, Hand, Press, recoded_from
from etholog.ethogram.own_keys import Act, Where, place_of, rows
from etholog.recording.keyboard import Keyboard
from etholog.screens.fit import padded, wrapped


def key_words(layout: Mapping[str, Press]) -> list[str]:
    """Return each key of a layout with what it means."""
    return [
        visible(f"{key} {press.behaviour.words}{' ' + press.choice if press.choice else ''}")
        for key, press in layout.items()
    ]


def own_words(where: Where, keyboard: Keyboard) -> list[str]:
    """Return the screen's own keys, as they stand on this keyboard, with what they do."""
    return [f"{called} {short}" for called, short, _ in rows(where, keyboard.typed) if short]


def key_table(words: list[str], width: int) -> str:
    """Return keys with what they mean, in as many columns as fit into `width`."""
    widest = max(map(cell_len, words)) + 2
    columns = max(1, width // widest)
    height = -(-len(words) // columns)
    return "\n".join("".join(padded(word, widest) for word in words[row::height]).rstrip() for row in range(height))


def definitions(ethogram: Ethogram, layout: Mapping[str, Press], keyboard: Keyboard, hand: Hand) -> list[str]:
    """Return what each behaviour is, a paragraph each, its keys first: one, or one and then 'it was another'."""
    other = keyboard.typed(place_of(Act.OTHER, hand))
    keys: dict[str, list[str]] = {}
    for key, press in layout.items():
        keys.setdefault(press.behaviour.code, []).append(key)
    for code, base in recoded_from(ethogram.behaviour).items():
        keys.setdefault(code, [f"{key} {other}" for key in keys.get(base, ["-"])[:1]])
    return [
        visible(f"{' '.join(keys.get(one.code, ['-']))}  {one.words} ({one.actor}, {one.kind}): {one.definition}")
        for one in ethogram.behaviour
    ]


def pages(paragraphs: list[str], width: int, height: int) -> list[str]:
    """Return paragraphs, wrapped between words to `width`, in pages of at most `height` lines."""
    found: list[list[str]] = [[]]
    for paragraph in paragraphs:
        lines = wrapped(paragraph, max(width, 20), 3).split("\n")
        if found[-1] and len(found[-1]) + len(lines) > height:
            found.append([])
        found[-1] += lines
        while len(found[-1]) > height:
            found.append(found[-1][height:])
            del found[-2][height:]
    return ["\n".join(page) for page in found if page]
