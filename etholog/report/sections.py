"""The questions of the job, in the order in which the page asks them."""

from collections.abc import Iterator
from itertools import chain
from typing import Any

from etholog.base.language import gettext, gettext_noop, ngettext
from etholog.report.behaviour import budget, palps, transitions
from etholog.report.content import Cell, Section, table
from etholog.report.latencies import latencies, soon
from etholog.report.measured import Measured
from etholog.report.svg import Drawings
from etholog.season import Season, began_there
from etholog.session.summary import span


def sections(season: Season, measured: Measured, drawings: Drawings) -> Iterator[Section]:
    """Return what can be asked of these sessions; a question that they hold nothing on is left out.

    All that other processes do is begun when this returns; whoever goes through the sections waits for it.
    """
    first = latencies(season, measured, drawings) if len(season.sessions) > 1 else soon(season, measured)
    others = [
        *palps(season, drawings),
        *budget(season, measured, drawings),
        *transitions(season, measured, drawings),
        _watched(season),
    ]
    return chain(first, others)


def _watched(season: Season) -> Section:
    rows = season.sessions
    # As the clock there showed it, sorted by the instant: an hour of the clock may come twice.
    began: list[Any] = [
        Cell(f"{there:%Y-%m-%d %H:%M}", f"{at.timestamp():015.3f}")
        for there, at in zip(began_there(rows), rows["began"], strict=True)
    ]
    unsure = season.bouts[~season.bouts["confident"]].groupby("session", observed=False).size()
    frame = rows.assign(
        session=rows["session"].astype(str),
        began=began,
        unwatched_s=rows["length_s"] - rows["watched_s"],
        unsure=unsure.reindex(rows["session"]).fillna(0).astype(int).to_numpy(),
    )
    heads = {
        "began": gettext_noop("began"),
        "male": gettext_noop("male"),
        "female": gettext_noop("female"),
        "species": gettext_noop("species"),
        "observer": gettext_noop("observer"),
        "length_s": gettext_noop("length, s"),
        "unwatched_s": gettext_noop("not watched, s"),
        "out_of_sight_s": gettext_noop("out of sight, s"),
        "marks": gettext_noop("marks"),
        "unsure": gettext_noop("unsure"),
        "closed": gettext_noop("ended in order"),
    }
    lost = float(frame["unwatched_s"].sum())
    one = len(rows) == 1
    said = gettext(
        "{sessions}, {length} in all, {lost} of it not watched; an animal was out of sight for {hidden}; {marks}.",
        sessions=gettext("One session") if one else ngettext("{n} session", "{n} sessions", len(rows)),
        length=span(1000 * float(rows["length_s"].sum())),
        lost=span(1000 * lost) if lost else gettext("none"),
        hidden=span(1000 * float(rows["out_of_sight_s"].sum())),
        marks=ngettext("{n} mark", "{n} marks", int(rows["marks"].sum())),
    )
    return Section(
        "watching",
        gettext("How well was it watched?"),
        said,
        tables=[
            table(frame, gettext("The session.") if one else gettext("Every session."), heads, rest="etholog export")
        ],
        method=gettext("Counted from the records; gaps are the times that the observer said nobody was watching."),
        source="Altmann 1974.",
        unsaid=gettext("What a second observer would have marked, unless one did (etholog agree)."),
    )
