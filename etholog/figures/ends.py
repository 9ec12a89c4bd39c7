"""What came first, and by when: the share that has come to each of several ends."""

from itertools import cycle

import numpy as np
import pandas as pd

from etholog.analysis import columns
from etholog.base.refusal import Refusal
from etholog.figures.style import GROUPS_AND_MORE, ReproducibleFigure, Size, minutes, nothing, plain, plate, rules


def ends(shares: pd.DataFrame, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of what came first, and by when (Aalen & Johansen 1978).

    Parameters
    ----------
    shares: as `etholog.incidence` or `etholog.time_to_sac` returns it; the name of its index, `time_s` or `days`,
        says in what time is counted.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for anything but a table.

    >>> import etholog
    >>> from datetime import date
    >>> attempts = etholog.outcomes(etholog.read("examples/season"), date(2026, 11, 20))
    >>> figure = etholog.figures.ends(etholog.time_to_sac(attempts))
    """
    columns.table(shares)
    if shares.index.name not in ("time_s", "days"):
        raise Refusal("shares: no index of time; give what etholog.incidence or etholog.time_to_sac returned")
    with rules():
        causes = [str(name) for name in shares.columns if not str(name).startswith("se_")]
        if not len(shares) or not causes:
            return nothing(size, "Nothing has come to an end yet.")
        figure = plate(size, 2.3)
        axes = figure.subplots()
        at = np.concatenate([[0.0], shares.index.to_numpy(dtype=float)])
        end = at[-1] * 1.03
        for cause, look in zip(causes, cycle(GROUPS_AND_MORE), strict=False):
            share = np.concatenate([[0.0], shares[cause].to_numpy(dtype=float)])
            x, y = np.append(at, end), np.append(share, share[-1])
            axes.step(
                x, y, where="post", color=look.colour, linestyle=look.line, linewidth=1.5, label=plain(cause),
                gid=f"share:{cause}",
            )  # fmt: skip
        axes.set_xlim(0, end)
        axes.set_ylim(0, 1.03)
        axes.set_yticks([0, 0.25, 0.5, 0.75, 1], ["0", "¼", "½", "¾", "1"])
        axes.set_ylabel("share that came to it first")
        if shares.index.name == "days":
            axes.set_xlabel("days")
        else:
            minutes(axes, end, 8 if size == "page" else 4)
            axes.set_xlabel("minutes : seconds")
        axes.legend(loc="upper left", handlelength=2.8)
        return figure
