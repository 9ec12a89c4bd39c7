"""How far a mark can be moved: as long as the same marks begin and end the same bouts and gaps. Pure."""

from bisect import bisect_left
from collections.abc import Collection, Mapping
from operator import itemgetter
from typing import Any, NamedTuple

from etholog.ethogram import Ethogram
from etholog.session.folding import Folding


class _Run(NamedTuple):
    """A bout or a gap by the records at its ends; `ended` is None while it runs."""

    began: int
    ended: int | None
    whole: bool


class _Made(NamedTuple):
    """What records make: each bout and gap with whether it lasts any time, and the records that make nothing."""

    runs: dict[_Run, bool]
    lost: set[int]

    def kept_by(self, then: "_Made") -> bool:
        """Return whether all this is still there; a record that made nothing may come to make something."""
        if len(then.lost) < len(self.lost):
            return True
        same = then.runs.keys() == self.runs.keys() and then.lost == self.lost
        return same and all(lasts or not self.runs[run] for run, lasts in then.runs.items())


def places(ethogram: Ethogram, lasting: Collection[Mapping[str, Any]], n: int, t: int) -> dict[int, int]:
    """Return new times (ms) by record: of record `n` on its way to `t`, and of what ended the gap it is moved into.

    It goes as far as no bout or gap changes the record that begins or ends it, none that lasts comes to nothing, and
    no mark loses what it meant. Who saw something was watching, so a gap that it is moved back into ends there.

    lasting: the records as corrected (`session.folding.corrected`), in the order of (t, n).
    """
    records = [record for record in lasting if record["do"] in ("mark", "gap", "back") or record["n"] == n]
    now = _made(ethogram, records)
    times = {record["n"]: record["t"] for record in records}
    here = times[n]
    gaps = {record["n"] for record in records if record["do"] == "gap"}
    backs = [(times[run.began], times[run.ended], run.ended) for run in now.runs if run.began in gaps and run.ended]

    def at(place: int) -> dict[int, int]:
        return {n: place} | {back: place for began, ended, back in backs if began <= place < ended <= here}

    def changes(place: int) -> bool:
        moved = at(place)
        then = [{**record, "t": moved[record["n"]]} if record["n"] in moved else record for record in records]
        return not now.kept_by(_made(ethogram, sorted(then, key=itemgetter("t", "n"))))

    if not changes(t):
        return at(t)
    # The order of records, which is all that counts, changes only where another one stands.
    near = {time + by for time in times.values() for by in (-1, 0, 1)}
    way = sorted((place for place in near if min(here, t) < place < max(here, t)), key=lambda place: abs(place - here))
    free = bisect_left(way, True, key=changes)
    return at(way[free - 1]) if free else {n: here}


def _made(ethogram: Ethogram, records: Collection[Mapping[str, Any]]) -> _Made:
    folding = Folding(ethogram)
    runs: dict[_Run, bool] = {}
    lost: set[int] = set()
    gap: tuple[int, int] | None = None  # the record that began the gap of now, and when
    for record in records:
        n, t, do = record["n"], record["t"], record["do"]
        over = len(folding.bouts)
        folding.take(record)
        for bout in folding.bouts[over:]:
            runs[_Run(bout.n, n, bout.whole)] = bout.onset < bout.offset
        if do == "gap" and gap is None:
            gap = n, t
        elif do == "back" and gap is not None:
            runs[_Run(gap[0], n, True)] = gap[1] < t
            gap = None
        elif gap is not None or (len(folding.bouts) == over and all(bout.n != n for bout in folding.running.values())):
            lost.add(n)
    runs.update((_Run(bout.n, None, False), True) for bout in folding.running.values())
    if gap is not None:
        runs[_Run(gap[0], None, False)] = True
    return _Made(runs, lost)
