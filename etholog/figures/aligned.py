"""Many sessions under each other, aligned on the start of a latency and sorted by it."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from etholog.analysis import columns
from etholog.analysis.latency import intervals, of_each
from etholog.base.colours import GROUND, INK, RULE
from etholog.base.language import gettext
from etholog.figures.style import (
    ACTORS,
    ReproducibleFigure,
    Size,
    bars,
    filled,
    gap,
    label,
    minutes,
    names,
    nothing,
    plain,
    plate,
    rows_of,
    rules,
    title,
)
from etholog.season import Season

ROW_INCHES = 0.19
# Where in a session's row each actor is drawn: what both do together lies between them.
PLACE = {"female": (-0.42, 0.26), "pair": (-0.14, 0.26), "male": (0.14, 0.26)}


def aligned(season: Season, times: pd.DataFrame, size: Size = "page") -> ReproducibleFigure:
    """Return a picture with a row for each session, aligned on the start of a latency, shortest latency at the top.

    0 is where the latency begins: at the first of its `since`. A black dot is where the behaviour came, a ring where
    the watching ended without it (censored). Above in each row she, beneath he, between them the pair; her going out
    of sight or his is not drawn, gaps are grey.

    Parameters
    ----------
    season: as `etholog.read` returned it.
    times: a `latency` of it.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for times that are no `latency` of a season.

    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> figure = etholog.figures.aligned(season, etholog.latency(season, "courtship"))
    """
    columns.season(season)
    columns.table(columns.latencies(times), "session", "male", "female", "length_s")
    intervals(times)
    with rules():
        if not len(times):
            return nothing(size, gettext("No session came to where this latency begins."))
        order = times.sort_values(["latency_s", "session"], kind="stable")
        height, legible = rows_of(len(order), ROW_INCHES)
        figure = plate(size, 0.95 + height)
        axes = figure.subplots()
        sessions = [str(name) for name in times["session"]]
        start = dict.fromkeys(sessions, 0.0)
        start |= _first(season, _codes(times, "since"), start)
        places = np.arange(len(order))
        zeros = order["session"].astype(str).map(start).to_numpy(dtype=float)
        ends = order["length_s"].to_numpy(dtype=float) - zeros
        row = dict(zip(order["session"].astype(str), places, strict=True))
        for span in season.gaps[season.gaps["session"].isin(list(row))].to_dict("records"):
            at, zero = row[str(span["session"])], start[str(span["session"])]
            gap(axes, span["onset_s"] - zero, span["offset_s"] - zero, at - 0.45, at + 0.45)
        axes.hlines(places, -zeros, ends, color=RULE, linewidth=0.5, zorder=0)
        axes.vlines(ends, places - 0.42, places + 0.42, color=INK, linewidth=0.8, zorder=2, gid="end")
        reach = float(ends.max())
        pairs = zip(order["male"], order["female"], strict=True)
        labels = [plain(f"{male} × {female}" if size == "page" else f"{male}") for male, female in pairs]
        _bouts(axes, season, order, start)
        _marks(axes, order, season, start)
        axes.axvline(0, color=INK, linewidth=0.6, linestyle=":", zorder=0)
        axes.set_xlim(-min(max(start.values()), reach / 4) - 1e-9, reach * 1.02)
        axes.set_ylim(len(order) - 0.4, -0.6)
        axes.set_yticks(range(len(order)) if legible else [], labels if legible else [])
        axes.tick_params(axis="y", length=0)
        minutes(axes, reach, 8 if size == "page" else 4)
        since = gettext(" or ").join(label(code, names(season)) for code in times.attrs["since"])
        axes.set_xlabel(gettext("minutes : seconds since {start}", start=since or gettext("the start")))
        figure.suptitle(title(times), x=0.01, ha="left", fontsize=9)
        _legend(figure, size)
        return figure


def _codes(times: pd.DataFrame, end: str) -> dict[str, Sequence[str]]:
    """Return the behaviours at which a latency begins ('since') or ends ('to'), of each ethogram."""
    return {of: one[end] for of, one in intervals(times).items()}


def _first(season: Season, codes: Mapping[str, Sequence[str]], after: Mapping[str, float]) -> dict[str, float]:
    """Return the second of the first of the `codes` of its ethogram in each session, not before `after`; sessions
    without it are left out."""
    own = season.bouts[of_each(season, codes)]
    own = own[(own["onset_s"] >= own["session"].astype(str).map(after).astype(float)).to_numpy()]
    return {str(name): float(at) for name, at in own.groupby("session", observed=True)["onset_s"].min().items()}


def _bouts(axes: Axes, season: Season, order: pd.DataFrame, start: Mapping[str, float]) -> None:
    """Draw what each actor did in all rows."""
    row = {str(name): at for at, name in enumerate(order["session"])}
    bouts = season.bouts[season.bouts["session"].isin(list(row)) & ~season.bouts["hides"]]
    session = bouts["session"].astype(str)
    bouts = bouts.assign(
        onset_s=bouts["onset_s"] - session.map(start).astype(float), row=session.map(row).astype(float)
    )
    for actor, (low, height) in PLACE.items():
        own = bouts[bouts["actor"] == actor]
        states, events = (own[own["kind"] == kind] for kind in ("state", "event"))
        how = filled(ACTORS[actor]) | {"linewidth": 0.4}
        bars(axes, states["onset_s"], states["duration_s"], states["row"] + low, height, f"bouts:{actor}", **how)
        at = events["row"] + low
        axes.vlines(
            events["onset_s"],
            at - 0.03,
            at + height + 0.03,
            color=ACTORS[actor].colour,
            linewidth=0.9,
            gid=f"events:{actor}",
        )


def _marks(axes: Axes, order: pd.DataFrame, season: Season, start: dict[str, float]) -> None:
    """Put the dots where the latencies end; the clock of a latency stands still in a gap, that of the row does not."""
    places = np.arange(len(order))
    came = order["occurred"].to_numpy(dtype=bool)
    found = _first(season, _codes(order, "to"), start)
    rows = zip(order["session"].astype(str), order["occurred"], order["latency_s"], strict=True)
    ends = np.array(
        [found[name] - start[name] if so else _wall(season, name, start[name], float(t)) for name, so, t in rows]
    )
    for which, face, gid in ((came, INK, "occurred"), (~came, GROUND, "censored")):
        if not which.any():
            continue  # an empty line would still claim a place in the layout
        axes.plot(
            ends[which], places[which], "o", color=INK, markerfacecolor=face, markersize=4.5, zorder=5, gid=gid,
            clip_on=False,
        )  # fmt: skip


def _wall(season: Season, session: str, start: float, latency: float) -> float:
    """Return how long after `start` a latency ended, the gaps within it counted."""
    end = latency
    for span in season.gaps[season.gaps["session"] == session].sort_values("onset_s").to_dict("records"):
        inside = max(span["onset_s"], start) - start
        if inside < end and span["offset_s"] > start:
            end += span["offset_s"] - max(span["onset_s"], start)
    return end


def _legend(figure: ReproducibleFigure, size: Size) -> None:
    shown: list[Patch | Line2D] = [
        Patch(**filled(ACTORS[actor]), linewidth=0.4, label=told)
        for actor, told in (("female", gettext("she")), ("pair", gettext("both")), ("male", gettext("he")))
    ]
    for face, told in ((INK, gettext("it came")), (GROUND, gettext("not by then"))):
        shown.append(
            Line2D([], [], marker="o", linestyle="", color=INK, markerfacecolor=face, markersize=4.5, label=told)
        )
    shown.append(Line2D([], [], marker="|", linestyle="", color=INK, markersize=7, label=gettext("end")))
    columns = 6 if size == "page" else 3
    figure.legend(handles=shown, loc="outside lower left", ncols=columns, handlelength=1.4, columnspacing=1.2)
