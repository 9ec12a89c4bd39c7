"""How the chance to see a difference grows with males and sessions."""

from itertools import cycle

import pandas as pd

from etholog.analysis import columns
from etholog.figures.style import GROUPS_AND_MORE, ReproducibleFigure, Size, nothing, plain, plate, rules

QUESTIONS = {
    "within": "changed from session to session",
    "between": "two kinds of males",
    "differ": "do males differ at all",
}


def power(table: pd.DataFrame, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of how the chance to see a difference grows with males and sessions.

    A panel for each question, a line for each number of sessions, and between the two lines of a colour what the
    repeatabilities that were tried leave open.

    Parameters
    ----------
    table: as `etholog.power` returns it.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for a table that lacks a column of it.

    >>> import etholog
    >>> figure = etholog.figures.power(etholog.power(median_s=300, males=[4, 6], sessions=[3], seasons=20))
    """
    columns.table(table, "males", "sessions", *QUESTIONS)
    with rules():
        if not len(table):
            return nothing(size, "No design to plan.")
        wide = size == "page"
        figure = plate(size, 2.7 if wide else 5.4)
        panels = figure.subplots(*((1, len(QUESTIONS)) if wide else (len(QUESTIONS), 1)), sharex=True, sharey=True)
        for axes, (question, title) in zip(panels, QUESTIONS.items(), strict=True):
            for look, (sessions, rows) in zip(cycle(GROUPS_AND_MORE), table.groupby("sessions"), strict=False):
                ends = rows.groupby("males")[question].agg(["min", "max"])
                axes.fill_between(ends.index, ends["min"], ends["max"], color=look.colour, alpha=0.2, linewidth=0)
                for end in ("min", "max"):
                    axes.plot(
                        ends.index, ends[end], color=look.colour, linestyle=look.line, marker="o", markersize=3,
                        gid=f"{question}:{sessions}:{end}",
                        label=plain(f"{sessions} sessions each") if end == "max" else None,
                    )  # fmt: skip
            axes.axhline(0.8, color="0.7", linewidth=0.6, zorder=0)
            axes.set_title(title, fontsize=7)
            axes.set_ylabel("share of seasons\nthat show it" if axes is panels[0] or not wide else "")
            axes.set_xlabel("males" if axes is panels[-1] or wide else "")
            axes.set_xticks(sorted(table["males"].unique()))
            axes.set_ylim(0, 1.03)
        key = panels[0].get_legend_handles_labels()
        figure.legend(*key, loc="outside upper left", ncols=4 if wide else 2, handlelength=2.8)
        return figure
