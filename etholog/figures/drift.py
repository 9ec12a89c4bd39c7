"""Whether two observers drift apart: their agreement, session by session, over the season."""

import numpy as np

from etholog.analysis import columns
from etholog.analysis.observers import Observers
from etholog.base.colours import INK
from etholog.figures.style import GROUPS, ReproducibleFigure, Size, nothing, plate, rules
from etholog.season import began_there


def drift(found: Observers, criterion: float | None = None, size: Size = "page") -> ReproducibleFigure:
    """Return a picture of whether two observers drift apart: their agreement by the day of each session.

    Cohen's kappa over time units, the share of onsets that both marked, and the criterion as a line.

    Parameters
    ----------
    found: what `etholog.observers` returned.
    criterion: the agreement that was asked for, 0 to 1.
    size: 'column' (89 mm wide) or 'page' (183 mm).

    Returns
    -------
    A matplotlib Figure, as wide as `size`; it says why where there is nothing to draw.

    Raises
    ------
    Refusal: for anything else.

    >>> import etholog
    >>> season = etholog.read("sessions")
    >>> one = etholog.Season(season.folder, season.sessions.iloc[:1], season.bouts[season.bouts["session"] ==
    ...     season.sessions["session"].iloc[0]], season.gaps.iloc[:0], season.ethograms)
    >>> figure = etholog.figures.drift(etholog.observers([(one, one)]), criterion=0.8)
    """
    columns.made_by(found, Observers, "etholog.observers")
    with rules():
        sessions = found.sessions
        if not len(sessions):
            return nothing(size, "No session has a second record.")
        figure = plate(size, 2.4)
        axes = figure.subplots()
        began = began_there(sessions)
        days = began.dt.tz_convert(None).to_numpy()
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
        # Left to itself, one day alone has an axis of four years.
        around = max(np.timedelta64(1, "D"), (days.max() - days.min()) // 20)
        axes.set_xlim(days.min() - around, days.max() + around)
        if len(days) == 1:
            axes.set_xticks(days, [f"{began.iloc[0]:%Y-%m-%d}"])
        axes.tick_params(axis="x", rotation=30)
        axes.legend(loc="lower left")
        return figure
