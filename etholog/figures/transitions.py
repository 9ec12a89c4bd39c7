"""What follows what: the adjusted residuals as a heat map, with the counts in it."""

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap

from etholog.analysis import columns
from etholog.analysis.transition import Transitions
from etholog.base.colours import GAP, INK, RULE
from etholog.base.language import gettext, gettext_noop
from etholog.ethogram import STAGES
from etholog.figures.style import ReproducibleFigure, Size, bars, label, nothing, plate, rules

# Residuals are shaded in steps, and grey where chance does as much (Friendly 1994, J. Am. Stat. Assoc. 89:190-200;
# cut at 2 and 4 as by Meyer, Zeileis & Hornik 2006, J. Stat. Softw. 17(3)): how strong a shade is says no more than
# that. Brewer's purple to orange, which colour-blind people tell apart, and which no actor has.
STEPS = (-4.0, -2.0, 2.0, 4.0)
USUAL = 16  # letters of a label, for which there is room
SCALE = ("#5e3c99", "#b2abd2", GAP, "#fdb863", "#e66101")
NO_TRANSITIONS = gettext_noop("Nothing followed anything: there are no transitions.")


def transitions(
    found: Transitions,
    named: Mapping[str, str] | None = None,
    size: Size = "page",
    stages: Mapping[str, str] | None = None,
) -> ReproducibleFigure:
    """Return a picture of what follows what: first behaviours down, next ones across, counts in the cells.

    Orange and bold: more often than chance, purple: less often, grey: an adjusted residual under 2 either way, as
    chance has; a star marks what is hardly chance (`Transitions.certain`). Hatched cells can't be; a white row never
    came first.

    Parameters
    ----------
    found: what `etholog.transition` returned.
    named: labels of the codes (`figures.names`).
    size: 'column' (89 mm wide) or 'page' (183 mm).
    stages: the stage of a pairing that each code belongs to (`figures.stages`), by which behaviours are in order, as in
        `figures.flow`; without it, they are in the order of the table.

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
        codes = in_order(found, stages or {})
        if not codes:
            return nothing(size, gettext(NO_TRANSITIONS))
        k = len(codes)
        wide = size == "page"
        named_all = [label(code, named) for code in codes]
        # The labels stand over the cells; few of these are higher than many, or nothing would be left of them.
        long = max(0, max(map(len, named_all)) - USUAL)
        high = 1.3 + k * 0.27 + long * 0.04 if wide else 1.1 + max(k, 6) * 0.15 + long * 0.065
        figure = plate(size, high)
        axes = figure.subplots()
        values = found.residuals.loc[codes, codes].to_numpy(dtype=float)
        most = max(1.5 * STEPS[-1], float(np.nanmax(np.abs(values)))) if np.isfinite(values).any() else 1.5 * STEPS[-1]
        drawn = axes.pcolormesh(
            np.arange(k + 1), np.arange(k + 1), np.ma.masked_invalid(values), cmap=ListedColormap(SCALE),
            norm=BoundaryNorm([-most, *STEPS, most], len(SCALE)), edgecolors=RULE, linewidth=0.4, gid="residuals",
        )  # fmt: skip
        _cells(axes, found, codes, 7 if wide else 5)
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
        bar = figure.colorbar(
            drawn, ax=axes, shrink=0.5 if wide else 0.7, aspect=18, pad=0.02, location="right" if wide else "bottom",
            spacing="uniform", ticks=STEPS, format=lambda at, _: f"{at:g}".replace("-", "\N{MINUS SIGN}"),
        )  # fmt: skip
        bar.set_label(gettext("adjusted residual"), fontsize=7)
        bar.outline.set_visible(False)
        return figure


def in_order(found: Transitions, stages: Mapping[str, str]) -> list[str]:
    """Return the behaviours that came before or after another, in the order of a pairing's stages."""
    counts = np.nan_to_num(found.counts.to_numpy(dtype=float))
    came = (counts.sum(axis=0) + counts.sum(axis=1)) > 0
    codes = [str(code) for code, there in zip(found.counts.index, came, strict=True) if there]
    rank = {stage: at for at, stage in enumerate(STAGES)}
    return sorted(codes, key=lambda code: rank.get(stages.get(code, ""), len(STAGES)))


def _cells(axes: Axes, found: Transitions, codes: Sequence[str], points: float) -> None:
    tables = (frame.loc[list(codes), list(codes)] for frame in (found.counts, found.residuals))
    counts, residuals = (frame.to_numpy(dtype=float) for frame in tables)
    sure = found.certain.loc[list(codes), list(codes)].to_numpy(dtype=bool)
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
            color=_on(residual),
            weight="bold" if residual > 0 else "normal",
            in_layout=False,
            gid=f"count:{codes[row]}>{codes[column]}",
        )


def _on(residual: float) -> str:
    """Return the colour of a number on a shade; on grey it is the ink of the page, which may be dark."""
    if abs(residual) < STEPS[2]:
        return INK
    return "#ffffff" if residual < STEPS[0] else "#000000"
