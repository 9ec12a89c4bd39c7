"""In short: what happened, in three figures and a few sentences that fit one screen."""

from collections.abc import Iterator, Sequence
from datetime import date

import pandas as pd

from etholog.analysis.sentences import duration as of_durations
from etholog.analysis.sentences import latency as of_latencies
from etholog.analysis.sentences import outcome as of_outcomes
from etholog.analysis.sentences.parts import capital
from etholog.base.language import gettext, ngettext, number
from etholog.report.content import Summary
from etholog.report.measured import Measured
from etholog.season import Season
from etholog.session import Session
from etholog.session.evidence import Evidence, evidence
from etholog.session.summary import span

LATENCIES = 2  # of the ethogram's named times: more fit no screen


def of_season(
    season: Season, measured: Measured, read: Sequence[Session], attempts: pd.DataFrame, today: date | None
) -> Summary:
    """Return the summary of a season; `attempts`: its `outcomes` on that day, empty where nobody asked for them."""
    rungs = [evidence(one.ethogram, one.fold.bouts) for one in read]
    watched = span(1000 * float(season.sessions["watched_s"].sum()))
    known = [rung for rung in rungs if rung.known]
    seen = sum(rung >= Evidence.INSERTION for rung in known)
    figures = [
        (number(len(season.sessions), ","), gettext("sessions, {watched} watched", watched=watched)),
        (gettext("{count} of {all}", count=seen, all=len(known)), gettext("sessions with an insertion seen")),
    ]
    said = []
    taken = attempts[attempts["may_have_taken"]] if len(attempts) else attempts
    if len(taken) and today:
        waiting = int(((taken["end"] == "open") & ~taken["left"]).sum())
        sacs = int((taken["end"] == "sac").sum())
        told = gettext("attempts gave a sac")
        if waiting:
            told = ngettext("attempts gave a sac, {n} still waits", "attempts gave a sac, {n} still wait", waiting)
        figures.append((gettext("{count} of {all}", count=sacs, all=len(taken)), told))
        said += [of_outcomes.answer(attempts, today), gettext(of_outcomes.UNPROVEN)]
    else:
        figures.append(_clasped(known))
    said += [of_latencies.of_sessions(times)[0] for times in list(measured.latencies.values())[:LATENCIES]]
    if len(measured.durations):
        said += of_durations.of_season(season, measured.durations, None, season.labels)[:1]
    return Summary(figures, said)


def of_session(one: Session, watched_s: float, lines: list[str]) -> Summary:
    """Return the summary of a single session; `lines`: those of its `summary`."""
    codes = one.ethogram.codes_of("insertion")
    insertions = [bout for bout in one.fold.bouts if bout.code in codes]
    seconds = sum(bout.offset - bout.onset for bout in insertions)
    figures = [(span(1000 * watched_s), ngettext("watched, {n} mark", "watched, {n} marks", one.fold.marks))]
    if codes:
        what = gettext("insertions seen")
        if insertions:
            length = span(seconds)
            what = ngettext("insertion, {span}", "insertions, {span}", len(insertions), span=length)
        figures.append((str(len(insertions)), what))
    figures += _struck(one)
    return Summary(figures, list(_told(lines)))


def _struck(one: Session) -> Iterator[tuple[str, str]]:
    codes = one.ethogram.codes_of("strike")
    if codes:
        count = sum(bout.code in codes for bout in one.fold.bouts)
        yield str(count), ngettext("strike or lunge by her", "strikes or lunges by her", count)


def _clasped(known: list[Evidence]) -> tuple[str, str]:
    clasped = sum(rung >= Evidence.CLASP for rung in known)
    return gettext("{count} of {all}", count=clasped, all=len(known)), gettext("sessions with a clasp or more")


def _told(lines: list[str]) -> Iterator[str]:
    for line in lines:
        if not line.startswith("?"):
            yield capital(line) + ("" if line.endswith((".", "?")) else ".")
