"""Whether two observers drift apart: their agreement, session by session, over the season."""

import numpy as np

from etholog.analysis.observers import Observers
from etholog.figures.style import GROUPS, INK, ReproducibleFigure, Size, nothing, plate, rules


def drift(found: Observers, criterion: float | None = None, size: Size = "page") -> ReproducibleFigure:
    """Draw what `etholog.observers` gave: of each session, by its day, Cohen's kappa and the share of onsets that both
    marked, and the criterion as a line."""
    with rules():
        sessions = found.sessions
        if not len(sessions):
            return nothing(size, "No session has a second record.")
        figure = plate(size, 2.4)
        axes = figure.subplots()
        days = sessions["began"].dt.tz_convert(None).to_numpy()
        looks = (("kappa", "D", "kappa, time units"), ("agreed", "o", "onsets matched"))
        for (name, mark, label), look in zip(looks, GROUPS, strict=False):
            axes.plot(
                days, sessions[name], mark, color=look.colour, linestyle=look.line, linewidth=1, markersize=4.5,
                label=label, gid=name,
            )  # fmt: skip
        if criterion is not None:
            axes.axhline(criterion, color=INK, linewidth=0.8, linestyle=":", label="criterion", gid="criterion")
        low = float(np.nanmin([0.0, sessions["kappa"].min()]))
        axes.set_ylim(low - 0.03, 1.03)
        axes.set_ylabel("agreement")
        axes.tick_params(axis="x", rotation=30)
        axes.legend(loc="lower left")
        return figure
