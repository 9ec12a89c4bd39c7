"""How soon it came, for a keeper: in the sessions as they are, and between groups."""

import math

import pandas as pd

from etholog.analysis.compare import Comparison
from etholog.analysis.design import how_many
from etholog.analysis.permutation import ALPHA
from etholog.analysis.sentences.parts import ONE_GROUP, capital, chance, least_to_most
from etholog.analysis.survival import kaplan_meier, quantile
from etholog.base.language import gettext, gettext_noop, ngettext
from etholog.session.summary import seconds

LEAST = 4  # sessions from which on half of them are spoken of
NAMED_AT_MOST = 8  # groups named one by one; of more, the quickest and the slowest

NO_RISK = gettext_noop("{label}: No session at risk, as none came to where this time begins.")
NONE = gettext_noop("{label}: it came in none of {sessions}.")
HALF = gettext_noop("{label}: it came in {came} of {sessions}, in half of all within {median}.")
FEW = gettext_noop("{label}: it came in {came} of {sessions}, too few to say by when it comes in half of all.")
RESTS = gettext_noop(
    "A session without it counts for as long as somebody watched. They are {males} and {females}; others may differ."
)

TIMES = "{label}: in half of the sessions it came within: {times} (in brackets: in how many it came)."
ENDS = (
    "{label}, {groups} groups: half of the sessions of {quickest} had it within {soonest}, those of {slowest} within"
    " {latest}."
)
NO_HALF = "It came in fewer than half of the sessions watched so long: {names}."
NO_TIME = "{label}: in no group did it come in half of the sessions."
PAIR = "Each two tested by themselves, these differ: {pairs}."


def of_sessions(times: pd.DataFrame) -> list[str]:
    """Return how soon it came over all sessions."""
    label, count, came = times.attrs["label"], len(times), int(times["occurred"].sum())
    sessions = ngettext("{n} session", "{n} sessions", count)
    if not count:
        return [gettext(NO_RISK, label=capital(label))]
    if not came:
        return [gettext(NONE, label=capital(label), sessions=sessions)]
    median = quantile(kaplan_meier(times["latency_s"].to_numpy(dtype=float), times["occurred"].to_numpy(dtype=bool)))[0]
    said = FEW if math.isnan(median) or count < LEAST else HALF
    first = gettext(
        said, label=capital(label), came=came, sessions=sessions, median=seconds(median) if median == median else ""
    )
    males = ngettext("{n} male", "{n} males", how_many(times["male"]))
    females = ngettext("{n} female", "{n} females", how_many(times["female"]))
    return [first, gettext(RESTS, males=males, females=females)]


def of_groups(found: Comparison, label: str) -> list[str]:
    """Return how soon it came in each group, and whether the difference may be chance."""
    if not len(found.table):
        return [found.sentence]
    return [*_times(found.table, capital(label)), *_chance(found)]


def _times(groups: pd.DataFrame, label: str) -> list[str]:
    reached = groups[groups["median_s"].notna()].sort_values("median_s", kind="stable")
    without = [
        f"{name} ({row['occurred']} of {row['n']})" for name, row in groups[groups["median_s"].isna()].iterrows()
    ]
    if not len(reached):
        return [NO_TIME.format(label=label)]
    if len(groups) > NAMED_AT_MOST:
        ends = reached.iloc[[0, -1]]
        said = ENDS.format(
            label=label, groups=len(groups), quickest=ends.index[0], soonest=seconds(ends["median_s"].iloc[0]),
            slowest=ends.index[1], latest=seconds(ends["median_s"].iloc[1]),
        )  # fmt: skip
        return [said]
    times = [f"{name} {seconds(row['median_s'])} ({row['occurred']} of {row['n']})" for name, row in reached.iterrows()]
    said = TIMES.format(label=label, times=", ".join(times))
    return [said, NO_HALF.format(names=", ".join(without))] if without else [said]


def _chance(found: Comparison) -> list[str]:
    if len(found.table) < 2:
        return [ONE_GROUP]
    sessions = least_to_most(int(found.table["n"].min()), int(found.table["n"].max()), "session")
    p = found.permutation_p
    said = [chance(p, found.smallest_p, sessions)]
    apart = found.pairs[found.pairs["p_holm"] <= ALPHA] if len(found.pairs) else found.pairs
    if p <= ALPHA and len(apart):
        said.append(
            PAIR.format(pairs=", ".join(f"{a} and {b}" for a, b in zip(apart["first"], apart["second"], strict=True)))
        )
    return said
