"""What the time went to, for a keeper."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from etholog.analysis.contrast import Contrast
from etholog.analysis.design import how_many, named_rows
from etholog.analysis.duration import asked_of
from etholog.analysis.sentences.parts import ONE_GROUP, capital, chance, least_to_most
from etholog.base.language import gettext, gettext_noop, ngettext
from etholog.base.text import in_words, many, percent
from etholog.season import Season
from etholog.session.summary import seconds

LONGEST = 3

MOST = gettext_noop("Of {watched} watched in {sessions}, most went to: {states}.")
EVENTS = gettext_noop("No state with a length was recorded in {sessions}.")
RESTS = gettext_noop(
    "They are {males} and {females}. In brackets: from where to where the share of such animals may lie (95 % limits)."
)
BARE = gettext_noop(
    "They are {males} and {females}: too few to say how near these shares are to those of other animals."
)
APART = "{label}: from {low} of the time ({least}) to {high} ({most}), with {sessions} each."
WHETHER = " Whether that is more than chance: etholog duration --compare share --of {code} --by {by}"

GROUPS = "{label}: from {low} in {least} to {high} in {most} ({what})."
MEASURES = {
    "rate": "{:.1f} per hour", "share": "{} of the time", "bout": "{:.1f} s", "count": "{:.1f} a session",
}  # fmt: skip
WHAT = {"rate": "while in sight", "share": "of the time watched", "bout": "the mean bout", "count": "bouts or events"}
BALANCE = (
    "Of {count} the left palp made {left}, the right palp {right}. After one of them the next was with the other palp"
    " {turns} of {pairs} times; in any order it would be about {chance:.0f}."
)
NO_INSERTION = "No insertion with a known palp was recorded."
NOTHING = "{label}: fewer than two groups have it, so there is nothing to compare."
NEVER = "{label}: it never came, so there is nothing to compare."


def of_contrast(found: Contrast, label: str) -> list[str]:
    """Return where it is most and least, and whether the difference may be chance."""
    groups = found.table[found.table["value"].notna()]
    if len(groups) < 2:
        return [NOTHING.format(label=capital(label))]
    if not groups["above"].any():
        return [NEVER.format(label=capital(label))]
    ordered = groups["value"].sort_values(kind="stable")
    (low, least), (high, most) = ((name, float(ordered[name])) for name in (ordered.index[0], ordered.index[-1]))
    low_shown, high_shown = (
        MEASURES[found.measure].format(percent(value) if found.measure == "share" else value) for value in (least, most)
    )
    sessions = least_to_most(int(groups["sessions"].min()), int(groups["sessions"].max()), "session")
    first = GROUPS.format(
        label=capital(label), low=low_shown, least=low, high=high_shown, most=high,
        what=WHAT[found.measure],
    )  # fmt: skip
    return [first, chance(found.p, found.smallest_p, sessions)]


def of_balance(found: pd.DataFrame) -> list[str]:
    """Return how many insertions were with each palp, and how often he took turns. `found`: as `palp_balance` returns
    it."""
    left, right, turns, pairs = (int(found[name].sum()) for name in ("left", "right", "turns", "pairs"))
    if not left + right:
        return [NO_INSERTION]
    by_chance = float((found["chance"] * found["pairs"]).sum())
    count = many(left + right, "insertion")
    said = BALANCE.format(count=count, left=left, right=right, turns=turns, pairs=pairs, chance=by_chance)
    return [said if pairs else said.partition(". ")[0] + "."]


def of_season(season: Season, found: pd.DataFrame, by: str | None, labels: Mapping[str, str]) -> list[str]:
    """Return what most of the time went to; with `by`, in which group the first of these took most and least.

    `found`: as `duration` returns it for `by`. `labels`: what each behaviour is called.
    """
    sessions = season.sessions
    count = ngettext("{n} session", "{n} sessions", len(sessions))
    states = found[found["kind"] == "state"]
    if not len(states):
        return [gettext(EVENTS, sessions=count)]
    males = ngettext("{n} male", "{n} males", how_many(sessions["male"]))
    females = ngettext("{n} female", "{n} females", how_many(sessions["female"]))
    if by is not None:
        return _apart(season, states, by, labels)
    longest = states.sort_values("share", ascending=False, kind="stable").head(LONGEST)
    said = ", ".join(_share(row, labels) for row in longest.to_dict("records"))
    bare = longest["share_low"].isna().all()
    return [
        gettext(MOST, watched=seconds(float(sessions["watched_s"].sum())), sessions=count, states=said),
        gettext(BARE if bare else RESTS, males=males, females=females),
    ]


def _apart(season: Season, states: pd.DataFrame, by: str, labels: Mapping[str, str]) -> list[str]:
    code = states.groupby("behaviour", observed=True)["total_s"].sum().sort_values().index[-1]
    counts = named_rows(season.sessions[asked_of(season, str(code))], by)[by].value_counts()
    counts = counts[counts > 0]
    if len(counts) < 2:
        return [ONE_GROUP] * len(counts)
    own = (
        states[states["behaviour"] == code]
        .groupby(by, observed=True)["share"]
        .sum()
        .reindex(counts.index, fill_value=0.0)
    )
    low, high = own.idxmin(), own.idxmax()
    said = APART if counts.max() == 1 else APART + WHETHER  # sessions one by one have nothing to be compared by
    return [
        said.format(
            label=capital(labels.get(str(code), str(code))), low=percent(own[low]), least=low, high=percent(own[high]),
            most=high, sessions=least_to_most(int(counts.min()), int(counts.max()), "session"), code=code, by=by,
        )
    ]  # fmt: skip


def _share(row: Mapping[Any, Any], labels: Mapping[str, str]) -> str:
    share, low, high = (row[name] for name in ("share", "share_low", "share_high"))
    limits = "" if low != low else " " + gettext("({low} to {high})", low=percent(low), high=percent(high))
    return f"{with_side(row, labels)} {percent(share)}{limits}"


def with_side(row: Mapping[Any, Any], labels: Mapping[str, str]) -> str:
    """Return what the behaviour of a row of `duration` is called, with its side: there is a row for each."""
    code, side = row["behaviour"], row["qualifier"]
    return in_words(f"{code}:{side}" if isinstance(side, str) and side else str(code), labels)
