"""What follows what, as a diagram of arcs beside its matrix: what holds is an arc, all that came is in the matrix.

A graph with its nodes on a ring (the kinematic graph of the older literature) cannot be read where arrows cross. Nodes
in one column and arcs beside it (arc diagrams, Wattenberg 2002, from memory) keep every arrow apart from names and from
other nodes, and let the matrix stand in the same rows.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.patches import FancyArrowPatch, Rectangle
from matplotlib.path import Path

from etholog.analysis import columns
from etholog.analysis.transition import Edge, Transitions
from etholog.base.colours import FAINT, INK, RULE
from etholog.base.language import gettext, number
from etholog.figures.style import ACTORS, ReproducibleFigure, Size, bars, filled, label, nothing, plain, plate, rules
from etholog.figures.transitions import NO_TRANSITIONS, in_order

LEAST, MOST = 16.0, 130.0  # areas of nodes, in square points
THIN, THICK = 0.6, 3.4  # points of an arrow's width, from no share to all
# No pure greys: a dark page changes some of them, and a cell must not change against its neighbours.
SHARES = LinearSegmentedColormap.from_list("shares", ["#fffffb", "#1e2126"])
DARK = 0.55  # of the shares: beyond it black on the colour is hard to read
NARROW = 26  # characters of a name in a column
BESIDE = 0.16  # how far from a node's middle an arrow ends, when the longest arc goes out by 1


def flow(
    found: Transitions,
    durations: pd.DataFrame,
    named: Mapping[str, str] | None = None,
    size: Size = "page",
    stages: Mapping[str, str] | None = None,
) -> ReproducibleFigure:
    """Return a picture of the transitions that hold, over the time budget, beside a matrix of all.

    A node's area is the state's share of the time watched (events, which take no time, have the least). An arc goes
    from the first to the next: downwards on the right, upwards on the left. Its width is how often the first is
    followed by the next; drawn are those that came more often than chance, three times or more, and hold
    (`Transitions.certain`). The matrix has what share of all that followed each was which, in the same rows; cells with
    an arc have a frame, hatched ones can't be.

    Parameters
    ----------
    found: what `etholog.transition` returned.
    durations: as `etholog.duration` returns it.
    named: labels of the codes (`figures.names`).
    size: 'column' (89 mm wide) or 'page' (183 mm).
    stages: the stage of a pairing that each code belongs to (`figures.stages`), by which nodes are in order; without
        it, they are in the order of the table.

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for anything else, or a table that lacks a column.

    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> figure = etholog.figures.flow(etholog.transition(season), etholog.duration(season))
    """
    columns.made_by(found, Transitions, "etholog.transition")
    columns.table(durations, "actor", "behaviour", "share")
    with rules():
        codes = in_order(found, stages or {})
        if not codes:
            return nothing(size, gettext(NO_TRANSITIONS))
        wide, k = size == "page", len(codes)
        row = 0.24 if wide else 0.17
        figure = plate(size, (1.15 if wide else 0.5) + row * k)
        graph, matrix = figure.subplots(1, 2, width_ratios=[1, 2.6] if wide else [1, 1.7])
        edges = found.holding
        _graph(graph, edges, codes, durations, 1.0 if wide else 0.5)
        _matrix(matrix, found, edges, codes, wide)
        # In a column no names fit across: there they are numbered.
        rows = [label(code, named) for code in codes]
        rows = rows if wide else [f"{plain(name, NARROW)}  {at}" for at, name in enumerate(rows, 1)]
        graph.set_yticks(range(k), rows, fontsize=7 if wide else 6)
        matrix.set_xticks(range(k), rows if wide else [str(at + 1) for at in range(k)], rotation=90,
                          fontsize=7 if wide else 5)  # fmt: skip
        # Which way a table of transitions is read has to be said (as all of Meyer, Zeileis & Hornik 2006 have it).
        graph.set_ylabel(gettext("first"), fontsize=7)
        matrix.set_xlabel(gettext("next"), fontsize=7)
        matrix.xaxis.set_label_position("top")
        told = (
            gettext("arcs and frames: surely more often than by chance")
            if edges
            else gettext("no transition holds against chance")
        )
        figure.supxlabel(told, fontsize=6.5, color=FAINT, x=0.01, ha="left")
        return figure


def _graph(axes: Axes, edges: Sequence[Edge], codes: Sequence[str], durations: pd.DataFrame, thick: float) -> None:
    shares = durations.groupby("behaviour", observed=True)["share"].sum()
    actors = durations.drop_duplicates("behaviour").set_index("behaviour")["actor"]
    most = max((float(shares.get(code, 0.0)) for code in codes), default=0.0) or 1.0
    for at, code in enumerate(codes):
        area = thick * LEAST + thick * (MOST - LEAST) * float(shares.get(code, 0.0)) / most
        look = ACTORS.get(str(actors.get(code, "")), ACTORS["keeper"])
        axes.scatter([0], [at], s=area, linewidth=0.8, zorder=3, in_layout=False, gid=f"node:{code}", **filled(look))
    place = {code: at for at, code in enumerate(codes)}
    longest = max((abs(place[b] - place[a]) for a, b, _ in edges), default=1)
    for first, following, probability in sorted(edges, key=lambda edge: edge[2]):
        out = (abs(place[following] - place[first]) / longest) ** 0.6
        _arc(
            axes,
            place[first],
            place[following],
            out,
            thick * (THIN + (THICK - THIN) * probability),
            f"{first}>{following}",
        )
    axes.set_xlim(-1.15, 1.15)
    axes.set_ylim(len(codes) - 0.4, -0.6)
    axes.spines[:].set_visible(False)
    axes.set_xticks([])
    axes.tick_params(length=0)


def _arc(axes: Axes, start: int, end: int, out: float, width: float, gid: str) -> None:
    """Draw an arc from one node's side to another's, right of them when it goes down, left when it goes up."""
    side = 1 if end > start else -1
    corners = [(0, start), (side * out * 1.3, start), (side * out * 1.3, end), (side * BESIDE, end)]
    axes.add_patch(
        FancyArrowPatch(
            path=Path(np.array(corners), [Path.MOVETO, Path.CURVE4, Path.CURVE4, Path.CURVE4]),
            arrowstyle=f"-|>,head_length={2 + width},head_width={1 + 0.6 * width}",
            mutation_scale=1,
            linewidth=width,
            color=INK,
            alpha=0.85,
            zorder=2,
            in_layout=False,
            gid=gid,
        )
    )


def _matrix(axes: Axes, found: Transitions, edges: Sequence[Edge], codes: Sequence[str], wide: bool) -> None:
    shares = found.probabilities.loc[list(codes), list(codes)].to_numpy(dtype=float)
    k = len(codes)
    axes.set_facecolor(SHARES(0.0))  # on a dark page too, where a cell of no share would look like one of all
    axes.pcolormesh(
        np.arange(k + 1) - 0.5, np.arange(k + 1) - 0.5, np.ma.masked_invalid(shares), cmap=SHARES, vmin=0, vmax=1,
        edgecolors=RULE, linewidth=0.4, gid="shares",
    )  # fmt: skip
    counts = found.counts.loc[list(codes), list(codes)].to_numpy(dtype=float)
    held = {edge[:2] for edge in edges}
    row, column = np.nonzero(np.isnan(counts))
    cannot = {"facecolor": "none", "edgecolor": RULE, "hatch": "//////", "linewidth": 0}
    bars(axes, column - 0.5, np.ones(len(column)), row - 0.5, 1, "impossible", **cannot)
    for row, column in np.argwhere(np.nan_to_num(counts) > 0):
        share = float(shares[row, column])
        if wide:  # in a narrow cell no number fits
            axes.text(
                column, row, number(share, ".2f").removeprefix("0"), ha="center", va="center", fontsize=5.5,
                color="#ffffff" if share > DARK else "#000000", in_layout=False,
                gid=f"share:{codes[row]}>{codes[column]}",
            )  # fmt: skip
        if (codes[row], codes[column]) in held:
            how: dict[str, Any] = {
                "fill": False,
                "edgecolor": "#d55e00",
                "linewidth": 1.1 if wide else 0.7,
                "zorder": 4,
                "in_layout": False,
            }
            axes.add_patch(Rectangle((column - 0.5, row - 0.5), 1, 1, gid=f"frame:{codes[row]}>{codes[column]}", **how))
    axes.set_yticks([])
    axes.xaxis.tick_top()
    axes.tick_params(length=0)
    axes.set_xlim(-0.5, k - 0.5)
    axes.set_ylim(k - 0.4, -0.6)
    axes.spines[:].set_visible(False)
