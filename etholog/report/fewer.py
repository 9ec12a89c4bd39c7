"""What of a large season is drawn: a picture of hundreds of rows or panels says no more, and no page holds it."""

import numpy as np
import pandas as pd

from etholog.base.language import gettext

MOST_MALES = 6
MOST_ROWS = 40


def most_males(table: pd.DataFrame, sessions: pd.Series | None = None) -> tuple[pd.DataFrame, str]:
    """Return the rows of the males with the most sessions, and the words for the others.

    `sessions`: the male of each session, where the table has no row for each.
    """
    counts = (table["male"] if sessions is None else sessions).astype(str).value_counts(sort=False).sort_index()
    counts = counts[counts > 0].sort_values(ascending=False, kind="stable")
    if len(counts) <= MOST_MALES:
        return table, ""
    kept = table[table["male"].astype(str).isin(counts.index[:MOST_MALES])]
    return kept, " " + gettext(
        "Drawn: the {some} of {all} males with the most sessions; the tables have all.",
        some=MOST_MALES,
        all=len(counts),
    )


def evenly(rows: pd.DataFrame, order: str) -> tuple[pd.DataFrame, str]:
    """Return at most 40 of the rows, evenly in the order in which they come, and the words for the others."""
    if len(rows) <= MOST_ROWS:
        return rows, ""
    at = np.linspace(0, len(rows) - 1, MOST_ROWS).round().astype(int)
    return rows.iloc[at], " " + gettext(
        "Drawn: {some} of {all} sessions, evenly from the {order}.", some=MOST_ROWS, all=len(rows), order=order
    )
