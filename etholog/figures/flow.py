"""What follows what, as a diagram: a kinematic graph (Sustare 1978, from memory)."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Circle, FancyArrowPatch
from numpy.typing import NDArray

from etholog.analysis import columns
from etholog.analysis.transition import Transitions
from etholog.figures.style import ACTORS, FAINT, INK, ReproducibleFigure, Size, filled, label, nothing, plate, rules

OUTSTANDING = 1.96  # an adjusted residual beyond it would come by chance in one of 40 cells
BEND = 0.16
LEAST, MOST = 0.05, 0.13  # radii of nodes; the ring that they stand on is 2 high
SEEN = 3  # what came once or twice is no pattern


def flow(
    found: Transitions, durations: pd.DataFrame, named: Mapping[str, str] | None = None, size: Size = "page"
) -> ReproducibleFigure:
    """Return a picture of the transitions that stand out, over the time budget.

    A node's area is the state's share of the time watched (events, which take no time, have the least). An arrow's
    width, and the figure at it, is how often the first is followed by the next; drawn are those with an adjusted
    residual of at least 1.96 that came three times or more, dashed where it may be chance (`Transitions.certain`).

    Parameters
    ----------
    found: what `etholog.transition` returned.
    durations: as `etholog.duration` returns it.
    named: labels of the codes (`figures.names`).
    size: 'column' (89 mm wide) or 'page' (183 mm).

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
        edges = standing_out(found)
        if not edges:
            return nothing(size, "No transition comes more often than chance: there is nothing to draw.")
        codes = _around(edges, list(found.counts.index))
        figure = plate(size, 4.8 if size == "page" else 3.6)
        axes = figure.subplots()
        wide = 1.5 if size == "page" else 0.7
        angle = np.pi / 2 - 2 * np.pi * np.arange(len(codes)) / len(codes)
        place = {code: np.array([wide * np.cos(a), np.sin(a)]) for code, a in zip(codes, angle, strict=True)}
        nodes = _nodes(axes, place, durations, named, size)
        for first, following, probability, sure in edges:
            _arrow(axes, nodes[first], nodes[following], probability, sure, f"{first}>{following}")
        axes.set_xlim(-wide - 0.6, wide + 0.6)
        axes.set_ylim(-1.3, 1.25)
        figure.text(0.01, 0.01, "solid: holds after Holm; dashed: a hint", fontsize=6.5, color=FAINT)
        axes.set_aspect("equal")
        axes.axis("off")
        return figure


def standing_out(found: Transitions) -> list[tuple[str, str, float, bool]]:
    """Return (first, next, conditional probability, whether it holds after Holm) of the transitions to be drawn."""
    long = found.long()
    kept = long[(long["residual"] >= OUTSTANDING) & (long["count"] >= SEEN)]
    return [
        (
            r["first"],
            r["next"],
            float(r["probability"]),
            bool(found.certain.at[r["first"], r["next"]]),
        )
        for r in kept.to_dict("records")
    ]


def _around(edges: list[tuple[str, str, float, bool]], codes: list[str]) -> list[str]:
    """Return the behaviours as they stand around the circle: from each to the one that follows it most often."""
    left = [code for code in codes if any(code in edge[:2] for edge in edges)]
    ordered: list[str] = []
    while left:
        after = [(edge[2], edge[1]) for edge in edges if ordered and edge[0] == ordered[-1] and edge[1] in left]
        ordered.append(max(after)[1] if after else left[0])
        left.remove(ordered[-1])
    return ordered


def _nodes(
    axes: Axes,
    place: Mapping[str, NDArray[np.float64]],
    durations: pd.DataFrame,
    named: Mapping[str, str] | None,
    size: Size,
) -> dict[str, Circle]:
    shares = durations.groupby("behaviour", observed=True)["share"].sum()
    actors = durations.drop_duplicates("behaviour").set_index("behaviour")["actor"]
    most = max((float(shares.get(code, 0.0)) for code in place), default=0.0) or 1.0
    nodes = {}
    for code, centre in place.items():
        share = float(shares.get(code, 0.0))
        radius = LEAST + (MOST - LEAST) * np.sqrt(share / most)
        nodes[code] = Circle(
            (centre[0], centre[1]),
            radius,
            linewidth=0.8,
            zorder=3,
            gid=f"node:{code}",
            **filled(ACTORS[str(actors[code])]),
        )
        axes.add_patch(nodes[code])
        told = label(code, named)
        if share >= 0.005:
            told += f"\n{share:.0%} of the time" if size == "page" else f", {share:.0%}"
        out = centre + centre / np.hypot(*centre) * (0.06 + radius)
        level = abs(centre[0]) < 0.15
        side = "center" if level else "left" if centre[0] > 0 else "right"
        height = "center" if not level else "bottom" if centre[1] > 0 else "top"
        axes.text(out[0], out[1], told, ha=side, va=height, fontsize=8 if size == "page" else 6)
    return nodes


def _arrow(axes: Axes, first: Circle, following: Circle, probability: float, sure: bool, gid: str) -> None:
    start, end = np.asarray(first.center), np.asarray(following.center)
    width = 0.5 + 2.5 * probability
    axes.add_patch(
        FancyArrowPatch(
            (start[0], start[1]),
            (end[0], end[1]),
            patchA=first,
            patchB=following,
            shrinkA=2,
            shrinkB=2,
            connectionstyle=f"arc3,rad={BEND}",
            arrowstyle="-|>",
            mutation_scale=6 + 2 * width,
            linewidth=width,
            linestyle="-" if sure else (0, (4, 2)),
            color=INK if sure else FAINT,
            zorder=2,
            gid=gid,
        )
    )
    # A third along the arc, which is a quadratic curve, and a little to its outer side: there the fewest meet.
    at, along = 0.36, end - start
    side = np.array([along[1], -along[0]])
    bent = (start + end) / 2 + BEND * side
    point = (1 - at) ** 2 * start + 2 * at * (1 - at) * bent + at**2 * end + 0.07 * side / np.hypot(*side)
    axes.text(
        point[0],
        point[1],
        f"{probability:.2f}".removeprefix("0"),
        ha="center",
        va="center",
        fontsize=6,
        zorder=4,
    )
