"""Who with whom, and when: the kinship of each pair as shade, the time in which each animal is free as a bar."""

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from etholog.analysis import columns
from etholog.analysis.plan import Plan
from etholog.base.colours import FAINT, INK, RULE
from etholog.figures.style import ACTORS, ReproducibleFigure, Size, nothing, plain, plate, rules

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

ROW_INCHES = 0.2
MOST = 60  # rows of a sex: more than that are no picture, and the table has them


def plan(found: Plan, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of who can meet whom, and when.

    To the left a square for each pair that both are free at all, the darker the more inbreeding their young would have
    (a cross: nothing tells), a dot on those proposed; to the right the days on which each is free, and, wider, the
    days between which a proposed pair can meet.

    Parameters
    ----------
    found: what `analysis.plan.plan` returned.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for anything else.

    >>> import etholog
    >>> from datetime import date
    >>> from etholog.analysis import plan
    >>> season = etholog.read("examples/season")
    >>> known = list(season.ethograms.values())
    >>> found = plan.plan(season.animals, known, date(2026, 3, 1), species="Brachypelma smithi")
    >>> figure = etholog.figures.plan(found)
    """
    columns.made_by(found, Plan, "analysis.plan.plan")
    with rules():
        free = found.animals[found.animals["why_not"] == ""]
        females, males = (free[free["sex"] == sex].head(MOST) for sex in ("female", "male"))
        if females.empty or males.empty:
            return nothing(size, "No male and female are free to meet in this time.")
        figure = plate(size, 1.3 + ROW_INCHES * (len(females) + len(males)))
        grid = figure.add_gridspec(2, 2, height_ratios=[len(females), len(males)], width_ratios=[1, 1.4])
        heading = "inbreeding of their young (x: nothing tells)" if size == "page" else "inbreeding (x: unknown)"
        _shades(figure.add_subplot(grid[0, 0]), found, list(females["animal"]), list(males["animal"]), heading)
        hers = figure.add_subplot(grid[0, 1])
        his = figure.add_subplot(grid[1, 1], sharex=hers)
        _bars(hers, females, found, "female")
        _bars(his, males, found, "male")
        hers.tick_params(axis="x", labelbottom=False)
        return figure


def _shades(axes: "Axes", found: Plan, females: list[str], males: list[str], heading: str) -> None:
    at = {name: i for i, name in enumerate(found.kin.names)}
    told = [[found.kin.inbreeding(at[he], at[she]) for he in males] for she in females]
    shade = np.array([[np.nan if one is None else one[1] for one in row] for row in told])
    dark = max(0.25, float(np.nanmax(shade)) if np.isfinite(shade).any() else 0.0)
    picture = axes.imshow(shade, cmap="Greys", vmin=0, vmax=dark, aspect="auto", gid="inbreeding")
    rows, columns = np.nonzero(np.isnan(shade))
    axes.plot(columns, rows, "x", color=RULE, markersize=4, gid="unknown")
    chosen = [(males.index(he), females.index(she)) for he, she in _proposed(found) if he in males and she in females]
    axes.plot(
        [x for x, _ in chosen], [y for _, y in chosen], "o", markersize=5, markeredgecolor="white",
        color=ACTORS["female"].colour, gid="proposed",
    )  # fmt: skip
    axes.set_xticks(range(len(males)), [plain(name) for name in males], rotation=90)
    axes.set_yticks(range(len(females)), [plain(name) for name in females])
    axes.tick_params(length=0)
    bar = axes.figure.colorbar(picture, ax=axes, location="top", fraction=0.08, pad=0.04)
    bar.set_label(heading, color=FAINT, fontsize=7)
    bar.ax.tick_params(labelsize=6)


def _proposed(found: Plan) -> list[tuple[str, str]]:
    return list(zip(found.pairs["male"], found.pairs["female"], strict=True))


def _bars(axes: "Axes", rows: "pd.DataFrame", found: Plan, sex: str) -> None:
    names = list(rows["animal"])
    for y, (first, last) in enumerate(zip(rows["free_from"], rows["free_until"], strict=True)):
        axes.hlines(y, first.toordinal(), last.toordinal(), color=RULE, linewidth=3, gid=f"free:{names[y]}")
    for he, she, day in zip(found.pairs["male"], found.pairs["female"], found.pairs["first"], strict=True):
        name, other = (she, he) if sex == "female" else (he, she)
        if name in names:
            y, x = names.index(name), day.toordinal()
            axes.plot([x], [y], "o", color=ACTORS[sex].colour, markersize=4, gid=f"meets:{name}:{other}")
            if sex == "female":
                axes.annotate(
                    plain(str(other)),
                    (x, y),
                    xytext=(5, 0),
                    textcoords="offset points",
                    va="center",
                    fontsize=6,
                    color=INK,
                )
    axes.set_yticks(range(len(names)), [plain(name) for name in names])
    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.set_xlim(found.today.toordinal() - 2, found.until.toordinal() + 2)
    days = [found.today + timedelta(days=n) for n in range((found.until - found.today).days + 1)]
    firsts = [day for day in days if day.day == 1]
    axes.set_xticks([day.toordinal() for day in firsts], [f"{day:%Y-%m}" for day in firsts], rotation=90)
    axes.tick_params(axis="y", length=0)
