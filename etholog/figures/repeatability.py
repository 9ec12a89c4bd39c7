"""What each male is expected to do, with his limits, beside the population."""

import numpy as np
import pandas as pd
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from etholog.analysis import columns
from etholog.base.colours import FAINT, RULE
from etholog.figures.style import ACTORS, ReproducibleFigure, Size, nothing, plain, plate, rules

ROW_INCHES = 0.22


def repeatability(
    each: pd.DataFrame, population: float, size: Size = "page", label: str = "seconds"
) -> ReproducibleFigure:
    """Return a picture of what is expected of each animal beside the population. By name: it is no ranking.

    A dot for what is expected of it, a line for its 95 % posterior limits, a dashed line for one in the middle.
    Where all is above 0 and 10-fold apart, the axis is logarithmic.

    Parameters
    ----------
    each: `.each` of what `etholog.repeatability` returned.
    population: its `.population`, in the unit of `label`.
    label: the unit of the values.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for a table that lacks a column of it.

    >>> import etholog
    >>> import pandas as pd
    >>> each = pd.DataFrame({"sessions": [3, 4], "typical": [40, 90]}, index=["M-1", "M-2"])
    >>> each = each.assign(low=[20, 50], high=[80, 160])
    >>> figure = etholog.figures.repeatability(each, 60.0)
    """
    columns.table(each, "sessions", "typical", "low", "high")
    with rules():
        if not len(each):
            return nothing(size, "Too few animals or sessions to say what to expect of each.")
        figure = plate(size, 0.7 + ROW_INCHES * len(each))
        axes = figure.subplots()
        sex = each.index.name if each.index.name in ("male", "female") else ""
        places, colour = np.arange(len(each)), ACTORS[sex or "male"].colour
        axes.axvline(population, color=FAINT, linewidth=1.0, linestyle="--", gid="population")
        axes.hlines(places, each["low"], each["high"], color=colour, linewidth=1.6, gid="limits")
        axes.plot(each["typical"], places, "o", color=colour, markersize=5, gid="typical")
        low, high = float(each["low"].min()), float(each["high"].max())
        if low > 0 and high > 10 * low:
            axes.set_xscale("log")
            axes.xaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
            axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,g}"))
            axes.xaxis.set_minor_formatter(NullFormatter())
        axes.set_yticks(places, [plain(f"{name} ({n})") for name, n in zip(each.index, each["sessions"], strict=True)])
        axes.tick_params(axis="y", length=0)
        axes.grid(axis="x", color=RULE, linewidth=0.4)
        axes.set_ylim(len(each) - 0.5, -0.5)
        axes.set_xlabel(plain(f"{label}; dashed: {f'a {sex}' if sex else 'one'} in the middle"))
        return figure
