"""The pictures of the page. Each is a function, so that matplotlib is loaded where it is drawn and nowhere else."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

import pandas as pd

from etholog.analysis.transition import Transitions
from etholog.season import Season

if TYPE_CHECKING:
    from etholog.figures.style import ReproducibleFigure, Size


def load() -> None:
    """Load what draws."""
    import etholog.figures  # noqa: F401


def activity(curve: pd.DataFrame, bars: pd.DataFrame, size: "Size") -> "ReproducibleFigure":
    """Draw what moves on a film."""
    from etholog import figures

    return figures.activity(curve, bars, size)


def aligned(season: Season, times: pd.DataFrame, size: "Size") -> "ReproducibleFigure":
    """Draw every session up to its latency."""
    from etholog import figures

    return figures.aligned(season, times, size)


def ends(shares: pd.DataFrame, size: "Size") -> "ReproducibleFigure":
    """Draw what came first."""
    from etholog import figures

    return figures.ends(shares, size)


def flow(
    found: Transitions, durations: pd.DataFrame, named: Mapping[str, str], stages: Mapping[str, str], size: "Size"
) -> "ReproducibleFigure":
    """Draw transitions as a diagram."""
    from etholog import figures

    return figures.flow(found, durations, named, stages=stages, size=size)


def funnel(steps: pd.DataFrame, size: "Size") -> "ReproducibleFigure":
    """Draw how many pairings came how far."""
    from etholog import figures

    return figures.funnel(steps, size)


def palps(season: Season, size: "Size") -> "ReproducibleFigure":
    """Draw insertions by palp."""
    from etholog import figures

    return figures.palps(season, size=size)


def survival(times: pd.DataFrame, size: "Size") -> "ReproducibleFigure":
    """Draw how the share still without it falls, by male."""
    from etholog import figures

    return figures.survival(times, "male", size)


def time_shares(
    durations: pd.DataFrame, by: str | None, named: Mapping[str, str], size: "Size"
) -> "ReproducibleFigure":
    """Draw the time budget."""
    from etholog import figures

    return figures.time_shares(durations, by, named, size)


def transitions(
    found: Transitions, named: Mapping[str, str], stages: Mapping[str, str], size: "Size"
) -> "ReproducibleFigure":
    """Draw transitions as a table."""
    from etholog import figures

    return figures.transitions(found, named, stages=stages, size=size)
