"""The time budget: which share of the time watched each state took, for each male (or any other group)."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from etholog.analysis import columns
from etholog.analysis.design import named_rows
from etholog.base.language import gettext, number
from etholog.figures.style import (
    ACTORS,
    LONGEST,
    ReproducibleFigure,
    Size,
    actor_ticks,
    bars,
    filled,
    label,
    nothing,
    plain,
    plate,
    rules,
)

BAR_INCHES = 0.19
TITLE: dict[Size, int] = {"page": 16, "column": 20}  # characters that fit over a panel
ORDER = ("female", "pair", "male", "keeper")


def time_shares(
    durations: pd.DataFrame, by: str | None = None, named: Mapping[str, str] | None = None, size: Size = "page"
) -> ReproducibleFigure:
    """Return a picture of the share of the watched time that each state took.

    Different animals and chains run at once, so a panel's bars need not add up to 100 %.

    Parameters
    ----------
    durations: as `etholog.duration` returns it.
    by: a column of it: a panel for each value.
    named: labels of the codes (`figures.names`).
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for a table that lacks a column.

    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> figure = etholog.figures.time_shares(etholog.duration(season, by="male"), by="male")
    """
    columns.table(durations, "actor", "behaviour", "kind", "share", *([] if by is None else [by]))
    with rules():
        states = named_rows(durations[durations["kind"] == "state"] if len(durations) else durations, by)
        if not len(states):
            return nothing(size, gettext("No state was recorded: there is no time budget."))
        lanes = _lanes(states, named)
        groups = (
            [("", states)] if by is None else [(v, states[states[by].astype(str) == v]) for v in _values(states[by])]
        )
        across = min(len(groups), 6 if size == "page" else 2)
        down = -(-len(groups) // across)
        figure = plate(size, 0.3 + down * (0.42 + BAR_INCHES * len(lanes)))
        grid = figure.add_gridspec(down, across)
        most = max(1.0, 100 * float(np.nan_to_num(_shares(states, by)).max()))
        for at, (name, rows) in enumerate(groups):
            panel = figure.add_subplot(grid[at])
            panel.yaxis.set_visible(at % across == 0)  # before it has ticks, which cost much to make
            panel.xaxis.set_visible(at + across >= len(groups))
            _bars(panel, rows, lanes, most)
            panel.set_title(plain(name, TITLE[size] if by else LONGEST), fontsize=8)
        figure.supxlabel(gettext("% of the time watched"), fontsize=8)
        return figure


def _values(column: "pd.Series[Any]") -> list[str]:
    return sorted(column.dropna().astype(str).unique())


def _shares(states: pd.DataFrame, by: str | None) -> "pd.Series[float]":
    keys = ["actor", "behaviour", *([by] if by else [])]
    return states.groupby(keys, observed=True)["share"].sum()


def _lanes(states: pd.DataFrame, named: Mapping[str, str] | None) -> dict[tuple[str, str], str]:
    """Return the label of each actor's behaviours, in the ethogram's order where it is known."""
    pairs = {(str(actor), str(code)) for actor, code in zip(states["actor"], states["behaviour"], strict=True)}
    place = {code: at for at, code in enumerate(named or {})}
    ordered = sorted(pairs, key=lambda pair: (ORDER.index(pair[0]), place.get(pair[1], len(place)), pair[1]))
    return {pair: label(pair[1], named) for pair in ordered}


def _bars(axes: Axes, rows: pd.DataFrame, lanes: Mapping[tuple[str, str], str], most: float) -> None:
    shares = _shares(rows, None)
    values = np.array([100 * float(shares.get(pair, 0.0)) for pair in lanes])
    for actor in ORDER:
        own = np.array([at for at, pair in enumerate(lanes) if pair[0] == actor and values[at]], dtype=int)
        bars(axes, np.zeros(len(own)), values[own], own - 0.35, 0.7, actor, linewidth=0.5, **filled(ACTORS[actor]))
    for at, value in enumerate(values):
        if value:
            told = (
                f"{value:.0f}" if value >= 9.95 else number(value, ".1f") if value >= 0.05 else f"<{number(0.1, '.1f')}"
            )
            axes.annotate(
                told, (value, at), xytext=(2, 0), textcoords="offset points", va="center", fontsize=6, in_layout=False
            )
    axes.set_xlim(0, most * 1.3)  # room for the figure beside the longest bar
    if most * 1.3 > 100:
        axes.set_xticks([0, 50, 100])  # a share is no more
    axes.set_ylim(len(lanes) - 0.5, -0.5)
    if axes.yaxis.get_visible():
        axes.set_yticks(range(len(lanes)), list(lanes.values()))
        actor_ticks(axes, [actor for actor, _ in lanes])
