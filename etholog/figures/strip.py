"""The strip of one session: a lane for each behaviour that came, grouped by actor."""

from collections.abc import Hashable, Sequence
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from etholog.analysis import columns
from etholog.analysis.lanes import lanes_of, total
from etholog.base.colours import FAINT, INK, RULE
from etholog.base.language import gettext
from etholog.base.refusal import Refusal
from etholog.figures.style import (
    ACTORS,
    Look,
    ReproducibleFigure,
    Size,
    actor_ticks,
    bars,
    filled,
    gap,
    label,
    minutes,
    names,
    nothing,
    plain,
    plate,
    rules,
)
from etholog.season import Season

LANE_INCHES = 0.17
MOMENTS = {"note": "*", "rescue": "X", "sync": "P"}  # what stands above the lanes, and its marker


def strip(
    season: Season,
    session: str | None = None,
    size: Size = "page",
    moments: Sequence[tuple[float, str]] = (),
) -> ReproducibleFigure:
    """Return a picture of one session against time: bars for bouts, ticks for events, with their count and total at the
    right.

    Dotted and hollow: the observer was unsure. An arrow: the watching ended before the bout did. Grey: nobody
    watched.

    Parameters
    ----------
    season: as `etholog.read` returned it.
    session: which (not needed where the season has only one).
    moments: (seconds, 'note', 'rescue' or 'sync'), which get a star, a cross or a plus above the lanes.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: where there is no such session.

    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> figure = etholog.figures.strip(season, season.sessions["session"].iloc[0])
    """
    columns.season(season)
    row = one(season, session)
    with rules():
        bouts = season.bouts[season.bouts["session"] == row["session"]]
        named = names(season)
        lanes = {name: bouts.iloc[rows] for name, rows in lanes_of(bouts, named).items()}
        if not lanes:
            return nothing(size, "Nothing was marked in this session.")
        figure = plate(size, 0.76 + LANE_INCHES * len(lanes))
        axes = figure.subplots()
        end = max(float(row["length_s"]), 1.0)
        for at, (name, rows) in enumerate(lanes.items()):
            _lane(axes, at, name, rows)
        actors = [str(rows["actor"].iloc[0]) for rows in lanes.values()]
        for at in range(1, len(lanes)):
            if actors[at] != actors[at - 1]:
                axes.axhline(at - 0.5, color=RULE, linewidth=0.5, zorder=0)
        for span in season.gaps[season.gaps["session"] == row["session"]].to_dict("records"):
            gap(axes, span["onset_s"], span["offset_s"], -0.5, len(lanes) - 0.5)
        for kind, marker in MOMENTS.items():
            if told := [at for at, what in moments if what == kind]:
                axes.plot(
                    told, [-0.5] * len(told), marker,
                    color=INK, markersize=5, clip_on=False, zorder=5, gid=f"moments:{kind}",
                )  # fmt: skip
        axes.set_xlim(0, end)
        axes.set_ylim(len(lanes) - 0.5, -0.5)
        axes.set_yticks(range(len(lanes)), [label(name, named) for name in lanes])
        actor_ticks(axes, actors)
        minutes(axes, end, 8 if size == "page" else 4)
        axes.set_xlabel(gettext("minutes : seconds"))
        began = row["began"] + pd.Timedelta(minutes=int(row["utc_offset_min"]))
        axes.set_title(plain(f"{row['male'] or 'male'} with {row['female'] or 'female'}, {began:%Y-%m-%d %H:%M}"))
        return figure


def one(season: Season, session: str | None) -> dict[Hashable, Any]:
    """Return what is known of a session; Refusal where it isn't there, or isn't the only one and none was named."""
    known = [str(name) for name in season.sessions["session"]]
    if session is None and len(known) == 1:
        return season.sessions.to_dict("records")[0]
    if session not in known:
        told = "say which session" if session is None else f"no session {session!r}"
        raise Refusal(f"{told}; there are {len(known)}: {', '.join(known[:5])}{' ...' if len(known) > 5 else ''}")
    return season.sessions.to_dict("records")[known.index(session)]


def _lane(axes: Axes, at: int, name: str, rows: pd.DataFrame) -> None:
    look = ACTORS[str(rows["actor"].iloc[0])]
    (_events if (rows["kind"] == "event").all() else _bouts)(axes, at, name, rows, look)
    told = total(rows["kind"].tolist(), rows["duration_s"].tolist())
    axes.annotate(
        told, (1, at), xycoords=("axes fraction", "data"), xytext=(6, 0), textcoords="offset points",
        va="center", fontsize=6.5, color=FAINT,
    )  # fmt: skip


def _events(axes: Axes, at: int, name: str, rows: pd.DataFrame, look: Look) -> None:
    for sure, style, gid in ((True, "-", "events"), (False, ":", "unsure")):
        own = rows.loc[rows["confident"] == sure, "onset_s"].to_numpy()
        axes.vlines(own, at - 0.36, at + 0.36, color=look.colour, linewidth=1.2, linestyle=style, gid=f"{gid}:{name}")


def _bouts(axes: Axes, at: int, name: str, rows: pd.DataFrame, look: Look) -> None:
    for sure, gid in ((True, "bouts"), (False, "unsure")):
        own = rows[rows["confident"] == sure]
        how = filled(look) if sure else {"facecolor": "none", "edgecolor": look.colour, "linestyle": ":"}
        low = [at - 0.32] * len(own)
        bars(axes, own["onset_s"], own["duration_s"], low, 0.64, f"{gid}:{name}", linewidth=0.6, **how)
    cut = rows.loc[~rows["whole"], "offset_s"].to_numpy()
    if len(cut):  # an empty line would still claim a place in the layout
        axes.plot(cut, [at] * len(cut), ">", color=look.colour, markersize=4.5, clip_on=False, gid=f"cut:{name}")
