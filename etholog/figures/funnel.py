"""How many came how far: the share that reached each step of those that reached the one before."""

import numpy as np
import pandas as pd

from etholog.analysis import columns
from etholog.base.colours import FAINT, RULE
from etholog.base.language import gettext, gettext_noop, number
from etholog.figures.style import ACTORS, ReproducibleFigure, Size, nothing, plain, plate, rules

ROW_INCHES = 0.3

STEPS = {
    "introduced": gettext_noop("introduced"),
    "courted": gettext_noop("courted"),
    "clasped": gettext_noop("clasped"),
    "inserted": gettext_noop("inserted"),
    "sac": gettext_noop("sac"),
    "young": gettext_noop("young"),
}


def funnel(steps: pd.DataFrame, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of how many came how far, the first step at the top.

    A dot is the share of those that reached the step before, a line its limits of 95 %: Wilson's (1927) for the
    steps of the evening, and of what had come by the day in the label (Aalen & Johansen 1978) for those that take
    time.

    Parameters
    ----------
    steps: as `etholog.funnel` returns it.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for a table that lacks a column of it.

    >>> import etholog
    >>> from datetime import date
    >>> attempts = etholog.outcomes(etholog.read("examples/season"), date(2026, 11, 20))
    >>> figure = etholog.figures.funnel(etholog.funnel(attempts))
    """
    columns.table(steps, "step", "reached", "of", "open", "share", "low", "high", "day")
    with rules():
        if not len(steps) or not steps["of"].any():
            return nothing(size, gettext("Nothing is known of any attempt."))
        figure = plate(size, 0.6 + ROW_INCHES * len(steps))
        axes = figure.subplots()
        places = np.arange(len(steps))
        share, low, high = (100 * steps[name].to_numpy(dtype=float) for name in ("share", "low", "high"))
        colour = ACTORS["pair"].colour
        axes.hlines(places, 0, 100, color=RULE, linewidth=0.5, zorder=0)
        axes.hlines(places, low, high, color=colour, linewidth=1.6, gid="limits")
        axes.plot(share, places, "o", color=colour, markersize=6, clip_on=False, gid="share")
        for at, (reached, of, waiting) in enumerate(zip(steps["reached"], steps["of"], steps["open"], strict=True)):
            told = gettext("{count} of {all}", count=reached, all=of)
            if waiting:
                told += gettext(", {count} not so long yet", count=waiting)
            axes.annotate(
                told, (1, at), xycoords=("axes fraction", "data"), xytext=(8, 0), textcoords="offset points",
                va="center", fontsize=7, color=FAINT, gid=f"count:{at}",
            )  # fmt: skip
        days = zip(steps["step"], steps["day"], strict=True)
        axes.set_yticks(places, [plain(_step(str(step), day)) for step, day in days])
        axes.tick_params(axis="y", length=0)
        axes.set_xlim(-2, 102)
        axes.set_ylim(len(steps) - 0.5, -0.5)
        axes.set_xlabel(gettext("% of those that reached the step before"))
        return figure


def _step(step: str, day: float) -> str:
    named = gettext(STEPS.get(step, step))
    return gettext("{step} by day {day}", step=named, day=number(day, ",.0f")) if day == day else named
