"""The curve of those still without a behaviour, by group."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.markers import TICKDOWN, TICKLEFT
from matplotlib.transforms import Affine2D, Transform
from numpy.typing import NDArray

from etholog.analysis import columns
from etholog.analysis import survival as measure
from etholog.analysis.design import alone, named
from etholog.base.clock import round_times, seconds_face
from etholog.base.colours import FAINT, INK, RULE
from etholog.base.language import gettext
from etholog.figures.style import (
    ACTORS,
    GROUPS,
    WIDTH,
    Look,
    ReproducibleFigure,
    Size,
    no_limits,
    nothing,
    plain,
    plate,
    rules,
    title,
)

Floats = NDArray[np.float64]
# Inches around the panels of many groups, and between them.
_LEFT, _RIGHT, _ABOVE, _ASIDE, _BENEATH = 0.52, 0.14, 0.48, 0.22, 0.62
_SHARES = {0: "0", 0.25: "¼", 0.5: "½", 0.75: "¾", 1: "1"}


def survival(times: pd.DataFrame, by: str | None = None, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of how many are still waiting: Kaplan & Meier's curve (1958).

    Bands are pointwise log-log limits of 95 %, where the group has four sessions or more and each counts for itself
    (several sessions of one animal are not as many animals); upright ticks are censored sessions, and beneath each time
    stands how many were still at risk. Up to three groups share a panel; more have one each, with the others in grey
    behind.

    Parameters
    ----------
    times: one row a session: `latency_s` (seconds) and `occurred` (bool), as `etholog.latency` returns them.
    by: a column of groups.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for a table that lacks a column, or holds what is no time or no flag.

    >>> import etholog
    >>> season = etholog.read("examples/season")
    >>> figure = etholog.figures.survival(etholog.latency(season, "courtship"), by="male")
    """
    columns.latencies(times, [] if by is None else [by])
    with rules():
        groups = _groups(times, by)
        if not groups:
            return nothing(size, gettext("No session is at risk: there is no curve."))
        end = max(group.last for group in groups.values()) or 1.0
        draw = _together if len(groups) <= len(GROUPS) else _apart
        return draw(groups, by, size, end, title(times))


@dataclass(frozen=True)
class _Group:
    """The times of a group, in seconds, its curve, and whether each of its sessions counts for itself."""

    time: Floats
    occurred: NDArray[np.bool_]
    alone: bool

    @property
    def last(self) -> float:
        """The last time at which it was watched."""
        return float(self.time.max())

    @property
    def limited(self) -> bool:
        """Whether limits can be told."""
        return self.alone and len(self.time) >= measure.LIMITS_LEAST

    @cached_property
    def table(self) -> pd.DataFrame:
        """The curve, as Kaplan and Meier have it."""
        return measure.kaplan_meier(self.time, self.occurred)

    @cached_property
    def steps(self) -> Floats:
        """The share before the first event, and after each."""
        return np.concatenate([[1.0], self.table["share"].to_numpy()])

    @cached_property
    def corners(self) -> tuple[Floats, Floats]:
        """The corners of the curve, from (0, 1) to the last time at which it was watched."""
        x = np.concatenate([[0.0], np.repeat(self.table.index.to_numpy(dtype=float), 2), [self.last]])
        return x, np.repeat(self.steps, 2)


def _groups(times: pd.DataFrame, by: str | None) -> dict[str, _Group]:
    rows = pd.DataFrame(times)  # without its attrs, which pandas copies at every step
    time, occurred = rows["latency_s"].to_numpy(dtype=float), rows["occurred"].to_numpy(dtype=bool)
    if by is None:
        return {"all": _Group(time, occurred, alone(rows, by))} if len(rows) else {}
    places = rows.reset_index(drop=True)[named(rows[by]).to_numpy()].groupby(by, observed=True, sort=False).indices
    return {
        str(value): _Group(time[places[value]], occurred[places[value]], alone(rows.iloc[places[value]], by))
        for value in sorted(places, key=str)
    }


def _look(by: str | None) -> Look:
    return ACTORS.get(by or "", GROUPS[0])


def _together(groups: dict[str, _Group], by: str | None, size: Size, end: float, about: str) -> ReproducibleFigure:
    figure = plate(size, 2.7 + 0.14 * len(groups))
    axes = figure.subplots()
    looks = GROUPS if len(groups) > 1 else (_look(by),)
    for (name, group), look in zip(groups.items(), looks, strict=False):
        _curve(axes, group, look, name)
    if len(groups) > 1:
        axes.legend(title=plain(by or ""), alignment="left", loc="upper right", handlelength=2.8)
    _frame(axes, end, 7 if size == "page" else 4, groups)
    rows_named = [plain(name) for name in groups] if len(groups) > 1 else [gettext("at risk")]
    axes.annotate(
        "\n".join(["", *rows_named]), (0, 0), xycoords="axes fraction", xytext=(-16, -7),
        textcoords="offset points", ha="right", va="top", fontsize=7,
    )  # fmt: skip
    axes.set_title(about)
    axes.set_ylabel(gettext("share still without it"))
    axes.set_xlabel(
        gettext("minutes : seconds, and sessions at risk") if len(groups) > 1 else gettext("minutes : seconds")
    )
    if not any(group.limited for group in groups.values()):
        few = all(len(group.time) < measure.LIMITS_LEAST for group in groups.values())
        figure.supxlabel(no_limits(few), fontsize=6.5, color=FAINT, x=0.01, ha="left")
    return figure


def _apart(groups: dict[str, _Group], by: str | None, size: Size, end: float, about: str) -> ReproducibleFigure:
    """Draw a panel for each group, all in one Axes that is the whole figure in inches: an Axes for each, with ticks
    that are five objects each, takes twice as long."""
    across = 3 if size == "page" else 2
    down = -(-len(groups) // across)
    wide, height = WIDTH[size], 0.6 + 1.5 * down
    figure = plate(size, height)
    figure.set_layout_engine("none")
    axes = figure.add_axes((0, 0, 1, 1), xlim=(0, wide), ylim=(0, height), autoscale_on=False)
    axes.set_axis_off()
    each = (wide - _LEFT - _RIGHT + _ASIDE) / across - _ASIDE, (height - _ABOVE) / down - _BENEATH
    for at, (name, group) in enumerate(groups.items()):
        left = _LEFT + at % across * (each[0] + _ASIDE)
        top = height - _ABOVE - at // across * (each[1] + _BENEATH)
        box = Affine2D().scale(each[0] / (1.02 * end), each[1] / 1.03).translate(left, top - each[1]) + axes.transData
        axes.plot(*_one_line(behind.corners for other, behind in groups.items() if other != name),
                  color=RULE, linewidth=0.9, zorder=1, gid="behind", transform=box)  # fmt: skip
        _curve(axes, group, _look(by), name, box)
        _panel(axes, box, end, 4 if size == "page" else 3, name, group, first=at % across == 0)
        fits = 34 if size == "page" else 24  # characters over a panel
        told = ": " + gettext("{count} of {all}", count=int(group.occurred.sum()), all=len(group.time))
        axes.text(left, top + 6 / 72, plain(name, fits - len(told)) + told, fontsize=8)
    figure.suptitle(about, x=0.01, y=1 - 0.06 / height, ha="left", va="top", fontsize=9)
    figure.supylabel(gettext("share still without it"), x=0.06 / wide, fontsize=8)
    figure.supxlabel(gettext("minutes : seconds, and beneath them the sessions at risk"), y=0.05 / height, fontsize=8)
    return figure


def _panel(axes: Axes, box: Transform, end: float, most: int, name: str, group: _Group, first: bool) -> None:
    """Draw the frame of a panel that is no Axes of its own; the `first` of a row has numbers at its left."""
    across, up = round_times(end, most), _SHARES if first else {}
    axes.plot([0, end * 1.02], [0.5, 0.5], color=RULE, linewidth=0.5, zorder=0, transform=box)
    axes.plot([0, 0, end * 1.02], [1.03, 0, 0], color=INK, linewidth=0.6, zorder=2.5, transform=box)
    how: dict[str, Any] = {"color": INK, "linestyle": "", "markersize": 3.5, "markeredgewidth": 0.6, "transform": box}
    axes.plot(across, [0] * len(across), marker=TICKDOWN, **how)
    axes.plot([0] * len(up), list(up), marker=TICKLEFT, **how)
    label: dict[str, Any] = {"xycoords": box, "textcoords": "offset points", "fontsize": 7}
    for tick in across:
        axes.annotate(_told(tick, [group]), (tick, 0), (0, -7), ha="center", va="top", gid=f"at risk:{name}", **label)
    for share, told in up.items():
        axes.annotate(told, (0, share), (-7, 0), ha="right", va="center_baseline", **label)


def _curve(axes: Axes, group: _Group, look: Look, name: str, box: Transform | None = None) -> None:
    """Draw a group's curve, limits and censored sessions; `box` is from seconds and shares to where they stand, where
    that is not as the Axes has it."""
    where: dict[str, Any] = {} if box is None else {"transform": box}
    axes.plot(
        *group.corners,
        color=look.colour,
        linestyle=look.line,
        linewidth=1.4,
        label=plain(name),
        zorder=3,
        gid=f"curve:{name}",
        **where,
    )
    table = group.table
    if len(table) and group.limited:
        edges = np.append(table.index.to_numpy(dtype=float), group.last)
        low, high = (np.append(table[c].to_numpy(), table[c].to_numpy()[-1]) for c in ("low", "high"))
        axes.fill_between(
            edges,
            low,
            high,
            step="post",
            color=look.colour,
            alpha=0.15,
            linewidth=0,
            zorder=2,
            gid=f"limits:{name}",
            **where,
        )
    left = np.sort(group.time[~group.occurred])
    share = group.steps[np.searchsorted(table.index.to_numpy(dtype=float), left, side="right")]
    how: dict[str, Any] = {"color": look.colour, "markersize": 7, "markeredgewidth": 1.1, "zorder": 4}
    axes.plot(left, share, "|", gid=f"censored:{name}", **how, **where)


def _one_line(curves: Iterable[tuple[Floats, Floats]]) -> Floats:
    """Return the corners of several curves as those of one broken line, which is quicker to draw."""
    broken = [np.append(curve, [[np.nan], [np.nan]], axis=1) for curve in curves]
    return np.concatenate(broken, axis=1)


def _frame(axes: Axes, end: float, most: int, groups: dict[str, _Group]) -> None:
    axes.set_xlim(0, end * 1.02)
    axes.set_ylim(0, 1.03)
    axes.set_yticks(list(_SHARES), list(_SHARES.values()))
    axes.axhline(0.5, color=RULE, linewidth=0.5, zorder=0)
    at = round_times(end, most)
    axes.set_xticks(at, [_told(tick, groups.values()) for tick in at])


def _told(tick: float, groups: Iterable[_Group]) -> str:
    """Return a time, and beneath it how many of each group were still at risk."""
    return "\n".join([seconds_face(tick), *(str(int((group.time >= tick).sum())) for group in groups)])
