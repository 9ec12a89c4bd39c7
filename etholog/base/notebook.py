"""Results as a notebook shows them: a sentence and a table or two, small, and every text in them only text."""

from html import escape
from typing import TYPE_CHECKING, Any

from etholog.base.text import visible

if TYPE_CHECKING:
    import pandas as pd

ROWS, COLUMNS, LETTERS = 24, 12, 80


def html(said: str, *tables: "pd.DataFrame") -> str:
    """Return the sentence and the tables as HTML; of a long or wide table the first and last rows and columns."""
    lines = [f"<p>{escape(said)}</p>"]
    for table in tables:
        small = table.rename(index=_short, columns=_short)
        lines += small.to_html(
            max_rows=ROWS, max_cols=COLUMNS, na_rep="–", float_format="{:.4g}".format, border=0
        ).split("\n")
    # pandas escapes markup, and cuts cells but not heads; what turns text around or moves a cursor is left to us.
    return "\n".join(visible(line) for line in lines)


def _short(name: Any) -> Any:
    return f"{name[: LETTERS - 1]}…" if isinstance(name, str) and len(name) > LETTERS else name
