"""Words on a narrow screen: a shorter way to say it, or whole words and an ellipsis; no word is ever broken."""

from collections.abc import Iterable

from rich.cells import cell_len, chop_cells


def first_fitting(width: int, *ways: str) -> str:
    """Return the first of some ways to say a thing that fits into `width` columns; the last where none does."""
    return next((way for way in ways if cell_len(way) <= width), ways[-1])


def packed(parts: Iterable[str], width: int) -> str:
    """Return parts on lines of at most `width` columns, as many on each as fit, none of them broken by this.

    >>> packed(["1 he got out", "2 she withdrew", "3 left together"], 30).split("\\n")
    ['1 he got out   2 she withdrew', '3 left together']
    """
    lines: list[str] = []
    for part in filter(None, parts):
        longer = f"{lines[-1]}   {part}" if lines else part
        if lines and cell_len(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(part)
    return "\n".join(lines)


def wrapped(text: str, width: int, indent: int = 0) -> str:
    """Return text with its lines broken between words where they are wider than `width` columns; what goes on stands
    `indent` columns in.

    >>> print(wrapped(" now: walks 0:12, drums 0:03", 16))
     now: walks
    0:12, drums 0:03
    >>> print(wrapped("F-Umbra  feed: few and small", 20, 9))
    F-Umbra  feed: few
             and small
    """
    lines = []
    for line in text.split("\n"):
        if cell_len(line) <= width:  # nearly all are, and a key waits for each
            lines.append(line)
            continue
        first, *words = line.split(" ")
        lines += chop_cells(first, width) or [""]
        for word in words:
            longer = f"{lines[-1]} {word}"
            if cell_len(longer) <= width:
                lines[-1] = longer
            else:  # one word that alone is too long is broken
                lines += [" " * indent + part for part in chop_cells(word, max(1, width - indent))]
    return "\n".join(lines)


def padded(text: str, width: int) -> str:
    """Return text with blanks behind it, so that it takes `width` columns.

    >>> padded("walks", 7) + "|", padded("\N{CJK UNIFIED IDEOGRAPH-8D70}", 7) + "|"
    ('walks  |', '\N{CJK UNIFIED IDEOGRAPH-8D70}     |')
    """
    return text + " " * (width - cell_len(text))


def shortened(text: str, width: int) -> str:
    """Return as many whole words as fit into `width` columns, with an ellipsis where some had to go.

    >>> shortened("palpal drumming", 17), shortened("slow palpal drumming", 17)
    ('palpal drumming', 'slow palpal...')
    """
    if cell_len(text) <= width:
        return text
    words = text.split(" ")
    while len(words) > 1 and cell_len(" ".join(words)) + 3 > width:
        words.pop()
    kept = " ".join(words).rstrip()
    while kept and cell_len(kept) + 3 > width:  # one word that alone is too long
        kept = kept[:-1]
    return f"{kept}..."[: max(0, width)]
