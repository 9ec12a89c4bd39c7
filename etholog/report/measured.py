"""What several parts of a page rest on, measured once."""

from dataclasses import dataclass

import pandas as pd

from etholog.analysis.duration import duration
from etholog.analysis.latency import latency
from etholog.ethogram import Interval
from etholog.season import Season


@dataclass(frozen=True)
class Measured:
    """The named intervals of a season's ethograms, the latencies of those that began in any session, and durations."""

    intervals: dict[str, Interval]
    latencies: dict[str, pd.DataFrame]
    durations: pd.DataFrame


def measured(season: Season) -> Measured:
    """Return what is measured of a season for its page."""
    intervals = {interval.name: interval for kept in season.ethograms.values() for interval in kept.interval}
    times = {name: latency(season, name) for name in intervals}
    return Measured(intervals, {name: rows for name, rows in times.items() if len(rows)}, duration(season))
