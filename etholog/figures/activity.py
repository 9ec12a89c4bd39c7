"""A film's trace with its stretches, and a contact sheet of them."""

from collections.abc import Sequence
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.ticker import FuncFormatter
from numpy.typing import NDArray

from etholog.analysis import columns
from etholog.base.clock import seconds_face
from etholog.base.colours import FAINT, INK, RULE
from etholog.base.language import gettext, ngettext, number
from etholog.base.refusal import Refusal
from etholog.base.text import STILLNESS, drawable
from etholog.figures.style import LONGEST, ReproducibleFigure, Size, bars, gap, minutes, nothing, plate, rules

POINTS = 1500  # of the trace that a page can show
COLUMN = 74  # characters under a column
ACROSS = 4  # pictures in a row of a contact sheet
MOST = 80  # pictures on one


def activity(trace: pd.DataFrame, stretches: pd.DataFrame, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of how much moves in a film against its time, with the stretches below as bars.

    Parameters
    ----------
    trace: `film_s` (seconds), and `strength` in thresholds: 1 has just reached it.
    stretches: `onset_s`, `offset_s` (seconds), and `disturbed`: True where light, camera or something large changed
        the picture.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for a table that lacks one of these columns.

    >>> import etholog
    >>> import pandas as pd
    >>> trace = pd.DataFrame({"film_s": [0.0, 1.0, 2.0], "strength": [0.2, 3.0, 0.1]})
    >>> stretches = pd.DataFrame({"onset_s": [0.5], "offset_s": [1.5], "disturbed": [False]})
    >>> figure = etholog.figures.activity(trace, stretches)
    """
    columns.table(trace, "film_s", "strength")
    columns.table(stretches, "onset_s", "offset_s", "disturbed")
    with rules():
        if trace.empty:
            return nothing(size, gettext("The film has no pictures."))
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
        above.yaxis.set_major_formatter(FuncFormatter(lambda strength, _: number(strength, "g")))
        above.set_ylim(0.1, max(10.0, float(strength.max()) * 1.3))
        above.set_ylabel(gettext("strength\n(thresholds)"))
        spoilt = stretches["disturbed"].to_numpy(bool)
        for row in stretches[spoilt].to_dict("records"):
            gap(below, row["onset_s"], row["offset_s"], 0, 1)
        own = stretches[~spoilt]
        long = np.maximum(own["offset_s"] - own["onset_s"], end / 800)
        bars(below, own["onset_s"], long, [0.15] * len(own), 0.7, "stretches", facecolor=INK, linewidth=0)
        below.set_ylim(0, 1)
        below.set_yticks([])
        below.set_ylabel(gettext("look"), rotation=0, ha="right", va="center")
        below.spines["left"].set_color(RULE)
        below.set_xlim(min(0.0, float(trace["film_s"].iloc[0])), end)
        minutes(below, end, 8 if size == "page" else 4)
        told, caution = gettext("time of the film; hatched: the picture was disturbed."), gettext(STILLNESS)
        below_it = f"{told} {caution}" if size == "page" else "\n".join([told, *wrap(caution, COLUMN)])
        figure.supxlabel(below_it, fontsize=6.5)
        return figure


def contact_sheet(
    pictures: Sequence[NDArray[np.uint8]], titles: Sequence[str], count: int, size: Size = "page"
) -> ReproducibleFigure:
    """Return one picture for each stretch, with its title, at most 80.

    Parameters
    ----------
    pictures: images of one size, as arrays of bytes (height x width x 3).
    titles: one for each.
    count: how many stretches there are.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: where pictures and titles are not as many.

    >>> import etholog
    >>> import numpy as np
    >>> figure = etholog.figures.contact_sheet([np.zeros((36, 64, 3), np.uint8)], ["0:12"], 1)
    """
    if len(pictures) != len(titles):
        raise Refusal(f"{len(pictures)} pictures and {len(titles)} titles; give one for each")
    with rules():
        if not pictures:
            return nothing(size, gettext("No stretch was found.") + " " + gettext(STILLNESS))
        shown = list(zip(pictures, titles, strict=True))[:MOST]
        down = -(-len(shown) // ACROSS)
        shape = pictures[0].shape
        figure = plate(size, down * (1.75 * shape[0] / shape[1] + 0.2) + 0.2)
        axes: Any = figure.subplots(down, ACROSS, squeeze=False)
        for place in axes.flat:
            place.axis("off")
        for place, (picture, title) in zip(axes.flat, shown, strict=False):
            place.imshow(picture, aspect="equal", interpolation="nearest")
            place.set_title(drawable(title, LONGEST), fontsize=6)
        some = ngettext("{some} of {n} stretch.", "{some} of {n} stretches.", count, some=len(shown))
        figure.supxlabel(f"{some} {gettext(STILLNESS)}" if len(shown) < count else gettext(STILLNESS), fontsize=6.5)
        return figure


def picture_title(onset_s: float, offset_s: float, why: str) -> str:
    """Return what stands over a picture of a contact sheet.

    >>> picture_title(65.0, 70.0, "slow movement")
    '1:05 to 1:10, slow movement'
    """
    return gettext(
        "{onset} to {offset}, {why}", onset=seconds_face(onset_s), offset=seconds_face(offset_s), why=gettext(why)
    )
