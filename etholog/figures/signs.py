"""Signs of eggs coming: when they showed before the sac, and in what share of attempts."""

from collections.abc import Mapping

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from etholog.analysis import columns, sign
from etholog.base.colours import FAINT, INK, RULE
from etholog.figures.style import GROUPS, ReproducibleFigure, Size, nothing, plain, plate, rules

ROW_INCHES = 0.3
MARKS = "osD^vPX*<>"
APART = 0.19  # of a row: the share before a sac stands so far above its middle, that without one below

Mark = tuple[str, str]  # shape and colour


def signs(seen: pd.DataFrame, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of the signs before a sac: a line for each attempt, which ends at 0 with what came of it.

    A mark for each sign, its number beside it where one was told. Beneath, a row for each sign: in what share of the
    attempts it showed, with 95 % limits from four females on (`etholog.signs`), filled where a sac came, hollow where
    the attempt ended without one. Attempts that are still open count for neither.

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
        marks = {
            str(name): (MARKS[at % len(MARKS)], GROUPS[at % len(GROUPS)].colour)
            for at, name in enumerate(sorted(told["sign"].unique()))
        }
        attempts, shares = seen["attempt"].nunique(), sign.signs(seen)
        if shares.empty:
            figure = plate(size, 0.9 + ROW_INCHES * attempts)
            when = figure.subplots()
        else:
            figure = plate(size, 1.6 + ROW_INCHES * (attempts + len(shares)))
            when, share = figure.subplots(2, 1, height_ratios=(attempts, len(shares)))
            _share(share, shares, marks, size == "page")
        _when(when, seen, told, marks)
        figure.legend(*when.get_legend_handles_labels(), loc="outside upper left", ncols=3 if size == "page" else 2)
        return figure


def _when(axes: Axes, seen: pd.DataFrame, told: pd.DataFrame, marks: Mapping[str, Mark]) -> None:
    order = list(dict.fromkeys(seen.sort_values(["end", "female"])["attempt"]))
    for at, attempt in enumerate(order):
        axes.axhline(at, color=RULE, linewidth=0.6, zorder=0)
        end = str(seen.loc[seen["attempt"] == attempt, "end"].iloc[0])
        _beside(axes, at, {"open": "today, still open"}.get(end, end), INK)
    for name, rows in told.groupby("sign"):
        shape, colour = marks[str(name)]
        axes.plot(
            -rows["days"], [order.index(attempt) for attempt in rows["attempt"]], shape, color=colour, markersize=5,
            label=plain(str(name)), gid=f"sign:{name}",
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
    axes.xaxis.set_major_formatter(FuncFormatter(lambda day, _: f"{abs(day):g}"))
    axes.margins(x=0.07)
    axes.set_xlabel("days before the sac, or before what came instead")


def _share(axes: Axes, shares: pd.DataFrame, marks: Mapping[str, Mark], wide: bool) -> None:
    for at, row in enumerate(shares.to_dict("records")):
        shape, colour = marks[str(row["sign"])]
        axes.axhline(at, color=RULE, linewidth=0.6, zorder=0)
        for name, place, words, fill in (
            ("sacs", at - APART, "before a sac", colour),
            ("none", at + APART, "without one", "none"),
        ):
            count, of, low, high = (row[column] for column in (name, f"of_{name}", f"{name}_low", f"{name}_high"))
            told = f"{count} of {of} {words}" if wide else f"{count} of {of}"
            if low == low:
                axes.hlines(
                    place, 100 * low, 100 * high, color=colour, linewidth=1.2, gid=f"limits:{row['sign']}:{name}"
                )  # fmt: skip
            elif of:
                told += ", few females"
            if of:
                axes.plot(
                    100 * count / of, place, shape, color=colour, markerfacecolor=fill, markersize=5, clip_on=False,
                    gid=f"share:{row['sign']}:{name}",
                )  # fmt: skip
            _beside(axes, place, told, FAINT)
    # In a column the marks of the legend have to do.
    axes.set_yticks(range(len(shares)), [plain(str(name)) if wide else "" for name in shares["sign"]])
    axes.tick_params(axis="y", length=0)
    axes.set_xlim(0, 100)
    axes.set_ylim(len(shares) - 0.5, -0.5)
    axes.set_xlabel("% of ended attempts in which it showed\nfilled: before a sac, hollow: without one")


def _beside(axes: Axes, place: float, told: str, colour: str) -> None:
    """Write to the right of a row."""
    axes.annotate(
        told, (1, place), xycoords=("axes fraction", "data"), xytext=(6, 0), textcoords="offset points", va="center",
        fontsize=6.5, color=colour,
    )  # fmt: skip
