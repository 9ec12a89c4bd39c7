"""Competing ends: the share in which each cause came first by a given time."""

import numpy as np
import pandas as pd

from etholog.ethogram import nearest
from etholog.refusal import Refusal


def incidence(times: pd.DataFrame, cause: str) -> pd.DataFrame:
    """Return the Aalen-Johansen estimate (Aalen & Johansen 1978) for `latency_s` and the column `cause` (missing:
    censored).

    Index: time_s, each time at which something ended. For each cause a column with its cumulative incidence, and
    se_<cause>, its standard
    error as statsmodels' CumIncidenceRight gives it. Where one cause removes the chance of another, one minus the
    curve of
    `kaplan_meier` says too much; this does not. Empty, with no columns, where nothing ever ended.
    """
    for column in ("latency_s", cause):
        if column not in times.columns:
            raise Refusal(f"no column {column!r}{nearest(column, map(str, times.columns))}")
    named = times[cause].astype(object)
    causes = sorted(named.dropna().unique(), key=str)
    time = times["latency_s"].to_numpy(dtype=float)
    ended = np.unique(time[named.notna().to_numpy()])
    if not causes:
        return pd.DataFrame(index=pd.Index(ended, name="time_s"))
    from statsmodels.duration.survfunc import CumIncidenceRight

    status = np.zeros(len(times), dtype=int)
    for number, one in enumerate(causes, 1):
        status[(named == one).to_numpy(dtype=bool)] = number
    fit = CumIncidenceRight(time, status)
    place = np.searchsorted(fit.times, ended)
    columns = {}
    for number, one in enumerate(causes):
        columns[str(one)] = fit.cinc[number][place]
        columns[f"se_{one}"] = fit.cinc_se[number][place]
    return pd.DataFrame(columns, index=pd.Index(ended, name="time_s"))
