"""Which lanes a session has, and what ran and runs in each: for the strip, and for whatever else shows it. Pure."""

from bisect import insort
from dataclasses import dataclass, field

from etholog.base.clock import LATER_MS
from etholog.ethogram import Behaviour, Ethogram, Press
from etholog.recording.live import Live
from etholog.session.folding import Bout, Span


@dataclass(eq=False)
class Lane:
    """One behaviour: its keys, its bouts so far (by onset), its totals."""

    behaviour: Behaviour
    keys: str
    bouts: list[Bout] = field(default_factory=list)
    running: list[Bout] = field(default_factory=list)
    ended_ms: int = 0

    @property
    def count(self) -> int:
        """Bouts so far, with the one that runs."""
        return len(self.bouts) + len(self.running)

    @property
    def latest(self) -> int:
        """When it last began, in milliseconds; -1 for never."""
        return max((bout.onset for bout in (*self.bouts[-1:], *self.running)), default=-1)

    def total_ms(self, now: int) -> int:
        """How long it has run in all, in milliseconds."""
        return self.ended_ms + sum(max(0, now - bout.onset) for bout in self.running)


class Lanes:
    """The lanes of a session, kept up with its records: only what is new is looked at, unless it was corrected."""

    def __init__(self, ethogram: Ethogram, layout: dict[str, Press]) -> None:
        keys: dict[str, list[str]] = {}
        for key, press in layout.items():
            keys.setdefault(press.behaviour.code, []).append(key)
        self.lanes = [Lane(b, "".join(keys[b.code])) for b in ethogram.behaviour if b.code in keys]
        self._by_code = {lane.behaviour.code: lane for lane in self.lanes}
        self._behaviours = ethogram.by_code
        self.gaps: list[Span] = []
        self._refolds = -1
        self._seen = 0

    def follow(self, live: Live) -> None:
        """Take in what was folded since the last time."""
        folding = live.folding
        if live.refolds != self._refolds:
            self._refolds, self._seen = live.refolds, 0
            for lane in self.lanes:
                lane.bouts.clear()
                lane.ended_ms = 0
        for bout in folding.bouts[self._seen :]:
            lane = self._lane(bout)
            insort(lane.bouts, bout, key=onset_of)
            lane.ended_ms += bout.offset - bout.onset
        self._seen = len(folding.bouts)
        for lane in self.lanes:
            lane.running.clear()
        self.gaps = [*folding.gaps, *([folding.gap._replace(offset=LATER_MS)] if folding.gap else [])]
        for bout in folding.running.values():
            self._lane(bout).running.append(bout)

    def shown(self, rows: int) -> list[Lane]:
        """Return as many lanes as there are rows, in their order: what runs and what was marked last goes first."""
        if rows >= len(self.lanes):
            return self.lanes
        latest = sorted(self.lanes, key=lambda lane: (not lane.running, -lane.latest))[:rows]
        return [lane for lane in self.lanes if lane in latest]

    def _lane(self, bout: Bout) -> Lane:
        if bout.code not in self._by_code:
            # A behaviour without a key got marks by recoding: it gets its lane then.
            lane = self._by_code[bout.code] = Lane(self._behaviours[bout.code], "")
            self.lanes.append(lane)
        return self._by_code[bout.code]


def onset_of(bout: Bout) -> int:
    """Return when a bout began, in milliseconds."""
    return bout.onset
