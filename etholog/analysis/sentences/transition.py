"""What follows what, for a keeper."""

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from etholog.analysis import sequence
from etholog.analysis.design import how_many
from etholog.analysis.sentences.parts import capital, chances
from etholog.analysis.transition import Transitions
from etholog.base.language import gettext_noop
from etholog.base.text import many
from etholog.season import Season

SHOWN = 3

NOTHING = "Nothing followed anything: there is nothing to count."
NO_ANSWER = "Nothing was answered within that time."
OFTEN = gettext_noop("More often than chance would have it: {pairs}.")
PAIR = "{next} after {first} ({count} of {of} times; chance: {expected})"
PLAIN = "Most often: {pairs}."
BARE = "{next} after {first} ({count} of {of} times)"
NONE = gettext_noop("No succession surely comes more often than chance would have it.")
RESTS = "They are {sessions} of {males}: what one male often does can pass for a rule; --each male shows each of them."


def of_season(season: Season, found: Transitions, labels: Mapping[str, str]) -> list[str]:
    """Return the successions that come more often than chance, and on how many animals that rests."""
    long = found.long()
    if not len(long):
        return [NOTHING]
    totals = long.groupby("first")["count"].sum()
    often = long[(long["residual"] > 0) & (long["next"] != sequence.NOTHING)]
    sure = [bool(found.certain.at[row["first"], row["next"]]) for row in often.to_dict("records")]
    standing = often[sure].head(SHOWN)
    if len(standing):
        first = OFTEN.format(pairs="; ".join(_pair(PAIR, row, totals, labels) for row in standing.to_dict("records")))
    elif found.p_shuffled is not None or found.p_holm.notna().any(axis=None):
        first = NONE
    else:
        shown = long[long["next"] != sequence.NOTHING].head(SHOWN).to_dict("records")
        if not shown:
            return [NO_ANSWER]
        first = PLAIN.format(pairs="; ".join(_pair(BARE, row, totals, labels) for row in shown))
    sessions = season.sessions
    males = many(how_many(sessions["male"]), "male")
    return [first, RESTS.format(sessions=many(len(sessions), "session"), males=males)]


FOLLOWS = "{next} after {first}: {count} of {of} times; chance: {expected}."
SELDOM = "Shuffled within each session, chance alone gives as much {often} (p = {p:.2g})."


def of_one(one: pd.DataFrame, of: int, p: float, labels: Mapping[str, str]) -> list[str]:
    """Return how often the one succession came that was asked for, and how often chance alone would give as much."""
    if one.empty or math.isnan(p):
        return []
    row = one.iloc[0].to_dict()
    said = _pair(FOLLOWS, row, pd.Series({row["first"]: of}), labels)
    return [capital(said), SELDOM.format(often=chances(p), p=p)]


def _pair(template: str, row: Mapping[Any, Any], totals: pd.Series, labels: Mapping[str, str]) -> str:
    expected = row["expected"]
    return template.format(
        first=labels.get(str(row["first"]), str(row["first"])), next=labels.get(str(row["next"]), str(row["next"])),
        count=row["count"], of=totals[row["first"]],
        expected=f"about {expected:.0f}" if isinstance(expected, float) and expected >= 1 else "less than 1",
    )  # fmt: skip
