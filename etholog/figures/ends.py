"""What came first, and by when: the share that has come to each of several ends."""

from itertools import cycle

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from etholog.analysis import columns
from etholog.analysis.survival import LIMITS_LEAST
from etholog.base.clock import round_times, seconds_face
from etholog.base.colours import FAINT
from etholog.base.language import gettext
from etholog.base.refusal import Refusal
from etholog.figures.style import GROUPS_AND_MORE, ReproducibleFigure, Size, no_limits, nothing, plain, plate, rules


def ends(shares: pd.DataFrame, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of what came first, and by when (Aalen & Johansen 1978), with how many still waited.

    Shaded: 95 % limits on the log-log scale (Kalbfleisch & Prentice 2002), where no animal that came twice was taken
    for two; else a line says why there are none.

    Parameters
    ----------
    shares: as `etholog.incidence` or `etholog.time_to_sac` returns it; the name of its index, `time_s` or `days`,
        says in what time is counted.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for anything but a table.

    >>> import etholog
    >>> from datetime import date
    >>> attempts = etholog.outcomes(etholog.read("examples/season"), date(2026, 11, 20))
    >>> figure = etholog.figures.ends(etholog.time_to_sac(attempts))
    """
    columns.table(shares)
    if shares.index.name not in ("time_s", "days"):
        raise Refusal("shares: no index of time; give what etholog.incidence or etholog.time_to_sac returned")
    with rules():
        causes = [str(name) for name in shares.columns if not str(name).startswith("se_")]
        if not len(shares) or not causes:
            return nothing(size, gettext("Nothing has come to an end yet."))
        figure = plate(size, 2.6)
        axes = figure.subplots()
        waited = np.asarray(shares.attrs.get("times", ()), dtype=float)
        animals = int(shares.attrs.get("animals", 0))
        limited = animals >= LIMITS_LEAST
        at = np.concatenate([[0.0], shares.index.to_numpy(dtype=float)])
        end = at[-1] * 1.03
        for cause, look in zip(causes, cycle(GROUPS_AND_MORE), strict=False):
            share = np.concatenate([[0.0], shares[cause].to_numpy(dtype=float)])
            x, y = np.append(at, end), np.append(share, share[-1])
            axes.step(
                x, y, where="post", color=look.colour, linestyle=look.line, linewidth=1.5,
                label=plain(gettext(str(cause))),
                gid=f"share:{cause}",
            )  # fmt: skip
            if limited:
                low, high = (np.append(side, side[-1]) for side in np.array(shares.attrs["limits"][cause]))
                axes.fill_between(
                    x[1:], low, high, step="post", color=look.colour, alpha=0.15, linewidth=0, gid=f"limits:{cause}"
                )
        axes.set_xlim(0, end)
        axes.set_ylim(0, 1.03)
        axes.set_yticks([0, 0.25, 0.5, 0.75, 1], ["0", "¼", "½", "¾", "1"])
        axes.set_ylabel(gettext("share that came to it first"))
        in_days = shares.index.name == "days"
        if in_days:
            axes.xaxis.set_major_locator(MaxNLocator(6, integer=True))
        else:
            axes.xaxis.set_major_locator(FixedLocator(round_times(end, 8 if size == "page" else 4)))
        told = gettext("days") if in_days else gettext("minutes : seconds")
        axes.set_xlabel(gettext("{time}, and how many still waited", time=told) if len(waited) else told)
        _told(axes, waited, in_days)
        if len(waited) and not limited:
            why = no_limits(few=(animals or len(waited)) < LIMITS_LEAST)
            figure.supxlabel(why, fontsize=6.5, color=FAINT, x=0.01, ha="left")
        # In the order in which the curves end, the highest first, so that none has to be searched for in the legend.
        highest = sorted(axes.lines, key=lambda line: -float(np.asarray(line.get_ydata())[-1]))
        figure.legend(handles=highest, loc="outside upper left", ncols=2 if size == "page" else 1, handlelength=2.8)
        return figure


def _told(axes: Axes, waited: NDArray[np.float64], in_days: bool) -> None:
    """Write each tick's time, and under it how many had not ended, and were still watched, by then, where that is
    known."""

    def told(tick: float, _: int) -> str:
        time = f"{tick:g}" if in_days else seconds_face(tick)
        return f"{time}\n{int((waited >= tick).sum())}" if len(waited) else time

    axes.xaxis.set_major_formatter(FuncFormatter(told))
