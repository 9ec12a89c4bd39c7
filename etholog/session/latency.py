"""The latency of one session. Over tables, `analysis.latency` measures the same, all sessions at once."""

from collections.abc import Sequence
from typing import Literal, NamedTuple

from etholog.ethogram import ACTORS, Ethogram, Interval
from etholog.session.endings import FOR_GOOD, LAST
from etholog.session.folding import Bout, Fold

Unseen = Literal["keep", "censor"]

OCCURRED, WATCHING_ENDED, UNSEEN = "occurred", "watching ended", "unseen"
CENSORED = (WATCHING_ENDED, UNSEEN)  # ends of the watching alone, and of no chance


class Latency(NamedTuple):
    """How long it took, or how long it was waited for: milliseconds under watch, and why the time ended."""

    ms: int
    ended_by: str

    @property
    def occurred(self) -> bool:
        """Whether it came; where not, the latency is right-censored."""
        return self.ended_by == OCCURRED


def latency(
    ethogram: Ethogram,
    fold: Fold,
    interval: Interval,
    unseen: Unseen = "keep",
    competing: bool = False,
    ends: Sequence[str] = (),
) -> Latency | None:
    """Return the time from the first `since` to the first `to` at or after it, gaps not counted; None without `since`.

    Where `to` never came, the time runs to the end (right-censored: Martin & Bateson, ch. 5). `ends` names
    behaviours at the first of which it ends; without them, competing=True ends it where the evening was over for good.
    unseen="censor" ends it at the first gap, or when an actor of `to` first goes out of sight.
    """
    start = first_onset(fold.bouts, interval.since) if interval.since else 0
    if start is None:
        return None
    after = [bout for bout in fold.bouts if bout.onset >= start]
    found = first_onset(after, interval.to)
    stop, why = (fold.end, WATCHING_ENDED) if found is None else (found, OCCURRED)
    over: tuple[int, str] | None = None
    if ends:
        over = next(((bout.onset, bout.code) for bout in after if is_named(bout, ends)), None)
    elif competing:
        over = _for_good(ethogram, fold)
    if over is not None and (found is None or over[0] < found):
        stop, why = over
    if unseen == "censor":
        hidden = _first_unseen(ethogram, fold, interval, start)
        if hidden is not None and hidden < stop:
            stop, why = hidden, UNSEEN
    unwatched = sum(max(0, min(gap.offset, stop) - max(gap.onset, start)) for gap in fold.gaps)
    return Latency(max(0, stop - start - unwatched), why)


def _for_good(ethogram: Ethogram, fold: Fold) -> tuple[int, str] | None:
    last = ethogram.codes_of(*LAST)
    killed = next(((bout.onset, bout.code) for bout in fold.bouts if bout.code in last), None)
    ended = fold.outcome.get("ended")
    return killed or ((fold.end, str(ended)) if ended in FOR_GOOD else None)


def first_onset(bouts: Sequence[Bout], names: Sequence[str]) -> int | None:
    """Return the first onset of one of the names."""
    return next((bout.onset for bout in bouts if is_named(bout, names)), None)


def is_named(bout: Bout, names: Sequence[str]) -> bool:
    """Return whether a bout is of one of the names: 'insertion', or 'insertion:left' for one value of its qualifier."""
    return bout.code in names or f"{bout.code}:{bout.qualifier}" in names


def hiding_actors(ethogram: Ethogram, names: Sequence[str]) -> set[str]:
    """Return whose going out of sight keeps one from seeing what is named."""
    actors = {ethogram.by_code[code].actor for name in names if (code := name.partition(":")[0]) in ethogram.by_code}
    return set(actors) if actors and not actors & {"pair", "keeper"} else set(ACTORS)


def _first_unseen(ethogram: Ethogram, fold: Fold, interval: Interval, start: int) -> int | None:
    actors = hiding_actors(ethogram, interval.to)
    hiding = {b.code for b in ethogram.behaviour if b.hides and b.actor in actors}
    spans = [*((b.onset, b.offset) for b in fold.bouts if b.code in hiding), *((g.onset, g.offset) for g in fold.gaps)]
    return min((onset for onset, offset in spans if offset > start), default=None)
