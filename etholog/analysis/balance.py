"""The balance of the palps: does he use one more than the other, and do they take turns?"""

import numpy as np
import pandas as pd

from etholog.analysis import columns, crossed, renamed
from etholog.analysis.duration import animals
from etholog.analysis.latency import check_names, check_role, is_, of_role
from etholog.analysis.sequence import groups
from etholog.base.refusal import Refusal
from etholog.season import Season

SIDES = ("left", "right")


def palp_balance(season: Season, behaviour: str | None = None, by: str | None = None, seed: int = 0) -> pd.DataFrame:
    """Return how insertions, or the bouts of another behaviour, are divided between left and right.

    Parameters
    ----------
    season
        What `etholog.read` returned.
    behaviour
        A behaviour whose qualifier is left or right; all that has the role of an insertion where not given.
    by
        A column of `season.sessions`; there is then a row for each of its values that has such bouts.
    seed
        Has no effect; it was the seed of limits by resampling.

    Returns
    -------
    DataFrame
        left, right: bouts. left_s, right_s: their seconds. left_share: of the bouts; low, high: its 95 % limits, in
        which males and females vary; missing where too few animals had such bouts. turns, pairs: how many of the
        pairs of bouts that follow each other in a session change sides; chance: the share of them that would, if
        sides came in any order within a session. males, females: how many had such bouts. limits: why there are none.

    Raises
    ------
    Refusal
        Where no ethogram knows the behaviour with these sides (or none has that role), or no such bout was recorded.

    References
    ----------
    Cameron, Gelbach & Miller 2011, J. Bus. Econ. Stat. 29:238.

    Examples
    --------
    >>> import etholog
    >>> etholog.palp_balance(etholog.read("examples/season"))[["left", "right", "males"]].to_dict("records")
    [{'left': 19, 'right': 20, 'males': 6}]
    """
    columns.season(season)
    if behaviour is None:
        check_role(season, "insertion")
    else:
        check_names(season, [columns.word(behaviour, "behaviour"), *(f"{behaviour}:{side}" for side in SIDES)])
    sessions = season.sessions
    values, group = ([None], np.zeros(len(sessions), dtype=np.int64)) if by is None else groups(season, by)
    male, female = animals(season)
    bouts = season.bouts[
        of_role(season.bouts, "insertion") if behaviour is None else is_(season.bouts["behaviour"], behaviour)
    ]
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
        lefts, all_ = (np.bincount(rows_, minlength=len(sessions)).astype(float) for rows_ in (place[left], place))
        share = crossed.ratio(lefts, all_, male, female, "logit")
        together = place[1:] == place[:-1]
        row = {} if by is None else {by: name}
        rows.append(
            row
            | {"left": int(left.sum()), "right": int((~left).sum())}
            | {"left_s": float(seconds[left].sum()), "right_s": float(seconds[~left].sum())}
            | {"left_share": share.value, "low": share.low, "high": share.high}
            | {"turns": int((left[1:] != left[:-1])[together].sum()), "pairs": int(together.sum())}
            | {"chance": _chance(place, left), "males": share.males, "females": share.females}
            | {"limits": share.why or share.note}
        )
    if not rows:
        raise Refusal(f"no {behaviour or 'insertion'} with a side in these sessions: there is no balance")
    return renamed.with_old_names(pd.DataFrame(rows), renamed.BALANCE)


def _chance(place: np.ndarray, left: np.ndarray) -> float:
    """Return the share of neighbours that would differ if each session's sides came in any order: of n with k left,
    2 k (n - k) / n of the n - 1 pairs."""
    total = np.bincount(place).astype(float)
    lefts = np.bincount(place, weights=left)
    some = total > 1
    pairs = (total[some] - 1).sum()
    return float((2 * lefts[some] * (total[some] - lefts[some]) / total[some]).sum() / pairs) if pairs else np.nan
