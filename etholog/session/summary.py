"""A session in plain words: what a keeper wants to read when the lid is on again."""

from collections.abc import Iterator

from etholog.base.clock import clock_face
from etholog.base.text import many, percent
from etholog.session import closing, log
from etholog.session.evidence import OF_A_SESSION, Evidence, evidence
from etholog.session.file import Session
from etholog.session.folding import Bout
from etholog.session.latency import is_named, latency


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
    return f"{value:.1f} s" if 0 < value < 10 and value != round(value) else span(1000 * value)


def lines(session: Session) -> Iterator[str]:
    """Yield the summary, line by line."""
    fold, header = session.fold, session.header
    yield f"{header['male'] or 'male'} with {header['female'] or 'female'}, {session.began:%Y-%m-%d %H:%M}"
    gaps = sum(gap.offset - gap.onset for gap in fold.gaps)
    watched = fold.end - gaps
    unwatched = f", {span(gaps)} of it not watched" if gaps else ""
    yield f"  {span(fold.end)} in all{unwatched}, {many(fold.marks, 'mark')}"
    if session.is_accident:
        yield "  begun by mistake: it counts for nothing"
    if not fold.closed:
        yield "  broken off, not ended: `etholog resume` goes on with it"
    yield from _latencies(session)
    yield from _insertions(session)
    yield f"  evidence of transfer: {evidence(session.ethogram, fold.bouts).words}"
    hidden = sum(b.offset - b.onset for b in fold.bouts if session.ethogram.by_code[b.code].hides)
    if hidden and watched:
        yield f"  out of sight (he, she): {percent(hidden / watched)} of the time watched, added up"
    if unsure := [bout for bout in fold.bouts if not bout.sure]:
        told = (f"{session.ethogram.by_code[bout.code].label} {clock_face(bout.onset)}" for bout in unsure)
        yield f"  unsure: {', '.join(told)}"
    if struck := log.strikes(session):
        yield f"  she struck: {', '.join(map(clock_face, struck))}"
    if any(said.do == "rescue" for said in fold.said):
        yield "  disturbed: the keeper had to step in"
    for moment in log.moments(session):
        yield f"  {log.line(moment)}"
    for name, value in fold.outcome.items():
        if name == "evidence" and type(value) is int and value in OF_A_SESSION:
            yield f"  evidence of transfer, as the keeper saw it: {Evidence(value).words}"
        elif name == "again_when" and closing.wish(fold.outcome) in (closing.NO, closing.NEVER):
            continue  # a day that was chosen before that was answered
        elif value not in (None, "") and name != "accident":
            shown = {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value
            yield f"  {name.replace('_', ' ')}: {shown}"
    strays = sum(said.do == "stray" for said in fold.said)
    if strays:
        yield f"  {many(strays, 'key')} without a meaning kept"
    for question in questions(session):
        yield f"  ? {question}"


def _latencies(session: Session) -> Iterator[str]:
    for interval in session.ethogram.interval:
        found = latency(session.ethogram, session.fold, interval)
        if found is not None:
            within = span(found.ms) if found.occurred else f"not within {span(found.ms)}"
            yield f"  {interval.label}: {within}"


def _insertions(session: Session) -> Iterator[str]:
    codes = session.ethogram.codes_of("insertion")
    insertions = [bout for bout in session.fold.bouts if bout.code in codes]
    if not codes:
        yield f"  insertions are not known: {session.ethogram.missing('insertion')}"
        return
    if not insertions:
        yield "  no insertion seen"
        return
    sides: dict[str, list[Bout]] = {}
    for bout in insertions:
        sides.setdefault(bout.qualifier or "side unknown", []).append(bout)
    for side in sorted(sides):
        total = sum(bout.offset - bout.onset for bout in sides[side])
        cut = sum(not bout.whole for bout in sides[side])
        more = f", {cut} of them cut short by the watching" if cut else ""
        yield f"  insertions, {side} palp: {len(sides[side])} in {span(total)}{more}"


def questions(session: Session) -> Iterator[str]:
    """Yield what is odd: remarks of the fold, and what lies outside the ethogram's soft limits."""
    fold = session.fold
    yield from map(str, fold.remarks)
    for limit in session.ethogram.limit:
        for value, what in _measured(session, limit.of, limit.measure):
            if not limit.least <= value <= limit.most:
                as_said = "{:g}".format if limit.measure == "count" else seconds
                shown, least, most = map(as_said, (value, limit.least, limit.most))
                yield f"{what} is {shown}; expected between {least} and {most}: is that right?"


def _measured(session: Session, of: str, measure: str) -> Iterator[tuple[float, str]]:
    fold = session.fold
    if measure == "length":
        yield fold.end / 1000, "the session's length"
    elif measure == "latency":
        interval = session.ethogram.interval_named(of)
        found = latency(session.ethogram, fold, interval)
        if found is not None and found.occurred:
            yield found.ms / 1000, f"{of} latency"
    else:
        bouts = [bout for bout in fold.bouts if is_named(bout, (of,))]
        if measure == "count":
            yield len(bouts), f"the number of {of}s"
        else:
            yield from (((b.offset - b.onset) / 1000, f"one {of}") for b in bouts if b.whole)
