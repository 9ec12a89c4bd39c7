"""The order of sessions: the how manieth of the male and of the pair, and how long after his last."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.base.language import gettext, gettext_noop, number

COLUMNS = {
    "male_session": gettext_noop(
        "The groups differ in which session of his it was (on average {least}, {most}): a difference may be one of"
        " order."
    ),
    "pair_session": gettext_noop(
        "The groups differ in which session of this pair it was (on average {least}, {most}): a difference may be one"
        " of order."
    ),
    "male_days_since_session": gettext_noop(
        "The groups differ in the days since his last session (on average {least}, {most}): a difference may be one"
        " of order."
    ),
}
CONFOUNDED = 0.25  # share of the variance that lies between groups (a judgement)


def order(sessions: pd.DataFrame) -> pd.DataFrame:
    """Return for each session, of all in the season: male_session and pair_session (1, 2, ...), and
    male_days_since_session (missing for his first). Missing where it is not said when
    a session was or who was in it."""
    if not {"began", "male", "female"} <= set(sessions.columns):
        return pd.DataFrame(np.nan, index=sessions.index, columns=list(COLUMNS))
    began = sessions["began"].to_numpy(dtype="datetime64[us]").astype(np.int64)
    male, female = (_numbers(sessions[name]) for name in ("male", "female"))
    pair = np.where((male < 0) | (female < 0), -1, male * (int(female.max(initial=0)) + 1) + female)
    his, before = _nth(male, began)
    theirs, _ = _nth(pair, began)
    days = (began - before) / 86_400e6
    return pd.DataFrame(
        {"male_session": his, "pair_session": theirs, "male_days_since_session": days}, index=sessions.index
    )


def confounded(times: pd.DataFrame, by: str) -> Iterator[str]:
    """Yield a warning for each column of order in which the groups of `by` differ so much that a difference between
    them may be one of order."""
    for column, sentence in COLUMNS.items():
        if column not in times.columns or column == by:
            continue
        rows = times[[by, column]].dropna()
        groups = rows.groupby(by, observed=True)[column]
        n, k = len(rows), groups.ngroups
        whole = float(((rows[column] - rows[column].mean()) ** 2).sum())
        if k < 2 or n <= k or not whole:
            continue
        inside = float(((rows[column] - groups.transform("mean")) ** 2).sum())
        if 1 - (inside / (n - k)) / (whole / (n - 1)) < CONFOUNDED:
            continue
        means = groups.mean().sort_values().iloc[[0, -1]]
        shown = [number(mean, ".1f") for mean in means]
        if shown[0] == shown[1]:
            continue  # an hour apart, or rounding
        least, most = (
            gettext("{mean} for {group}", mean=mean, group=group)
            for mean, group in zip(shown, means.index, strict=True)
        )
        yield gettext(sentence, least=least, most=most)


def _numbers(column: pd.Series) -> NDArray[np.int64]:
    """Return the animals' numbers; -1 for one without a name."""
    numbers = column.cat.codes.to_numpy().astype(np.int64)
    if "" in column.cat.categories:
        numbers[numbers == column.cat.categories.get_loc("")] = -1
    return numbers


def _nth(of: NDArray[np.int64], at: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return which one of its kind each is in time, and the instant of the one before; missing for kind -1."""
    sequence = np.lexsort((at, of))
    first = np.concatenate([[True], of[sequence][1:] != of[sequence][:-1]])[: len(of)]
    starts = np.flatnonzero(first)
    nth, before = np.empty(len(of)), np.empty(len(of))
    nth[sequence] = np.arange(len(of)) - np.repeat(starts, np.diff(np.append(starts, len(of)))) + 1
    before[sequence] = np.where(first, np.nan, np.concatenate([[0], at[sequence][:-1]])[: len(of)])
    nth[of < 0] = before[of < 0] = np.nan
    return nth, before
