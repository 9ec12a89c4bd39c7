"""Durations: bouts, totals, shares of the time watched, rates. Bouts cut by the watching are counted apart."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import survival
from etholog.ethogram import nearest
from etholog.refusal import Refusal
from etholog.season import Season


def duration(season: Season, by: str | None = None) -> pd.DataFrame:
    """Return one row for each behaviour, actor and qualifier, and each value of `by` (a column of
    `season.sessions`) where given.

    sessions: in which it came. count: its bouts or events. cut: bouts whose end was not seen. total_s, share:
    seconds, and their share of the
    seconds watched. median_s, with its limits: of one bout, cut ones right-censored (Kaplan & Meier 1958, log-log).
    per_hour, with its
    limits: count by hour in which its actor was watched and in sight (exact Poisson, Garwood 1936; behaviour that
    comes in bouts varies more
    than that).
    """
    sessions = season.sessions
    if by is not None and by not in sessions.columns:
        raise Refusal(f"no column {by!r}{nearest(by, map(str, sessions.columns))}")
    bouts = season.bouts.assign(place=season.bouts["session"].cat.codes.to_numpy())
    seen = _seen(season)
    groups = [(None, np.ones(len(sessions), dtype=bool))]
    if by is not None:
        groups = [(value, (sessions[by] == value).to_numpy()) for value in sessions[by].dropna().unique()]
    rows = []
    for value, inside in groups:
        own = bouts[inside[bouts["place"].to_numpy()]]
        watched = float(sessions["watched_s"].to_numpy()[inside].sum())
        keys = ["actor", "behaviour", "kind", "qualifier"]
        for (actor, code, kind, choice), part in own.groupby(keys, observed=True, dropna=False, sort=False):
            head = {} if by is None else {by: value}
            hours = float(seen[actor][inside].sum()) / 3600 if actor in seen else watched / 3600
            rows.append(
                head
                | {"actor": actor, "behaviour": code, "qualifier": None if choice != choice else choice, "kind": kind}
                | _measures(part, kind == "state", watched, hours)
            )
    return pd.DataFrame(rows)


def _measures(part: pd.DataFrame, state: bool, watched: float, hours: float) -> dict[str, object]:
    time, whole = part["duration_s"].to_numpy(dtype=float), part["whole"].to_numpy(dtype=bool)
    median = low = high = np.nan
    if state:
        median, low, high = survival.quantile(survival.kaplan_meier(time, whole))
    least, most = poisson_limits(len(part))
    return {
        "sessions": int(part["place"].nunique()),
        "count": len(part),
        "cut": int((~whole).sum()),
        "total_s": float(time.sum()) if state else np.nan,
        "share": float(time.sum()) / watched if state and watched else np.nan,
        "median_s": median,
        "median_low_s": low,
        "median_high_s": high,
        "per_hour": len(part) / hours if hours else np.nan,
        "per_hour_low": least / hours if hours else np.nan,
        "per_hour_high": most / hours if hours else np.nan,
    }


def _seen(season: Season) -> dict[str, NDArray[np.float64]]:
    """Return, for the male and the female, the seconds of each session in which they were watched and in sight."""
    watched = season.sessions["watched_s"].to_numpy(dtype=float)
    seen = {}
    for actor in ("male", "female"):
        hidden = season.bouts[season.bouts["hides"].to_numpy() & (season.bouts["actor"] == actor).to_numpy()]
        lost = np.bincount(
            hidden["session"].cat.codes.to_numpy(), weights=hidden["duration_s"].to_numpy(), minlength=len(watched)
        )
        seen[actor] = np.clip(watched - lost, 0.0, None).astype(np.float64)
    return seen


def poisson_limits(count: int, level: float = 0.95) -> tuple[float, float]:
    """Return the exact limits of a Poisson count (Garwood 1936, by quantiles of chi-squared)."""
    from scipy.special import gammaincinv

    outside = (1 - level) / 2
    low = float(gammaincinv(count, outside)) if count else 0.0
    return low, float(gammaincinv(count + 1, 1 - outside))
