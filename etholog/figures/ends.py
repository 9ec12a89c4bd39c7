"""What came first, and by when: the share that has come to each of several ends."""

import numpy as np
import pandas as pd

from etholog.figures.style import ACTORS, GROUPS, ReproducibleFigure, Size, minutes, nothing, plain, plate, rules

_LOOKS = (*GROUPS, *ACTORS.values())


def ends(shares: pd.DataFrame, size: Size = "page") -> ReproducibleFigure:
    """Draw a table of `etholog.incidence`: for each end the share to which it came first, by time (Aalen & Johansen
    1978). The index's name, `time_s` or `days`, says in what time is counted.
    """
    with rules():
        causes = [str(name) for name in shares.columns if not str(name).startswith("se_")]
        if not len(shares) or not causes:
            return nothing(size, "Nothing has come to an end yet.")
        figure = plate(size, 2.3)
        axes = figure.subplots()
        at = np.concatenate([[0.0], shares.index.to_numpy(dtype=float)])
        end = at[-1] * 1.03
        for cause, look in zip(causes, _LOOKS, strict=False):
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
