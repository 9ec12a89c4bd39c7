"""Words on a narrow screen: a shorter way to say it, or whole words and an ellipsis; no word is ever broken."""

from rich.cells import cell_len


def first_fitting(width: int, *ways: str) -> str:
    """Return the first of some ways to say a thing that fits into `width` columns; the last where none does."""
    return next((way for way in ways if cell_len(way) <= width), ways[-1])


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
