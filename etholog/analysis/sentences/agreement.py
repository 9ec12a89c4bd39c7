"""How far two observers agree, for a keeper."""

import math
from collections.abc import Mapping

from etholog.analysis.agreement import Agreement
from etholog.analysis.observers import Observers
from etholog.base.text import in_words, many, percent

NOTHING = "Neither record has an onset that both could have seen: there is nothing to compare."
ONSETS = (
    "Of all that either of the two recorded while both watched, {agreed} was recorded by both within {tolerance:g} s of"
    " each other ({matched})."
)
WORST = "They agree least on: {behaviours}."
ALIKE = "They agree on every onset."
ONE = "It is one session: how well they agree in general takes several (etholog agree FOLDER)."

NO_SESSIONS = "No session here has a second observer's record."
SESSIONS = (
    "In {sessions} with a second record the two recorded the same, per session, in {least} to {most} of all cases."
)
SAME = "In {sessions} with a second record the two recorded the same in {most} of all cases."
RESTS = "Other sessions of these two may lie outside that; the fewer sessions, the farther."
MISSED = "{behaviour} ({matched} of {either})"
NAMED = 3


def of_session(found: Agreement, tolerance_s: float, labels: Mapping[str, str]) -> list[str]:
    """Return how much both recorded, and on what they agree least."""
    if math.isnan(found.agreed):
        return [NOTHING]
    said = [
        ONSETS.format(agreed=percent(found.agreed), tolerance=tolerance_s, matched=many(found.matched, "onset")),
    ]
    rows = found.table[found.table["agreed"] < 1].sort_values("agreed", kind="stable").head(NAMED)
    missed = [
        MISSED.format(
            behaviour=in_words(str(name), labels),
            matched=f"{row['matched']:.0f}",
            either=f"{row['first'] + row['second'] - row['matched']:.0f}",
        )
        for name, row in rows.iterrows()
    ]
    return [*said, WORST.format(behaviours=", ".join(missed)) if missed else ALIKE, ONE]


def of_sessions(found: Observers) -> list[str]:
    """Return how much both recorded in each of several sessions."""
    agreed = found.sessions["agreed"].dropna() if len(found.sessions) else found.sessions.get("agreed")
    if agreed is None or not len(agreed):
        return [NO_SESSIONS]
    said = SAME if agreed.min() == agreed.max() else SESSIONS
    sessions, least, most = many(len(found.sessions), "session"), percent(agreed.min()), percent(agreed.max())
    return [said.format(sessions=sessions, least=least, most=most), RESTS]
