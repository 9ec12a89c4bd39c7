"""The balance of the palps: does he use one more than the other, and do they take turns?"""

import numpy as np
import pandas as pd

from etholog.analysis import bootstrap
from etholog.analysis.latency import check_names
from etholog.analysis.sequence import groups
from etholog.analysis.share import wilson
from etholog.base.refusal import Refusal
from etholog.season import Season

SIDES = ("left", "right")


def balance(season: Season, behaviour: str = "insertion", by: str | None = None, seed: int = 0) -> pd.DataFrame:
    """Return how bouts of a behaviour with a left and a right are divided, for each value of `by` where given.

    left, right, left_s, right_s: bouts and their seconds. left_share: of the bouts, with Wilson's 95 % limits (low,
    high; Wilson 1927), which take bouts for independent, and resampled_low and resampled_high, which draw whole males
    (single sessions where `by` is the male). turns, pairs: how many of the pairs of bouts that follow each other in
    a session change sides; chance: the share of them that would, if sides came in any order within a session. What
    can't be told is missing.
    """
    check_names(season, [behaviour, *(f"{behaviour}:{side}" for side in SIDES)])
    sessions = season.sessions
    values, group = ([None], np.zeros(len(sessions), dtype=np.int64)) if by is None else groups(season, by)
    cluster = sessions["session" if by in ("male", "session") else "male"].cat.codes.to_numpy()
    bouts = season.bouts[(season.bouts["behaviour"] == behaviour).to_numpy()]
    bouts = bouts[bouts["qualifier"].isin(SIDES).to_numpy()]
    all_places = bouts["session"].cat.codes.to_numpy()
    rows = []
    for value, name in enumerate(values):
        own = bouts[(group[all_places] == value) if len(bouts) else []]
        if not len(own):
            continue
        place = own["session"].cat.codes.to_numpy()
        left = (own["qualifier"] == "left").to_numpy()
        seconds = own["duration_s"].to_numpy(dtype=float)
        share = float(left.mean())
        low, high = wilson(int(left.sum()), len(left))
        drawn = bootstrap.ratio_limits(left.astype(float), np.ones(len(left)), cluster[place], seed=seed)
        together = place[1:] == place[:-1]
        row = {} if by is None else {by: name}
        rows.append(
            row
            | {"left": int(left.sum()), "right": int((~left).sum())}
            | {"left_s": float(seconds[left].sum()), "right_s": float(seconds[~left].sum())}
            | {"left_share": share, "low": low, "high": high}
            | {"resampled_low": drawn[0], "resampled_high": drawn[1]}
            | {"turns": int((left[1:] != left[:-1])[together].sum()), "pairs": int(together.sum())}
            | {"chance": _chance(place, left)}
        )
    if not rows:
        raise Refusal(f"no {behaviour} with a side in these sessions: there is no balance to tell")
    return pd.DataFrame(rows)


def _chance(place: np.ndarray, left: np.ndarray) -> float:
    """Return the share of neighbours that would differ if each session's sides came in any order: of n with k left,
    2 k (n - k) / n of the n - 1 pairs."""
    total = np.bincount(place).astype(float)
    lefts = np.bincount(place, weights=left)
    some = total > 1
    pairs = (total[some] - 1).sum()
    return float((2 * lefts[some] * (total[some] - lefts[some]) / total[some]).sum() / pairs) if pairs else np.nan
