"""A film's trace with its stretches, and a contact sheet of them."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.base.text import STILLNESS
from etholog.figures.style import (
    FAINT,
    INK,
    RULE,
    ReproducibleFigure,
    Size,
    bars,
    clock,
    drawable,
    gap,
    minutes,
    nothing,
    plate,
    rules,
)

POINTS = 1500  # of the trace that a page can show
ACROSS = 4  # pictures in a row of a contact sheet
MOST = 80  # pictures on one


def activity(trace: pd.DataFrame, stretches: pd.DataFrame, size: Size = "page") -> ReproducibleFigure:
    """Draw how much moves in a film against its time, and the stretches below as bars.

    Parameters
    ----------
    trace : DataFrame
        `film_s`, and `strength` in thresholds: 1 has just reached it.
    stretches : DataFrame
        `onset_s`, `offset_s`, and `disturbed`: True where light, camera or something large changed the picture.
    """
    with rules():
        if trace.empty:
            return nothing(size, "The film has no pictures.")
        figure = plate(size, 2.0)
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(5, 1))
        end = float(trace["film_s"].iloc[-1])
        step = max(1, -(-len(trace) // POINTS))
        # The greatest of each run of points: a mean would hide what lasts two seconds of six hours.
        parts = np.arange(0, len(trace), step)
        strength = np.maximum.reduceat(trace["strength"].to_numpy(float), parts)
        above.fill_between(
            trace["film_s"].to_numpy()[parts], 0.1, np.clip(strength, 0.1, None), color=INK, linewidth=0, step="post"
        )
        above.axhline(1, color=FAINT, linewidth=0.7, linestyle="--", gid="threshold")
        above.set_yscale("log")
        above.set_ylim(0.1, max(10.0, float(strength.max()) * 1.3))
        above.set_ylabel("strength\n(thresholds)")
        spoilt = stretches["disturbed"].to_numpy(bool)
        for row in stretches[spoilt].to_dict("records"):
            gap(below, row["onset_s"], row["offset_s"], 0, 1)
        own = stretches[~spoilt]
        long = np.maximum(own["offset_s"] - own["onset_s"], end / 800)
        bars(below, own["onset_s"], long, [0.15] * len(own), 0.7, "stretches", facecolor=INK, linewidth=0)
        below.set_ylim(0, 1)
        below.set_yticks([])
        below.set_ylabel("look", rotation=0, ha="right", va="center")
        below.spines["left"].set_color(RULE)
        below.set_xlim(0, end)
        minutes(below, end, 8 if size == "page" else 4)
        below.set_xlabel(f"time of the film; hatched: the picture was disturbed. {STILLNESS}", fontsize=6.5)
        return figure


def contact_sheet(
    pictures: Sequence[NDArray[np.uint8]], titles: Sequence[str], count: int, size: Size = "page"
) -> ReproducibleFigure:
    """Draw one picture for each stretch, with its title, at most 80; `count` is how many stretches there are."""
    with rules():
        if not pictures:
            return nothing(size, f"No stretch was found. {STILLNESS}")
        shown = list(zip(pictures, titles, strict=True))[:MOST]
        down = -(-len(shown) // ACROSS)
        shape = pictures[0].shape
        figure = plate(size, down * (1.75 * shape[0] / shape[1] + 0.2) + 0.2)
        axes: Any = figure.subplots(down, ACROSS, squeeze=False)
        for place in axes.flat:
            place.axis("off")
        for place, (picture, title) in zip(axes.flat, shown, strict=False):
            place.imshow(picture, aspect="equal", interpolation="nearest")
            place.set_title(drawable(title), fontsize=6)
        told = f"{len(shown)} of {count} stretches. " if len(shown) < count else ""
        figure.supxlabel(told + STILLNESS, fontsize=6.5)
        return figure


def picture_title(onset_s: float, offset_s: float, why: str) -> str:
    """Return what stands over a picture of a contact sheet.

    >>> picture_title(65.0, 70.0, "slow movement")
    '1:05 to 1:10, slow movement'
    """
    return f"{clock(onset_s)} to {clock(offset_s)}, {why}"
