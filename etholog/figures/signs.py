"""Signs of eggs coming, by days before the sac."""

import pandas as pd

from etholog.analysis import columns
from etholog.figures.style import FAINT, GROUPS, INK, RULE, ReproducibleFigure, Size, nothing, plain, plate, rules

ROW_INCHES = 0.3
MARKS = "osD^vPX*<>"


def signs(seen: pd.DataFrame, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of the signs before a sac: a line for each attempt, which ends at 0 with what came of it.

    A mark for each sign, its number beside it where one was told.

    Parameters
    ----------
    seen: as `etholog.signs_seen` returns it.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for a table that lacks a column of it.

    >>> import etholog
    >>> from datetime import date
    >>> figure = etholog.figures.signs(etholog.signs_seen(etholog.read("examples/season"), date(2026, 11, 20)))
    """
    columns.table(seen, "female", "attempt", "end", "sign", "number", "days")
    with rules():
        told = seen.dropna(subset=["sign"])
        if told.empty:
            return nothing(size, "No sign is on the cards after a pairing.")
        order = list(dict.fromkeys(seen.sort_values(["end", "female"])["attempt"]))
        figure = plate(size, 0.9 + ROW_INCHES * len(order))
        axes = figure.subplots()
        for at, attempt in enumerate(order):
            axes.axhline(at, color=RULE, linewidth=0.6, zorder=0)
            end = str(seen.loc[seen["attempt"] == attempt, "end"].iloc[0])
            axes.annotate(
                {"open": "today, still open"}.get(end, end), (1, at), xycoords=("axes fraction", "data"),
                xytext=(4, 0), textcoords="offset points", va="center", fontsize=7, color=INK,
            )  # fmt: skip
        for number, (name, rows) in enumerate(told.groupby("sign")):
            look = GROUPS[number % len(GROUPS)]
            axes.plot(
                -rows["days"], [order.index(attempt) for attempt in rows["attempt"]], MARKS[number % len(MARKS)],
                color=look.colour, markersize=5, label=plain(str(name)), gid=f"sign:{name}",
            )  # fmt: skip
        for row in told.dropna(subset=["number"]).to_dict("records"):
            axes.annotate(
                f"{row['number']:g}", (-row["days"], order.index(row["attempt"])), xytext=(0, 4),
                textcoords="offset points", ha="center", fontsize=6.5, color=FAINT,
            )  # fmt: skip
        females = seen.drop_duplicates("attempt").set_index("attempt")["female"]
        axes.set_yticks(range(len(order)), [plain(females[attempt]) for attempt in order])
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(len(order) - 0.4, -0.6)
        axes.axvline(0, color=INK, linewidth=0.8)
        axes.set_xlabel("days before the sac, or before what came instead")
        figure.legend(loc="outside upper left", ncols=3 if size == "page" else 2)
        return figure
