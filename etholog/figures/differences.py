"""How far two observers' durations differ, bout by bout, against how long the bouts were."""

from collections.abc import Mapping
from itertools import cycle

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from etholog.analysis import columns
from etholog.analysis.agreement import Agreement
from etholog.analysis.observers import LIMITS_LEAST, limits_over_sessions
from etholog.base.colours import FAINT, INK
from etholog.figures.style import ACTORS, GROUPS, ReproducibleFigure, Size, label, nothing, plate, rules

COLOURS = [look.colour for look in (*GROUPS, *ACTORS.values())]
MARKS = "oD^svP*Xp"
LEAST = 0.5  # seconds that the scale shows at least: what is nearer than that is hardly a difference
FAR = 20  # times the shortest: from there on the bouts stand on a logarithmic scale


def differences(found: Agreement, named: Mapping[str, str] | None = None, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of two observers' durations: second less first against the mean of both (Bland & Altman 1986).

    A mark for each matched bout of a state that both saw whole. Lines: the mean difference and the 95 % limits of
    agreement; shaded: their own 95 % limits, for differences that are about normal (Carkeet 2015; of the mean
    Student's). Under five bouts have no limits. The limits take bouts for independent, and all behaviours for alike:
    where the marks of one lie apart, look at each. Where the marks spread towards the right, the longer bouts differ
    more than the lines say.

    Parameters
    ----------
    found: what `etholog.agreement` returned.
    named: labels of the codes (`figures.names`).
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for anything else.

    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> one = season.bouts[season.bouts["session"] == season.sessions["session"].iloc[0]]
    >>> figure = etholog.figures.differences(etholog.agreement(one, one))
    """
    columns.made_by(found, Agreement, "etholog.agreement")
    with rules():
        pairs = found.pairs
        if not len(pairs):
            return nothing(size, "No bout of a state was seen whole by both: there are no durations to compare.")
        wide = size == "page"
        figure = plate(size, 3.0 if wide else 3.4)
        axes = figure.subplots()
        apart = pairs["second_s"] - pairs["first_s"]
        mean = (pairs["first_s"] + pairs["second_s"]) / 2
        axes.axhline(0, color=FAINT, linewidth=0.6, linestyle=":", zorder=0)
        looks = cycle(zip(MARKS, cycle(COLOURS), strict=False))
        for (name, own), (mark, colour) in zip(pairs.groupby("behaviour", sort=True), looks, strict=False):
            axes.plot(
                mean[own.index], apart[own.index], mark, color=colour, markersize=4.5, markerfacecolor="none",
                label=label(str(name), named), gid=f"difference:{name}",
            )  # fmt: skip
        limits = limits_over_sessions(apart.to_numpy(dtype=float))
        _lines(axes, limits)
        low, high = axes.get_ylim()
        axes.set_ylim(min(low, -LEAST), max(high, LEAST))
        axes.set_xlabel("mean of both, s" + (" (logarithmic)" if _logarithmic(axes, mean) else ""))
        axes.set_ylabel("second \N{MINUS SIGN} first, s")
        if not np.isfinite(limits["low"]):
            few = len(pairs) < LIMITS_LEAST
            why = f"under {LIMITS_LEAST} bouts that both saw whole" if few else "all differences are alike"
            figure.supxlabel(f"No limits: {why}.", fontsize=6.5, color=FAINT, x=0.01, ha="left")
        figure.legend(loc="outside upper left", ncols=4 if wide else 2, handletextpad=0.3)
        return figure


def _logarithmic(axes: Axes, mean: pd.Series) -> bool:
    """Give bouts of very different lengths a logarithmic scale, and return whether they have it."""
    far = bool(mean.min() > 0 and mean.max() > FAR * mean.min())
    if far:
        axes.set_xscale("log")
        axes.xaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
        axes.xaxis.set_major_formatter(FuncFormatter(lambda tick, _: f"{tick:g}"))
        axes.xaxis.set_minor_formatter(NullFormatter())
    return far


def _lines(axes: Axes, limits: Mapping[str, float]) -> None:
    """Draw the mean and the limits of agreement across, and write them at the right."""
    for name in ("low", "difference", "high"):
        if np.isfinite(limits[f"{name}_from"]):
            ends = limits[f"{name}_from"], limits[f"{name}_to"]
            axes.axhspan(*ends, color=INK, alpha=0.08, linewidth=0, zorder=0, gid=f"limits:{name}")
    for name in ("low", "difference", "high"):
        at = limits[name]
        if np.isfinite(at):
            style = "-" if name == "difference" else "--"
            axes.axhline(at, color=INK, linewidth=0.8, linestyle=style, zorder=1, gid=f"line:{name}")
            axes.annotate(
                f"{'mean' if name == 'difference' else '95 %'} {at:+.2g}".replace("-", "\N{MINUS SIGN}"), (1, at),
                xycoords=("axes fraction", "data"), xytext=(4, 0), textcoords="offset points", va="center",
                fontsize=6.5,
            )  # fmt: skip
