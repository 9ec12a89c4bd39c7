"""Which palp, when: insertions of the left and the right along each session."""

import pandas as pd
from matplotlib.axes import Axes

from etholog.figures.style import (
    ACTORS,
    FAINT,
    INK,
    RULE,
    Look,
    Plate,
    Size,
    clock,
    filled,
    minutes,
    nothing,
    plain,
    plate,
    rules,
)
from etholog.season import Season

ROW_INCHES = 0.27
# Which side of a session's line each is drawn on; what has no side straddles it.
SIDES = {"left": (-0.40, 0.38), "right": (0.02, 0.38), "": (-0.2, 0.4)}
_MALE = ACTORS["male"].colour
_LOOKS = {"left": Look(_MALE, "", "-"), "right": Look(_MALE, "//////", "-"), "": Look(INK, "||||||", "-")}


def palps(season: Season, behaviour: str = "insertion", size: Size = "page") -> Plate:
    """Draw each session's bouts of `behaviour`, the left palp above its line and the right below.

    0 is the first of them in each session. At the right stand how many there were of each side, and their seconds.
    Bouts with no side straddle the line; hollow ones are unsure.
    """
    with rules():
        bouts = season.bouts[(season.bouts["behaviour"] == behaviour).to_numpy()]
        if not len(bouts):
            return nothing(size, f"No {plain(behaviour.replace('_', ' '))} was recorded.")
        rows = season.sessions[season.sessions["session"].isin(bouts["session"])]
        figure = plate(size, 0.75 + ROW_INCHES * len(rows))
        axes = figure.subplots()
        reach = 1.0
        for at, row in enumerate(rows.to_dict("records")):
            own = bouts[bouts["session"] == row["session"]]
            first = float(own["onset_s"].min())
            reach = max(reach, float(own["offset_s"].max()) - first)
            axes.axhline(at, color=RULE, linewidth=0.6, zorder=0)
            _sides(axes, at, own.assign(onset_s=own["onset_s"] - first))
        axes.set_xlim(0, reach * 1.01)
        axes.set_ylim(len(rows) - 0.4, -0.6)
        pairs = zip(rows["male"], rows["female"], strict=True)
        who = [f"{male} × {female}" if size == "page" else f"{male}" for male, female in pairs]
        axes.set_yticks(range(len(rows)), [plain(name) for name in who])
        axes.tick_params(axis="y", length=0)
        minutes(axes, reach, 8 if size == "page" else 4)
        axes.set_xlabel(f"minutes : seconds since the first {plain(behaviour.replace('_', ' '))}")
        axes.set_title("above the line his left palp, below it his right", fontsize=8, color=FAINT)
        return figure


def _sides(axes: Axes, at: int, own: pd.DataFrame) -> None:
    side = own["qualifier"].astype(object).fillna("")
    told = []
    for name, (low, height) in SIDES.items():
        mine = own[(side == name) if name else ~side.isin(["left", "right"])]
        for sure, gid in ((True, name or "no side"), (False, f"unsure {name or 'no side'}")):
            part = mine[mine["confident"] == sure]
            spans = list(zip(part["onset_s"], part["duration_s"], strict=True))
            how = filled(_LOOKS[name]) if sure else {"facecolor": "none", "edgecolor": _LOOKS[name].colour}
            axes.broken_barh(spans, (at + low, height), linewidth=0.5, gid=f"{gid}:{at}", **how)
        if len(mine):
            told.append(f"{name[:1].upper() or '?'} {len(mine)}, {clock(float(mine['duration_s'].sum()))}")
    axes.annotate(
        " · ".join(told), (1, at), xycoords=("axes fraction", "data"), xytext=(4, 0), textcoords="offset points",
        va="center", fontsize=6.5, color=INK,
    )  # fmt: skip
