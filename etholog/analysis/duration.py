"""Durations: bouts, totals, shares of the time watched, rates. Bouts cut by the watching are counted apart."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import bootstrap, survival
from etholog.analysis.bout import join
from etholog.analysis.sequence import groups, in_order, is_
from etholog.season import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.integer[Any]]

# What rests on drawing whole clusters; missing where there is only one of them.
DRAWN = ("share_low", "share_high", "per_hour_resampled_low", "per_hour_resampled_high")
_COLUMNS = (
    "actor", "behaviour", "qualifier", "kind", "sessions", "count", "cut", "total_s", "share", "share_in_sight",
    "median_s", "median_low_s", "median_high_s", "per_hour", "per_hour_low", "per_hour_high", *DRAWN,
)  # fmt: skip


def duration(season: Season, by: str | None = None, join_s: float | None = None, seed: int = 0) -> pd.DataFrame:
    """Return one row for each behaviour, actor and qualifier, and each value of `by` (a column of
    `season.sessions`) where given.

    sessions: in which it came. count: its bouts or events. cut: bouts whose end was not seen. total_s, share,
    share_in_sight: seconds, and their share of the seconds watched, and of those in which its actor was in sight as
    well. median_s, with its limits: of one bout, cut ones right-censored (Kaplan & Meier 1958, log-log). per_hour:
    count by hour in which its actor was watched and in sight, with exact limits of a Poisson count (Garwood 1936).
    share_low, share_high, per_hour_resampled_low, per_hour_resampled_high: percentile limits of share and rate by
    drawing whole males, or single sessions where `by` is the male (`attrs["drawn"]` says which). Behaviour that
    comes in bouts varies more than Poisson's, so trust these, where there are males enough.
    join_s: first make one bout of bouts that lie so near (see `analysis.bout`).
    """
    sessions = season.sessions
    names, group = (["all"], np.zeros(len(sessions), dtype=np.int64)) if by is None else groups(season, by)
    drawn = "session" if by in ("male", "session") else "male"
    bouts = season.bouts if join_s is None else join(season.bouts, join_s)
    place = bouts["session"].cat.codes.to_numpy()
    length, whole = bouts["duration_s"].to_numpy(dtype=float), bouts["whole"].to_numpy(dtype=bool)
    kinds, kind_of = _kinds(season, bouts)
    order, ends = _sorted(kind_of, None if by is None else group[place], len(kinds), len(names))
    watched = sessions["watched_s"].to_numpy(dtype=float)
    seen = in_sight(season)
    rows = []
    for value, name in enumerate(names):
        inside = np.flatnonzero(group == value)
        chances = _Chances(sessions[drawn].cat.codes.to_numpy()[inside], inside, len(sessions), seed)
        for at, (actor, code, choice, kind) in enumerate(kinds):
            cell = value * len(kinds) + at
            own = order[ends[cell] : ends[cell + 1]]
            if not len(own):
                continue
            state = kind == "state"
            hours = seen.get(actor, watched)[inside] / 3600
            row: dict[str, Any] = {} if by is None else {by: name}
            row |= {"actor": actor, "behaviour": code, "qualifier": choice, "kind": kind}
            row |= _measures(length[own], whole[own], place[own], state, watched[inside], hours)
            rows.append(row | chances.limits(length[own], place[own], state, watched, hours))
    found = pd.DataFrame(rows, columns=[*([by] if by else []), *_COLUMNS])
    found.attrs = {"drawn": drawn}
    return found


def _kinds(season: Season, bouts: pd.DataFrame) -> tuple[list[tuple[str, str, str | None, str]], Ints]:
    """Return each (actor, behaviour, qualifier, kind) that came, in the ethogram's order, and each bout's number
    there."""
    columns = [bouts[name].cat for name in ("actor", "kind", "qualifier")]
    sizes = [len(column.categories) + 1 for column in columns]
    code = bouts["behaviour"].cat.codes.to_numpy().astype(np.int32)
    for column, size in zip(columns, sizes, strict=True):
        code *= size
        code += column.codes.to_numpy()
        code += 1
    behaviours = bouts["behaviour"].cat.categories
    came = np.flatnonzero(np.bincount(code))
    place = {name: at for at, name in enumerate(in_order(season, [str(name) for name in behaviours]))}
    told = []
    for number in came:
        behaviour, parts = int(number), []
        for column, size in zip(reversed(columns), reversed(sizes), strict=True):
            behaviour, part = divmod(behaviour, size)
            parts.append(str(column.categories[part - 1]) if part else None)
        choice, kind, actor = parts
        told.append((str(actor), str(behaviours[behaviour]), choice, str(kind)))
    ranked = sorted(range(len(told)), key=lambda at: (place[told[at][1]], at))
    numbers = np.zeros(int(came[-1]) + 1 if len(came) else 1, dtype=np.int16)
    numbers[came[ranked]] = np.arange(len(ranked))
    return [told[at] for at in ranked], numbers[code]


def _sorted(kind_of: Ints, group: Ints | None, kinds: int, values: int) -> tuple[Ints, Ints]:
    """Return the bouts' rows sorted by (group, kind), those of no group left out, and where each cell begins."""
    cells = kinds * values
    key = kind_of
    if group is not None:
        # Numbers of 16 bits are sorted several times faster.
        key = np.where(group < 0, cells, group * kinds + kind_of).astype(np.int16 if cells < 2**15 - 1 else np.int64)
    starts = np.concatenate([[0], np.cumsum(np.bincount(key, minlength=cells + 1)[:cells])])
    return np.argsort(key, kind="stable"), starts


def _measures(
    length: Floats, whole: NDArray[np.bool_], place: Ints, state: bool, watched: Floats, hours: Floats
) -> dict[str, object]:
    median = low = high = np.nan
    if state:
        median, low, high = survival.quantile(survival.kaplan_meier(length, whole))
    least, most = poisson_limits(len(length))
    total, all_watched, all_hours = float(length.sum()), float(watched.sum()), float(hours.sum())
    return {
        "sessions": int((np.bincount(place) > 0).sum()),
        "count": len(length),
        "cut": int((~whole).sum()),
        "total_s": total if state else np.nan,
        "share": total / all_watched if state and all_watched else np.nan,
        "share_in_sight": total / (all_hours * 3600) if state and all_hours else np.nan,
        "median_s": median,
        "median_low_s": low,
        "median_high_s": high,
        "per_hour": len(length) / all_hours if all_hours else np.nan,
        "per_hour_low": least / all_hours if all_hours else np.nan,
        "per_hour_high": most / all_hours if all_hours else np.nan,
    }


class _Chances:
    """Draws the clusters of one group of sessions once, for all its behaviours."""

    def __init__(self, cluster: Ints, inside: Ints, sessions: int, seed: int) -> None:
        ids, number = np.unique(cluster, return_inverse=True)
        self.count = len(ids)
        self.inside, self.number = inside, number
        self.cluster_of = np.full(sessions, -1, dtype=np.int64)
        self.cluster_of[inside] = number
        enough = bootstrap.enough(self.count) if self.count > 1 else 0
        self.times = bootstrap.draws(self.count, enough, seed) if enough else np.zeros((0, self.count))

    def limits(self, length: Floats, place: Ints, state: bool, watched: Floats, hours: Floats) -> dict[str, float]:
        """Return the limits of share and rate of the bouts given."""
        out = dict.fromkeys(DRAWN, np.nan)
        if not len(self.times):
            return out
        own = self.cluster_of[place]
        count = np.bincount(own, minlength=self.count)
        out["per_hour_resampled_low"], out["per_hour_resampled_high"] = self._of(count, hours)
        if state:
            total = np.bincount(own, weights=length, minlength=self.count)
            out["share_low"], out["share_high"] = self._of(total, watched[self.inside])
        return out

    def _of(self, above: NDArray[Any], below: Floats) -> tuple[float, float]:
        bottom = self.times @ np.bincount(self.number, weights=below, minlength=self.count)
        with np.errstate(divide="ignore", invalid="ignore"):
            return bootstrap.limits(np.where(bottom > 0, (self.times @ above) / bottom, np.nan))


def in_sight(season: Season) -> dict[str, Floats]:
    """Return the seconds of each session in which an actor was watched and in sight; for the pair, both of them."""
    watched = season.sessions["watched_s"].to_numpy(dtype=float)
    both = season.sessions["out_of_sight_s"].to_numpy(dtype=float)
    seen = {"pair": np.clip(watched - both, 0.0, None).astype(np.float64)}
    hides = season.bouts["hides"].to_numpy()
    for actor in ("male", "female"):
        hidden = season.bouts[hides & is_(season.bouts["actor"], actor)] if hides.any() else season.bouts.iloc[:0]
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
