"""Whether what was begun on the way changed what came: start-stop risk sets, and who began drawn anew.

'Ever done' against 'never done' favours whatever is begun late, since one must have lasted until then: on the heart
transplants of Crowley & Hu (1977) it makes the operation look as if it cut deaths to a quarter. Here the time before
the beginning counts as without.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, cox
from etholog.analysis.permutation import ALPHA
from etholog.analysis.survival import kaplan_meier

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

AT_LEAST = 12  # below, a practice that quarters a hazard is found in 1 to 2 seasons of 100
SHUFFLES = 1_999
SEASONS = 200  # simulated for the power, each with so few redraws:
REDRAWS = 199


@dataclass(frozen=True)
class Begun:
    """What came after the beginning, and what without it. NaN where there is no such figure."""

    units: int
    began: int
    with_events: int
    with_days: float
    without_events: int
    without_days: float
    ratio: float
    """Of hazards: under 1, it came less often once begun."""
    statistic: float
    """The score test of Cox's model with the beginning as a change in time, chi-squared with 1 df."""
    p: float
    """By drawing anew, on each day on which something was begun, for whom."""
    smallest_p: float


def begun(units: pd.DataFrame, shuffles: int = SHUFFLES, seed: int = 0) -> Begun:
    """Return how often an end came with and without what was begun on the way.

    p keeps the ends and the days of beginning, and draws for each beginning one of those that were still waiting and
    without it on that day. It is exact if each of them was as likely to be chosen. No p under AT_LEAST units, nor where
    none of .05 is possible.

    Parameters
    ----------
    units: a row each: `days` until it ended or was last known of, `occurred` (bool), `began` (days; missing: never).

    Raises
    ------
    Refusal: for a column that is not there, or a cell in it that can't be.

    >>> import pandas as pd
    >>> few = pd.DataFrame({"days": [9.0, 30, 40], "occurred": [True, True, False], "began": [None, 10, 20]})
    >>> found = begun(few)
    >>> found.with_events, found.with_days, found.without_events, found.without_days
    (1, 40.0, 1, 39.0)
    """
    rows = columns.table(units, "days", "occurred", "began")
    days, occurred, own = columns.seconds(rows, "days"), columns.flags(rows, "occurred"), columns.numbers(rows, "began")
    start: Floats = np.where(own <= days, own, np.inf).astype(np.float64)
    after = occurred & (start < days)
    before = np.minimum(start, days)
    observed = _score(days, occurred, start[None, :])[0]
    p = smallest = np.nan
    if len(days) >= AT_LEAST and np.isfinite(observed):
        drawn = _redrawn(days, start, shuffles, np.random.default_rng(seed))
        values = np.nan_to_num(np.append(_score(days, occurred, drawn), observed))
        least = float((values >= values.max() - 1e-9).mean())
        if least <= ALPHA:
            p, smallest = float((values >= observed - 1e-9).mean()), least
    return Begun(
        len(days), int(np.isfinite(start).sum()), int(after.sum()), float((days - before).sum()),
        int((occurred & ~after).sum()), float(before.sum()), _ratio(days, occurred, start), float(observed), p,
        smallest,
    )  # fmt: skip


def power(units: pd.DataFrame, ratio: float = 0.25, seed: int = 0) -> float:
    """Return in what share of seasons like this one `begun` would find, at 5 %, what changes the hazard by `ratio`.

    Simulated: as many units, one hazard for all (all ends over all days), the same days of beginning, and each watched
    for as long as one like it. Error: up to .035.
    """
    days, occurred = units["days"].to_numpy(dtype=float), units["occurred"].to_numpy(dtype=bool)
    began = units["began"].astype(float).to_numpy()
    starts = np.sort(began[began <= days])
    if not occurred.any() or not len(starts) or len(days) < AT_LEAST:
        return np.nan
    chance = np.random.default_rng(seed)
    mean = days.sum() / occurred.sum()
    found = 0
    for _ in range(SEASONS):
        end, start = chance.exponential(mean, len(days)), np.full(len(days), np.inf)
        watched = _watched(days, occurred, chance)
        for day in starts:
            waiting = np.flatnonzero((np.minimum(end, watched) > day) & np.isinf(start))
            if len(waiting):
                one = chance.choice(waiting)
                start[one] = day
                end[one] = day + (end[one] - day) / ratio
        came = end <= watched
        end = np.minimum(end, watched)
        observed = np.nan_to_num(_score(end, came, start[None, :])[0])
        values = np.nan_to_num(_score(end, came, _redrawn(end, start, REDRAWS, chance)))
        found += (values >= observed - 1e-9).sum() + 1 <= ALPHA * (REDRAWS + 1)
    return found / SEASONS


def _watched(days: Floats, occurred: Bools, chance: np.random.Generator) -> Floats:
    """Draw for how many days each would be watched: as it was, or, where it ended before, for longer, as others were:
    Kaplan & Meier's curve with ends and censorings changed over (Schemper & Smith 1996, Control. Clin. Trials 17:343).
    """
    curve = kaplan_meier(days, ~occurred)
    at, share = curve.index.to_numpy(dtype=float), curve["share"].to_numpy()
    still = np.append(1.0, share)[np.searchsorted(at, days, side="right")]
    drawn = np.append(at, days.max())[np.searchsorted(-share, -still * chance.random(len(days)))]
    return np.where(occurred, np.maximum(drawn, days), days)


def _redrawn(days: Floats, start: Floats, shuffles: int, chance: np.random.Generator) -> Floats:
    """Return (shuffles, n) days of beginning, each given to one that was still waiting and without it."""
    drawn = np.full((shuffles, len(days)), np.inf)
    rows = np.arange(shuffles)
    for day in np.sort(start[np.isfinite(start)]):
        key = chance.random(drawn.shape)
        key[(days < day) | np.isfinite(drawn)] = -1.0
        drawn[rows, key.argmax(axis=1)] = day
    return drawn


def _score(days: Floats, occurred: Bools, start: Floats) -> Floats:
    """Return the score statistic U^2 / V for each row of `start` (m, n); NaN where nothing could differ."""
    score, variance = np.zeros(len(start)), np.zeros(len(start))
    for time in np.unique(days[occurred]):
        ends, waiting = occurred & (days == time), days >= time
        with_it = start < time
        share = with_it[:, waiting].mean(axis=1)
        score += with_it[:, ends].sum(axis=1) - ends.sum() * share
        variance += ends.sum() * share * (1 - share)
    found: Floats = np.divide(score**2, variance, out=np.full(len(start), np.nan), where=variance > 1e-12)
    return found


def _ratio(days: Floats, occurred: Bools, start: Floats) -> float:
    changed = np.flatnonzero((start < days) & (start > 0))
    before = np.where(start < days, start, days)
    from_start = start <= 0
    data = cox.Data(
        np.concatenate([np.full(len(days), -np.inf), start[changed]]),
        np.concatenate([np.where(from_start, days, before), days[changed]]),
        np.concatenate([occurred & ~np.isin(np.arange(len(days)), changed), occurred[changed]]),
        np.zeros(len(days) + len(changed), dtype=np.intp),
        np.concatenate([from_start, np.ones(len(changed))])[:, None].astype(np.float64),
    )
    if not occurred.any():
        return np.nan
    return float(np.exp(cox.fit(data).coef[0]))
