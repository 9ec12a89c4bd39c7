"""What they did: insertions by palp, the time budget, what follows what."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

import pandas as pd

from etholog.analysis.design import how_many
from etholog.analysis.duration import duration
from etholog.analysis.latency import of_role
from etholog.analysis.sentences.duration import with_side
from etholog.analysis.sentences.parts import capital
from etholog.analysis.sentences.transition import NONE, OFTEN, SHOWN
from etholog.analysis.transition import Transitions, transition
from etholog.base.language import gettext, gettext_noop, ngettext
from etholog.base.text import in_words, percent
from etholog.report import drawing
from etholog.report.content import Section, table
from etholog.report.fewer import evenly, most_males
from etholog.report.measured import Measured
from etholog.report.svg import Drawings
from etholog.season import Season
from etholog.session.summary import span

PALPS = gettext_noop(
    "Insertions from the first one on, his left palp above the line and his right below. Hollow: unsure."
)
ACTORS = {
    "male": gettext_noop("male"),
    "female": gettext_noop("female"),
    "pair": gettext_noop("pair"),
    "keeper": gettext_noop("keeper"),
}
BUDGET = gettext_noop(
    "Percent of the time watched in each state. Orange, hatched: she; blue: he; green, crossed: both."
)
FEWEST_ARROWS = 2  # the table says as much as a diagram of fewer
FLOW = gettext_noop(
    "What follows what, behaviours in the order of a pairing's stages. Circles: the"
    " larger, the more of the time. Arcs, down on the right and up on the left, and"
    " framed cells: what comes more often than chance and holds after Holm's correction;"
    " the thicker, the more often the one is followed by the other. Cells: that share, of"
    " all that came."
)
HEAT = gettext_noop(
    "First behaviours down, next ones across, in the order of a pairing's stages, numbers"
    " counted. Orange: more often than chance, purple: less often, grey: no more than chance"
    " does (an adjusted residual under 2). Bold: a positive residual. A star: p < 0.05 after"
    " Holm with an expected count of 5 or more. Hatched: can't be."
)


def palps(season: Season, drawings: Drawings) -> Iterator[Section]:
    """Yield the section on insertions by palp, where there was one."""
    bouts = season.bouts[of_role(season.bouts, "insertion")]
    if not len(bouts):
        return
    side = bouts["qualifier"].astype(object).fillna("side unknown")
    told = [
        ngettext(
            "{side}: {n} insertion, {span}",
            "{side}: {n} insertions, {span}",
            len(own),
            side=gettext(str(name)),
            span=span(1000 * own["duration_s"].sum()),
        )
        for name, own in sorted(bouts.groupby(side), key=lambda item: str(item[0]))
    ]
    rows = bouts.groupby(["session", "male", "female"], observed=True)
    frame = rows.size().rename("insertions").reset_index()
    for name in ("left", "right"):
        own = bouts[side == name].groupby("session", observed=True)["duration_s"].agg(["size", "sum"])
        keyed = own.reindex(frame["session"]).reset_index(drop=True)
        frame[f"{name}_n"], frame[f"{name}_s"] = keyed["size"].fillna(0).astype(int), keyed["sum"].fillna(0.0)
    frame["session"] = frame["session"].astype(str)
    heads = {
        "male": gettext_noop("male"),
        "female": gettext_noop("female"),
        "left_n": gettext_noop("left, number"),
        "left_s": gettext_noop("left, s"),
        "right_n": gettext_noop("right, number"),
        "right_s": gettext_noop("right, s"),
        "session": gettext_noop("session"),
    }
    question = gettext("Which palp, how often and for how long?")
    own, fewer = evenly(
        season.sessions[season.sessions["session"].isin(bouts["session"])], gettext("first to the last")
    )
    drawn = replace(season, sessions=own, bouts=season.bouts[season.bouts["session"].isin(own["session"])])
    yield Section(
        "palps",
        question,
        capital("; ".join(told)) + ".",
        [drawings.picture(partial(drawing.palps, drawn), gettext(PALPS) + fewer, question)],
        [table(frame, gettext("Insertions by session."), heads, rest="etholog export")],
        gettext("Sums of the recorded bouts, unsure ones included."),
        gettext("Altmann 1974, continuous recording."),
        list(_palp_limits(season, bouts)),
        gettext(
            "Whether sperm was transferred: an insertion that was seen is evidence, a sac is"
            " better, what hatches is best."
        ),
    )


def _palp_limits(season: Season, bouts: pd.DataFrame) -> Iterator[str]:
    if not bouts["whole"].all():
        yield ngettext(
            "{n} was cut short by the end of the watching or a gap.",
            "{n} were cut short by the end of the watching or a gap.",
            int((~bouts["whole"]).sum()),
        )
    for kept in season.ethograms.values():
        if missing := kept.missing("insertion"):
            yield gettext("Sessions of one ethogram are left out: {missing}.", missing=missing)


def budget(season: Season, measured: Measured, drawings: Drawings) -> Iterator[Section]:
    """Yield the section on the time budget, where any state was recorded."""
    apart = len(season.sessions) > 1 and how_many(season.sessions["male"]) > 0
    durations = measured.durations
    states = durations[durations["kind"] == "state"]
    if not len(states):
        return
    named = season.labels
    longest = states.sort_values("share", ascending=False).head(3)
    told = ", ".join(f"{with_side(row, named)} {percent(row['share'])}" for row in longest.to_dict("records"))
    watched = span(1000 * float(season.sessions["watched_s"].sum()))
    by = duration(season, by="male") if apart else durations
    shown = by.assign(
        label=[in_words(code, named) for code in by["behaviour"]],
        actor=[gettext(ACTORS[str(actor)]) for actor in by["actor"]],
        qualifier=[gettext(str(side)) if side == side and side else side for side in by["qualifier"]],
    )
    by_male = " --by male" if apart else ""
    heads = {"male": gettext_noop("male")} if apart else {}
    heads |= {
        "label": gettext_noop("behaviour"),
        "actor": gettext_noop("actor"),
        "qualifier": gettext_noop("qualifier"),
        "sessions": gettext_noop("sessions"),
        "count": gettext_noop("number"),
        "cut": gettext_noop("cut short"),
        "total_s": gettext_noop("in all, s"),
        "share": gettext_noop("share of time"),
        "median_s": gettext_noop("median of one, s"),
        "per_hour": gettext_noop("per hour"),
    }
    question = gettext("What did the time go to?")
    panels, fewer = most_males(by, season.sessions["male"]) if apart else (by, "")
    draw = partial(drawing.time_shares, panels, by="male" if apart else None, named=named)
    yield Section(
        "budget",
        question,
        gettext("Of {watched} watched: {told}.", watched=watched, told=told),
        [drawings.picture(draw, gettext(BUDGET) + fewer, question)],
        [
            table(
                shown,
                gettext("Durations and rates, by male.") if apart else gettext("Durations and rates."),
                heads,
                rest=f"etholog duration{by_male}",
            )
        ],
        gettext(
            "Shares of the time watched, gaps left out. Medians count bouts that were cut short"
            " as censored. Rates per hour in which the animal was watched and in sight. One male"
            " has no limits: they rest on several males."
        ),
        "Altmann 1974; Kaplan & Meier 1958.",
        [gettext("Behaviours of different animals run at once, so the shares need not add up to 100 %.")],
        gettext("What they did where nobody could see them."),
    )


def transitions(season: Season, measured: Measured, drawings: Drawings) -> Iterator[Section]:
    """Yield the section on transitions, where anything followed anything."""
    found = transition(season)
    long = found.long()
    if not len(long):
        return
    named, stages = season.labels, season.stages
    question = gettext("What follows what?")
    drawn = partial(drawing.transitions, found, named, stages=stages)
    pictures = [drawings.picture(drawn, gettext(HEAT), question)]
    if len(found.holding) >= FEWEST_ARROWS:
        drawn = partial(drawing.flow, found, measured.durations, named, stages=stages)
        pictures.insert(0, drawings.picture(drawn, gettext(FLOW), question + " " + gettext("As a diagram.")))
    shown = long.assign(**{name: [in_words(code, named) for code in long[name]] for name in ("first", "next")})
    heads = {
        "first": gettext_noop("first"),
        "next": gettext_noop("next"),
        "count": gettext_noop("number"),
        "probability": gettext_noop("share of what follows"),
        "expected": gettext_noop("expected by chance"),
        "residual": gettext_noop("adjusted residual"),
        "p_holm": gettext_noop("p after Holm"),
    }
    yield Section(
        "transitions",
        question,
        _transition_answer(found, shown),
        pictures,
        [table(shown, gettext("Every transition that was seen."), heads, rest="etholog transition --more")],
        gettext(
            "Onset to next onset within a session; sequences break at gaps and where an animal"
            " goes out of sight; a behaviour does not follow itself. Expected counts by"
            " quasi-independence."
        ),
        "Goodman 1968; Haberman 1973; Bakeman & Quera 2011; Holm 1979.",
        [found.sentence],
        gettext("That the one causes the other."),
    )


def _transition_answer(found: Transitions, long: pd.DataFrame) -> str:
    """Return what surely comes more often than chance, as `etholog transition` has it. `long`: its rows, in words."""
    codes = found.long()
    sure = [bool(found.certain.at[first, after]) for first, after in zip(codes["first"], codes["next"], strict=True)]
    often = long[pd.Series(sure, index=long.index) & (long["residual"] > 0)].head(SHOWN)
    if not len(often):
        return gettext(NONE)
    told = [
        gettext(
            "{next} after {first} ({count} times, {share} of what followed)",
            next=row["next"],
            first=row["first"],
            count=int(row["count"]),
            share=percent(row["probability"]),
        )
        for row in often.to_dict("records")
    ]
    return gettext(OFTEN, pairs="; ".join(told))
