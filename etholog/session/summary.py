"""A session in plain words: what a keeper wants to read when the lid is on again."""

from collections.abc import Iterator

from etholog.base.clock import clock_face
from etholog.base.language import gettext, gettext_noop, ngettext, number
from etholog.base.text import percent
from etholog.session import closing, log
from etholog.session.evidence import OF_A_SESSION, Evidence, evidence
from etholog.session.file import Session
from etholog.session.folding import Bout
from etholog.session.latency import is_named, latency

# What was asked at the end, as the summary says it.
ANSWERS = {
    "ended": gettext_noop("ended"),
    "male_whole": gettext_noop("male whole"),
    "female_after": gettext_noop("female after"),
    "again": gettext_noop("again"),
    "again_when": gettext_noop("again when"),
}


def span(ms: float) -> str:
    """Return a length of time as people say it.

    >>> span(4200), span(75_000), span(3_723_000)
    ('4 s', '1 min 15 s', '1 h 02 min')
    """
    seconds = round(ms / 1000)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        return f"{seconds // 60} min {seconds % 60:02d} s"
    return f"{seconds // 3600} h {seconds % 3600 // 60:02d} min"


def seconds(value: float) -> str:
    """Return a time in seconds as people say it.

    >>> seconds(43.9), seconds(769.1), seconds(0.4)
    ('44 s', '12 min 49 s', '0.4 s')
    """
    return f"{number(value, '.1f')} s" if 0 < value < 10 and value != round(value) else span(1000 * value)


def lines(session: Session) -> Iterator[str]:
    """Yield the summary, line by line."""
    fold, header = session.fold, session.header
    pair = {"male": header["male"] or gettext("male"), "female": header["female"] or gettext("female")}
    yield gettext("{male} with {female}, {began:%Y-%m-%d %H:%M}", **pair, began=session.began)
    gaps = sum(gap.offset - gap.onset for gap in fold.gaps)
    watched = fold.end - gaps
    unwatched = gettext(", {gaps} of it not watched", gaps=span(gaps)) if gaps else ""
    marks = ngettext("{n} mark", "{n} marks", fold.marks)
    yield "  " + gettext("{end} in all{unwatched}, {marks}", end=span(fold.end), unwatched=unwatched, marks=marks)
    if session.is_accident:
        yield "  " + gettext("begun by mistake: it counts for nothing")
    if not fold.closed:
        yield "  " + gettext("broken off, not ended: `etholog resume` goes on with it")
    yield from _latencies(session)
    yield from _insertions(session)
    seen = evidence(session.ethogram, fold.bouts)
    yield "  " + gettext("evidence of transfer: {words}", words=seen.words)
    hidden = sum(b.offset - b.onset for b in fold.bouts if session.ethogram.by_code[b.code].hides)
    if hidden and watched:
        share = percent(hidden / watched)
        yield "  " + gettext("out of sight (he, she): {share} of the time watched, added up", share=share)
    if unsure := [bout for bout in fold.bouts if not bout.sure]:
        told = (f"{session.ethogram.by_code[bout.code].words} {clock_face(bout.onset)}" for bout in unsure)
        which = ", ".join(told)
        yield "  " + gettext("unsure: {which}", which=which)
    if struck := log.strikes(session):
        when = ", ".join(map(clock_face, struck))
        yield "  " + gettext("she struck: {when}", when=when)
    if any(said.do == "rescue" for said in fold.said):
        yield "  " + gettext("disturbed: the keeper had to step in")
    for moment in log.moments(session):
        yield f"  {log.line(moment)}"
    for name, value in fold.outcome.items():
        if name == "evidence" and type(value) is int and value in OF_A_SESSION:
            said = Evidence(value).words
            yield "  " + gettext("evidence of transfer, as the keeper saw it: {said}", said=said)
        elif name == "again_when" and closing.wish(fold.outcome) in (closing.NO, closing.NEVER):
            continue  # a day that was chosen before that was answered
        elif value not in (None, "") and name != "accident":
            shown = (
                {True: gettext("yes"), False: gettext("no")}.get(value, value)
                if isinstance(value, bool)
                else gettext(str(value))
            )
            yield f"  {gettext(ANSWERS.get(name, name.replace('_', ' ')))}: {shown}"
    strays = sum(said.do == "stray" for said in fold.said)
    if strays:
        yield "  " + ngettext("{n} key without a meaning kept", "{n} keys without a meaning kept", strays)
    for question in questions(session):
        yield f"  ? {question}"


def _latencies(session: Session) -> Iterator[str]:
    for interval in session.ethogram.interval:
        found = latency(session.ethogram, session.fold, interval)
        if found is not None:
            within = span(found.ms) if found.occurred else gettext("not within {ms}", ms=span(found.ms))
            yield f"  {interval.words}: {within}"


def _insertions(session: Session) -> Iterator[str]:
    codes = session.ethogram.codes_of("insertion")
    insertions = [bout for bout in session.fold.bouts if bout.code in codes]
    if not codes:
        missing = session.ethogram.missing("insertion")
        yield "  " + gettext("insertions are not known: {missing}", missing=missing)
        return
    if not insertions:
        yield "  " + gettext("no insertion seen")
        return
    sides: dict[str, list[Bout]] = {}
    for bout in insertions:
        sides.setdefault(bout.qualifier or gettext_noop("side unknown"), []).append(bout)
    for side in sorted(sides):
        total = sum(bout.offset - bout.onset for bout in sides[side])
        cut = sum(not bout.whole for bout in sides[side])
        told = {"side": gettext(side), "n": len(sides[side]), "span": span(total), "cut": cut}
        if cut:
            yield "  " + gettext(
                "insertions, {side} palp: {n} in {span}, {cut} of them cut short by the watching", **told
            )
        else:
            yield "  " + gettext("insertions, {side} palp: {n} in {span}", **told)


def _plain(value: float) -> str:
    return number(value, "g")


def questions(session: Session) -> Iterator[str]:
    """Yield what is odd: remarks of the fold, answers against each other, and what lies outside the ethogram's soft
    limits."""
    fold = session.fold
    yield from map(str, fold.remarks)
    yield from closing.contradictions(fold.outcome)
    for limit in session.ethogram.limit:
        for value, what in _measured(session, limit.of, limit.measure):
            if not limit.least <= value <= limit.most:
                as_said = _plain if limit.measure == "count" else seconds
                shown, least, most = map(as_said, (value, limit.least, limit.most))
                yield gettext(
                    "{what} is {shown}; expected between {least} and {most}: is that right?",
                    what=what,
                    shown=shown,
                    least=least,
                    most=most,
                )


def _measured(session: Session, of: str, measure: str) -> Iterator[tuple[float, str]]:
    fold = session.fold
    if measure == "length":
        yield fold.end / 1000, gettext("the session's length")
    elif measure == "latency":
        interval = session.ethogram.interval_named(of)
        found = latency(session.ethogram, fold, interval)
        if found is not None and found.occurred:
            yield found.ms / 1000, gettext("{interval} latency", interval=gettext(of))
    else:
        bouts = [bout for bout in fold.bouts if is_named(bout, (of,))]
        if measure == "count":
            yield len(bouts), gettext("the number of {behaviour}s", behaviour=gettext(of))
        else:
            yield from (
                ((b.offset - b.onset) / 1000, gettext("one {behaviour}", behaviour=gettext(of)))
                for b in bouts
                if b.whole
            )
