"""How evenings ended: what closed one for good, and what only stopped the watching."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.season import Season
from etholog.session.endings import FOR_GOOD, LAST

BY_THE_KEEPER = "keeper ended it"


def for_good(season: Season) -> tuple[NDArray[np.float64], NDArray[np.object_]]:
    """Return for each session when it was over for good (infinite: it was not), and what closed it.

    What only happened in the course of an evening, such as a flight or a strike, closes nothing: he may come again.
    """
    sessions = season.sessions
    at = np.full(len(sessions), np.inf)
    what = np.full(len(sessions), None, dtype=object)
    if "ended" in sessions.columns:
        over = sessions["ended"].isin(FOR_GOOD).to_numpy()
        at[over] = sessions["length_s"].to_numpy(dtype=float)[over]
        what[over] = sessions["ended"].to_numpy(dtype=object)[over]
    bouts = season.bouts
    last = bouts[bouts["role"].isin(LAST)]
    for place, onset, code in zip(last["session"].cat.codes, last["onset_s"], last["behaviour"], strict=True):
        if onset < at[place] or what[place] in FOR_GOOD:
            at[place], what[place] = onset, code
    return at, what


def by_the_keeper(times: pd.DataFrame) -> NDArray[np.bool_]:
    """Return in which sessions the keeper ended the watching before the behaviour came."""
    if "ended" not in times.columns:
        return np.zeros(len(times), dtype=bool)
    ended = (times["ended"] == BY_THE_KEEPER).to_numpy(dtype=bool, na_value=False)
    return np.asarray(ended & ~times["occurred"].to_numpy(dtype=bool))
