"""Agreement of second observers over many sessions: how far apart their totals are, and whether it drifts.

pingouin and psych have the intraclass correlations, and no agreement of timed records; psych is the reference in the
tests.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns
from etholog.analysis.agreement import Agreement, agreement, limits_of_agreement, unit_table
from etholog.analysis.agreement import kappa as kappa_of
from etholog.analysis.distribution import t_quantile
from etholog.base import notebook
from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.season import Season

Floats = NDArray[np.float64]

LIMITS_LEAST = 5  # sessions
# Sessions in which neither saw it: of half or more of them, limits made for a normal spread hold in 15 to 92 of 100.
NEITHER_MOST = 0.25


@dataclass(frozen=True)
class Observers:
    """Agreement over sessions that two observers recorded. NaN: not defined, or too few sessions for limits."""

    sessions: pd.DataFrame
    """One row each, in the order of their days: session, began, utc_offset_min, first, second (observers), matched,
    agreed, kappa, shift_s, watched_s, and reaches: whether kappa reaches the criterion."""
    table: pd.DataFrame
    """Index: behaviour. what: 'seconds' in all of a state, or 'count' of an event, for each session. sessions.
    difference: the mean of second less first; low, high: its 95 % limits of agreement; low_from, low_to, high_from,
    high_to: the 95 % limits of these, for differences that are about normal; difference_from, difference_to: those of
    the mean. icc, icc_low, icc_high: ICC(2,1) with its limits (Shrout & Fleiss 1979), of observers and sessions drawn
    at random. Neither the limits of limits nor those of the ICC where neither observer saw it in more than a quarter of
    the sessions."""
    kappa: float
    """Cohen's kappa over all time units of all sessions."""
    kappa_low: float
    """Its lower 95 % limit, sessions left out in turn."""
    kappa_high: float
    """Its upper 95 % limit."""
    sentence: str
    """All this in words."""

    def _repr_html_(self) -> str:
        return notebook.html(self.sentence, self.sessions, self.table)


def observers(
    pairs: Sequence[tuple[Season, Season]],
    tolerance_s: float = 1.0,
    unit_s: float = 1.0,
    align: bool = False,
    criterion: float | None = None,
) -> Observers:
    """Return how far second observers agree with the first over many sessions.

    Parameters
    ----------
    pairs
        Of each session the first record and the second, each a season of one session.
    tolerance_s, unit_s, align
        As in `agreement`.
    criterion
        The kappa that a session is to reach, from 0 to 1; there is none that is good enough for all ethograms.

    Returns
    -------
    Observers
        See its fields.

    Raises
    ------
    Refusal
        Where there is no pair, or what `agreement` refuses.

    References
    ----------
    Bland & Altman 1999, Stat. Methods Med. Res. 8:135; Carkeet 2015, Optom. Vis. Sci. 92:e71; Shrout & Fleiss 1979,
    Psychol. Bull. 86:420; Miller 1974, Biometrika 61:1 (jackknife).

    Examples
    --------
    >>> import etholog
    >>> season = etholog.read("sessions")
    >>> one = etholog.Season(season.folder, season.sessions.iloc[:1], season.bouts[season.bouts["session"] ==
    ...     season.sessions["session"].iloc[0]], season.gaps.iloc[:0], season.ethograms)
    >>> etholog.observers([(one, one)]).kappa
    1.0
    """
    if criterion is not None:
        columns.number(criterion, "criterion", 0.0, 1.0)
    if not isinstance(pairs, list | tuple) or not all(isinstance(one, list | tuple) and len(one) == 2 for one in pairs):
        raise Refusal("pairs: a list of pairs of records is needed, each a first and a second")
    if not len(pairs):
        raise Refusal(
            "no session has a second observer's record: record one with `etholog watch --film FILM --of SESSION`"
        )
    pairs = [(columns.season(one), columns.season(two)) for one, two in pairs]
    each = [agreement(one, two, tolerance_s, unit_s, align) for one, two in pairs]
    sessions = pd.DataFrame([_session(pair, found) for pair, found in zip(pairs, each, strict=True)])
    sessions["reaches"] = sessions["kappa"] >= criterion if criterion is not None else pd.NA
    order = np.argsort(sessions["began"].to_numpy(), kind="stable")
    tables = unit_table(pairs, [found.shift_s for found in each], unit_s)
    pooled, low, high = kappa_limits(tables)
    sessions = sessions.iloc[order].reset_index(drop=True)
    return Observers(sessions, _behaviours(pairs), pooled, low, high, _sentence(sessions, pooled, low, high, criterion))


def icc(table: Floats) -> dict[str, float]:
    """Return Shrout & Fleiss's intraclass correlations of (targets, judges): '1,1', '2,1', '3,1', '1,k', '2,k', '3,k',
    and the 95 % limits 'low' and 'high' of '2,1'; NaN where nothing varies or there are fewer than two of either.

    >>> ratings = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    >>> round(icc(np.array(ratings, dtype=float))["2,1"], 6)
    0.289764
    """
    names = ("1,1", "2,1", "3,1", "1,k", "2,k", "3,k", "low", "high")
    n, k = table.shape
    if n < 2 or k < 2 or not np.ptp(table) > 0:
        return dict.fromkeys(names, np.nan)
    mean = table.mean()
    targets = k * ((table.mean(axis=1) - mean) ** 2).sum() / (n - 1)
    judges = n * ((table.mean(axis=0) - mean) ** 2).sum() / (k - 1)
    within = ((table - table.mean(axis=1, keepdims=True)) ** 2).sum() / (n * (k - 1))
    error = max(0.0, (within * n * (k - 1) - judges * (k - 1)) / ((n - 1) * (k - 1)))
    found = {
        "1,1": (targets - within) / (targets + (k - 1) * within),
        "2,1": (targets - error) / (targets + (k - 1) * error + k * (judges - error) / n),
        "3,1": (targets - error) / (targets + (k - 1) * error),
        "1,k": (targets - within) / targets if targets else np.nan,
        "2,k": (targets - error) / (targets + (judges - error) / n),
        "3,k": (targets - error) / targets if targets else np.nan,
    }
    return {**{name: float(value) for name, value in found.items()}, **_icc_limits(targets, judges, error, n, k, found)}


def _icc_limits(
    targets: float, judges: float, error: float, n: int, k: int, found: dict[str, float]
) -> dict[str, float]:
    from scipy.special import fdtri

    if not error > 0:
        return {"low": np.nan, "high": np.nan}
    value, ratio = found["2,1"], judges / error
    top = (k - 1) * (n - 1) * (k * value * ratio + n * (1 + (k - 1) * value) - k * value) ** 2
    bottom = (n - 1) * k**2 * value**2 * ratio**2 + (n * (1 + (k - 1) * value) - k * value) ** 2
    df = top / bottom
    low, high = fdtri(n - 1, df, 0.975), fdtri(df, n - 1, 0.975)
    rest = k * judges + (k * n - k - n) * error
    return {
        "low": float(n * (targets - low * error) / (low * rest + n * targets)),
        "high": float(n * (high * targets - error) / (rest + n * high * targets)),
    }


def limits_over_sessions(apart: Floats) -> dict[str, float]:
    """Return the mean difference and its 95 % limits of agreement (Bland & Altman 1986) with their own 95 % limits:
    difference, low, high, low_from, low_to, high_from, high_to, and those of the mean (Student's t): difference_from,
    difference_to.

    The limits of the limits are exact for normal differences, by the noncentral t (Carkeet 2015, Optom. Vis. Sci.
    92:e71, from memory); those of Bland & Altman 1999, from a standard error, hold in 92 to 94 of 100.
    """
    from scipy.special import nctdtrit

    ends = ("low_from", "low_to", "high_from", "high_to", "difference_from", "difference_to")
    names = ("difference", "low", "high", *ends)
    n = len(apart)
    mean, low, high = limits_of_agreement(apart)
    if n < LIMITS_LEAST or np.isnan(low):
        return dict.fromkeys(names, np.nan) | {"difference": mean}
    spread = float(apart.std(ddof=1))
    near, far = (float(nctdtrit(n - 1, 1.96 * np.sqrt(n), share)) * spread / np.sqrt(n) for share in (0.025, 0.975))
    off = t_quantile(0.975, n - 1) * spread / np.sqrt(n)
    found = mean, low, high, mean - far, mean - near, mean + near, mean + far, mean - off, mean + off
    return dict(zip(names, found, strict=True))


def _session(pair: tuple[Season, Season], found: Agreement) -> dict[str, object]:
    first, second = (one.sessions.iloc[0] for one in pair)
    said = {"session": str(first["session"]), "began": first["began"]}
    said |= {"utc_offset_min": int(first.get("utc_offset_min", 0))}
    said |= {"first": str(first["observer"]), "second": str(second["observer"])}
    measured = ("matched", "agreed", "kappa", "shift_s", "watched_s")
    return said | {name: getattr(found, name) for name in measured}


def _behaviours(pairs: Sequence[tuple[Season, Season]]) -> pd.DataFrame:
    rows: dict[str, dict[str, object]] = {}
    totals = [[_totals(one) for one in pair] for pair in pairs]
    for name in sorted({name for pair in totals for one in pair for name in one}):
        both = np.array([[one.get(name, ("", 0.0))[1] for one in pair] for pair in totals])
        what = next(one[name][0] for pair in totals for one in pair if name in one)
        found = icc(both)
        row = {"what": what, "sessions": len(both), **limits_over_sessions(both[:, 1] - both[:, 0])}
        row |= {"icc": found["2,1"], "icc_low": found["low"], "icc_high": found["high"]}
        if len(both) < LIMITS_LEAST or (both == 0).all(axis=1).mean() > NEITHER_MOST:
            row |= dict.fromkeys(("low_from", "low_to", "high_from", "high_to", "icc_low", "icc_high"), np.nan)
        rows[name] = row
    table = pd.DataFrame.from_dict(rows, orient="index")
    table.index.name = "behaviour"
    return table


def _totals(season: Season) -> dict[str, tuple[str, float]]:
    """Return for each behaviour its seconds in all, or its count where it is an event."""
    out: dict[str, tuple[str, float]] = {}
    for (name, kind), own in season.bouts.groupby(["behaviour", "kind"], observed=True):
        state = kind == "state"
        out[str(name)] = ("seconds", float(own["duration_s"].sum())) if state else ("count", float(len(own)))
    return out


def kappa_limits(tables: list[Floats]) -> tuple[float, float, float]:
    """Return kappa of all sessions' units together, with 95 % limits by leaving each session out in turn, on the scale
    of log(1 - kappa): on kappa's own they hold in as few as 90 of 100. NaN where one session has all that differs."""
    total, n = np.sum(tables, axis=0), len(tables)
    pooled = kappa_of(total)
    if n < LIMITS_LEAST or np.isnan(pooled):
        return pooled, np.nan, np.nan
    with np.errstate(divide="ignore", invalid="ignore"):
        log, logs = np.log(1 - pooled), np.log(1 - np.array([kappa_of(total - own) for own in tables]))
        pseudo = n * log - (n - 1) * logs
        half = t_quantile(0.975, n - 1) * float(pseudo.std(ddof=1)) / np.sqrt(n)
    if not (np.isfinite(pseudo).all() and half > 0):
        return pooled, np.nan, np.nan
    return pooled, 1 - float(np.exp(log + half)), 1 - float(np.exp(log - half))


def _sentence(sessions: pd.DataFrame, pooled: float, low: float, high: float, criterion: float | None) -> str:
    n = len(sessions)
    said = f"{many(n, 'session')} with a second record. Kappa over all their time: "
    said += "not defined." if np.isnan(pooled) else f"{pooled:.3f}."
    if not np.isnan(low):
        said += f" Its 95 % limits, by sessions: {low:.3f} to {high:.3f}."
    elif n < LIMITS_LEAST:
        said += f" No limits: they need {LIMITS_LEAST} sessions."
    if criterion is not None:
        under = int((sessions["kappa"] < criterion).sum())
        said += f" {under} of {n} do not reach {criterion:g}."
    return said
