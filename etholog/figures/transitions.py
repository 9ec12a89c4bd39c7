"""What follows what: the adjusted residuals as a heat map, with the counts in it."""

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes

from etholog.analysis import columns
from etholog.analysis.transition import Transitions
from etholog.base.language import gettext
from etholog.figures.style import RULE, ReproducibleFigure, Size, bars, label, nothing, plate, rules

# Brewer's purple to orange, which colour-blind people tell apart, and which no actor has.
SCALE = "PuOr_r"
STRONG = 0.6  # of the scale: beyond it black on the colour is hard to read


def transitions(found: Transitions, named: Mapping[str, str] | None = None, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of what follows what: first behaviours down, next ones across, counts in the cells.

    Orange and bold: more often than chance, purple: less often; a star marks what is hardly chance
    (`Transitions.certain`). Hatched cells can't be; empty ones never came.

    Parameters
    ----------
    found: what `etholog.transition` returned.
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
    >>> figure = etholog.figures.transitions(etholog.transition(season, actor="male"))
    """
    columns.made_by(found, Transitions, "etholog.transition")
    with rules():
        counts, residuals = found.counts, found.residuals
        if not len(counts) or not np.nan_to_num(counts.to_numpy(dtype=float)).any():
            return nothing(size, gettext("Nothing followed anything: there are no transitions."))
        k = len(counts)
        wide = size == "page"
        figure = plate(size, (1.3 if wide else 1.1) + k * (0.27 if wide else 0.15))
        axes = figure.subplots()
        values = residuals.to_numpy(dtype=float)
        most = max(4.0, float(np.nanmax(np.abs(values)))) if np.isfinite(values).any() else 4.0
        drawn = axes.pcolormesh(
            np.arange(k + 1), np.arange(k + 1), np.ma.masked_invalid(values), cmap=SCALE, vmin=-most, vmax=most,
            edgecolors=RULE, linewidth=0.4, gid="residuals",
        )  # fmt: skip
        _cells(axes, found, most, 7 if wide else 5)
        named_all = [label(code, named) for code in counts.columns]
        axes.set_xticks(
            np.arange(k) + 0.5,
            named_all,
            rotation=40 if wide else 90,
            ha="left" if wide else "center",
            rotation_mode="anchor" if wide else "default",
        )
        axes.set_yticks(np.arange(k) + 0.5, named_all)
        axes.xaxis.tick_top()
        axes.tick_params(length=0)
        axes.set_xlim(0, k)
        axes.set_ylim(k, 0)
        axes.spines[:].set_visible(False)
        axes.set_ylabel(gettext("first"))
        axes.set_xlabel(gettext("next"))
        axes.xaxis.set_label_position("top")
        bar = figure.colorbar(drawn, ax=axes, shrink=0.7, aspect=25, pad=0.02, location="right" if wide else "bottom")
        bar.set_label(gettext("adjusted residual"), fontsize=7)
        bar.outline.set_visible(False)
        return figure


def _cells(axes: Axes, found: Transitions, most: float, points: float) -> None:
    counts, residuals = (frame.to_numpy(dtype=float) for frame in (found.counts, found.residuals))
    sure = found.certain.to_numpy(dtype=bool)
    row, column = np.nonzero(np.isnan(counts))
    how = {"facecolor": "none", "edgecolor": RULE, "hatch": "//////", "linewidth": 0}
    bars(axes, column, np.ones(len(column)), row, 1, "impossible", **how)
    for row, column in np.argwhere(np.nan_to_num(counts) > 0):
        residual = float(np.nan_to_num(residuals[row, column]))
        axes.text(
            column + 0.5,
            row + 0.5,
            f"{counts[row, column]:.0f}{'*' if sure[row, column] else ''}",
            ha="center",
            va="center",
            fontsize=points,
            color="#ffffff" if abs(residual) > STRONG * most else "#000000",
            weight="bold" if residual > 0 else "normal",
            in_layout=False,
            gid=f"count:{row}:{column}",
        )
