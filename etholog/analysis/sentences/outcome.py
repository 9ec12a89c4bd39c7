"""What came of the pairings, for a keeper."""

from datetime import date

import pandas as pd

from etholog.base.language import gettext, gettext_noop, ngettext, ngettext_noop, number
from etholog.base.text import percent

NONE = gettext_noop("No pairing is known in which sperm may have been transferred.")
TAKEN = gettext_noop("Of {attempts} in which sperm may have been transferred, {ends}. As known on {today}.")
ENDS = {
    "sac": ngettext_noop("{n} gave a sac", "{n} gave a sac"),
    "moult": ngettext_noop("{n} ended with her moult", "{n} ended with her moult"),
    "died": ngettext_noop("{n} ended with her death", "{n} ended with her death"),
    "left": ngettext_noop("{n} open when she was sold or given away", "{n} open when she was sold or given away"),
    "open": ngettext_noop("{n} still waits", "{n} still wait"),
}
BY_DAY = (
    "By day {day} after the pairing about {share} have a sac, those that wait counted for as long as they have waited;"
    " with so few, the true share may be anything from {low} to {high} (95 %)."
)
BY_DAY_BARE = "They are too few to say what share of others would have a sac by day {day} after the pairing."
BY_THEN = gettext_noop("{reached} of the {sacs} sacs had come by day {day}; the share counts these alone.")
BY_DAY_NONE = "By day {day} after the pairing none has a sac yet."
UNPROVEN = gettext_noop("A sac does not prove a transfer, and its absence does not rule one out.")


def answer(attempts: pd.DataFrame, today: date) -> str:
    """Return how the attempts in which sperm may have been transferred ended, in one sentence."""
    taken = attempts[attempts["may_have_taken"]]
    if not len(taken):
        return gettext(NONE)
    ways = taken["end"].mask(taken["left"], "left").value_counts()
    told = [ngettext(*words, count) for end, words in ENDS.items() if (count := int(ways.get(end, 0)))]
    return gettext(
        TAKEN,
        attempts=ngettext("{n} attempt", "{n} attempts", len(taken)),
        ends=", ".join(told),
        today=today.isoformat(),
    )


def of_season(attempts: pd.DataFrame, steps: pd.DataFrame, today: date) -> list[str]:
    """Return how the attempts ended, and by when a sac may come. `steps`: as `funnel` returns them."""
    said = [answer(attempts, today)]
    if said[0] == gettext(NONE):
        return said
    sac = steps[steps["step"] == "sac"].iloc[0]
    if sac["share"] == sac["share"] and sac["day"] == sac["day"]:
        if sac["low"] == sac["low"] and sac["high"] == sac["high"]:
            told = BY_DAY.format(
                day=f"{sac['day']:.0f}", share=percent(sac["share"]), low=percent(sac["low"]), high=percent(sac["high"])
            )
        elif not sac["share"]:
            told = BY_DAY_NONE.format(day=f"{sac['day']:.0f}")
        else:
            told = BY_DAY_BARE.format(day=f"{sac['day']:.0f}")
        said.append(told)
    return [*said, *by_then(attempts, steps), gettext(UNPROVEN)]


def by_then(attempts: pd.DataFrame, steps: pd.DataFrame) -> list[str]:
    """Return how many of the sacs had come by the day of the funnel's share, where some came later, or on a day that
    nobody can count from a pairing."""
    sacs = int((attempts["may_have_taken"] & attempts["end"].eq("sac")).sum())
    sac = steps[steps["step"] == "sac"].iloc[0]
    if not 0 < sac["reached"] < sacs:
        return []
    return [gettext(BY_THEN, sacs=sacs, reached=int(sac["reached"]), day=number(sac["day"], ",.0f"))]
