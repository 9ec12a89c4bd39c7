"""Which palp, when: insertions of the left and the right along each session."""

import pandas as pd
from matplotlib.axes import Axes

from etholog.analysis import columns
from etholog.analysis.latency import check_role, is_, of_role
from etholog.base.clock import seconds_face
from etholog.base.colours import FAINT, INK, RULE
from etholog.base.language import gettext
from etholog.figures.style import (
    ACTORS,
    Look,
    ReproducibleFigure,
    Size,
    bars,
    filled,
    minutes,
    nothing,
    plain,
    plate,
    rows_of,
    rules,
)
from etholog.season import Season

ROW_INCHES = 0.27
# Which side of a session's line each is drawn on; what has no side straddles it.
SIDES = {"left": (-0.40, 0.38), "right": (0.02, 0.38), "": (-0.2, 0.4)}
_MALE = ACTORS["male"].colour
_LOOKS = {"left": Look(_MALE, "", "-"), "right": Look(_MALE, "//////", "-"), "": Look(INK, "||||||", "-")}


def palps(season: Season, behaviour: str | None = None, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of which palp, when: the left above each session's line and the right below.

    0 is the first of them in each session. At the right stand how many there were of each side, and their seconds.
    Bouts with no side straddle the line; hollow ones are unsure.

    Parameters
    ----------
    season: as `etholog.read` returned it.
    behaviour: a code (not given: insertions).
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for what is no season, or one whose ethograms do not say what an insertion is.

    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> figure = etholog.figures.palps(season)
    """
    columns.season(season)
    what = plain(gettext((behaviour or "insertion").replace("_", " ")))
    with rules():
        bouts = season.bouts
        bouts = bouts[of_role(bouts, "insertion") if behaviour is None else is_(bouts["behaviour"], behaviour)]
        if not len(bouts):
            if behaviour is None:
                check_role(season, "insertion")  # none was recorded, or none was known to be one
            return nothing(size, gettext("No {what} was recorded.", what=what))
        rows = season.sessions[season.sessions["session"].isin(bouts["session"])]
        height, legible = rows_of(len(rows), ROW_INCHES)
        figure = plate(size, 0.75 + height)
        axes = figure.subplots()
        place = {str(name): at for at, name in enumerate(rows["session"])}
        session = bouts["session"].astype(str)
        first = bouts["onset_s"].groupby(session).transform("min")
        bouts = bouts.assign(
            onset_s=bouts["onset_s"] - first,
            row=session.map(place).astype(float),
            side=bouts["qualifier"].astype(object).where(bouts["qualifier"].isin(["left", "right"]), ""),
        )
        reach = max(1.0, float((bouts["onset_s"] + bouts["duration_s"]).max()))
        axes.hlines(range(len(rows)), 0, 1, transform=axes.get_yaxis_transform(), color=RULE, linewidth=0.6, zorder=0)
        _sides(axes, bouts, legible)
        axes.set_xlim(0, reach * 1.01)
        axes.set_ylim(len(rows) - 0.4, -0.6)
        pairs = zip(rows["male"], rows["female"], strict=True)
        who = [f"{male} × {female}" if size == "page" else f"{male}" for male, female in pairs]
        axes.set_yticks(range(len(rows)) if legible else [], [plain(name) for name in who] if legible else [])
        axes.tick_params(axis="y", length=0)
        minutes(axes, reach, 8 if size == "page" else 4)
        axes.set_xlabel(gettext("minutes : seconds since the first {what}", what=what))
        axes.set_title(gettext("above the line his left palp, below it his right"), fontsize=8, color=FAINT)
        return figure


def _sides(axes: Axes, bouts: pd.DataFrame, tallied: bool) -> None:
    told: dict[float, list[str]] = {}
    for name, (low, height) in SIDES.items():
        mine = bouts[bouts["side"] == name]
        for sure, gid in ((True, name or "no side"), (False, f"unsure {name or 'no side'}")):
            part = mine[mine["confident"] == sure]
            how = filled(_LOOKS[name]) if sure else {"facecolor": "none", "edgecolor": _LOOKS[name].colour}
            bars(axes, part["onset_s"], part["duration_s"], part["row"] + low, height, gid, linewidth=0.5, **how)
        for row, durations in mine.groupby("row")["duration_s"]:
            tally = (
                f"{gettext(name)[:1].upper() if name else '?'} {len(durations)}, {seconds_face(float(durations.sum()))}"
            )
            told.setdefault(float(str(row)), []).append(tally)
    for at, tallies in told.items() if tallied else ():
        axes.annotate(
            " · ".join(tallies), (1, at), xycoords=("axes fraction", "data"), xytext=(4, 0),
            textcoords="offset points", va="center", fontsize=6.5, color=INK,
        )  # fmt: skip
