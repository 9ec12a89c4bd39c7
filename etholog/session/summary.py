"""A session in plain words: what a keeper wants to read when the lid is on again."""

from collections.abc import Iterator, Sequence

from etholog.session.file import Session
from etholog.session.folding import Bout, Fold

# The ladder of evidence for a transfer of sperm. It is no yes or no: only a sac, and what hatches from it, comes
# near one.
LADDER = (
    "no contact",
    "contact only",
    "a clasp, no insertion",
    "an insertion, but short (under 5 s) or of unsure side",
    "a clear insertion of one palp",
    "clear insertions of both palps",
)
CLASP, INSERTION, BOTH_PALPS = 2, 3, 5  # rungs of LADDER that are asked for elsewhere
CLEAR_MS = 5000
ATTACKED, KILLED = "she attacked", "he was killed"  # ends of an evening that are asked for elsewhere


def evidence(bouts: Sequence[Bout]) -> int:
    """Return the rung of LADDER that these bouts reach, 0 to 5; the rungs above need a sac."""
    codes = {bout.code for bout in bouts}
    insertions = [bout for bout in bouts if bout.code == "insertion"]
    clear = {b.qualifier for b in insertions if b.sure and b.qualifier and b.offset - b.onset >= CLEAR_MS}
    if insertions:
        return 3 + min(len(clear), 2)
    if codes & {"clasp", "mount"}:
        return 2
    return 1 if "touch" in codes else 0


def latency(bouts: Sequence[Bout], since: Sequence[str], to: Sequence[str], end: int) -> tuple[int | None, bool] | None:
    """Return (milliseconds from the first `since` to the first `to`, True), or (until the end, False); None without
    `since`."""
    start = 0 if not since else next((bout.onset for bout in bouts if _is(bout, since)), None)
    if start is None:
        return None
    found = next((bout.onset for bout in bouts if bout.onset >= start and _is(bout, to)), None)
    return (end - start, False) if found is None else (found - start, True)


def _is(bout: Bout, names: Sequence[str]) -> bool:
    return bout.code in names or f"{bout.code}:{bout.qualifier}" in names


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


def lines(session: Session) -> Iterator[str]:
    """Yield the summary, line by line."""
    fold, header = session.fold, session.header
    yield f"{header['male'] or 'male'} with {header['female'] or 'female'}, {session.began:%Y-%m-%d %H:%M}"
    gaps = sum(gap.offset - gap.onset for gap in fold.gaps)
    watched = fold.end - gaps
    yield f"  {span(fold.end)} in all" + (f", {span(gaps)} of it not watched" if gaps else "") + f", {fold.marks} marks"
    yield from _latencies(session)
    yield from _insertions(fold)
    yield f"  evidence of transfer: {LADDER[evidence(fold.bouts)]}"
    hidden = sum(b.offset - b.onset for b in fold.bouts if session.ethogram.by_code[b.code].hides)
    if hidden and watched:
        yield f"  out of sight (he, she): {hidden / watched:.0%} of the time watched, added up"
    unsure = [bout for bout in fold.bouts if not bout.sure]
    if unsure:
        yield f"  unsure: {', '.join(sorted({session.ethogram.by_code[b.code].label for b in unsure}))}"
    if any(said.do == "rescue" for said in fold.said):
        yield "  disturbed: the keeper had to step in"
    for name, value in fold.outcome.items():
        if name == "evidence" and isinstance(value, int) and 0 <= value < len(LADDER):
            yield f"  evidence of transfer, as the keeper saw it: {LADDER[value]}"
        elif value not in (None, ""):
            shown = {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value
            yield f"  {name.replace('_', ' ')}: {shown}"
    strays = sum(said.do == "stray" for said in fold.said)
    if strays:
        yield f"  {strays} key{'s' if strays > 1 else ''} without a meaning kept"
    for question in questions(session):
        yield f"  ? {question}"


def _latencies(session: Session) -> Iterator[str]:
    fold = session.fold
    for interval in session.ethogram.interval:
        found = latency(fold.bouts, interval.since, interval.to, fold.end)
        if found is not None:
            ms, occurred = found
            yield (
                f"  {interval.label}: {span(ms or 0)}"
                if occurred
                else f"  {interval.label}: not within {span(ms or 0)}"
            )


def _insertions(fold: Fold) -> Iterator[str]:
    insertions = [bout for bout in fold.bouts if bout.code == "insertion"]
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
                shown = f"{value:g}" if limit.measure == "count" else span(value * 1000)
                most = f"{limit.most:g}" if limit.measure == "count" else span(limit.most * 1000)
                least = f"{limit.least:g}" if limit.measure == "count" else span(limit.least * 1000)
                yield f"{what} is {shown}; expected between {least} and {most}: is that right?"


def _measured(session: Session, of: str, measure: str) -> Iterator[tuple[float, str]]:
    fold = session.fold
    if measure == "length":
        yield fold.end / 1000, "the session's length"
    elif measure == "latency":
        interval = session.ethogram.interval_named(of)
        found = latency(fold.bouts, interval.since, interval.to, fold.end)
        if found is not None and found[1]:
            yield (found[0] or 0) / 1000, f"{of} latency"
    else:
        bouts = [bout for bout in fold.bouts if _is(bout, (of,))]
        if measure == "count":
            yield len(bouts), f"the number of {of}s"
        else:
            yield from (((b.offset - b.onset) / 1000, f"one {of}") for b in bouts if b.whole)
