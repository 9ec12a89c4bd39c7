"""From a phone's clock to the session's: what was compared so far, and the taps that are put at their times by it."""

from collections import deque
from collections.abc import Iterable

from etholog.phone import messages
from etholog.phone.clocks import Comparison, Placed, between, place, summed_up
from etholog.recording.taps import Tap

# Until the clocks are compared: 12 answers where the network always takes as long, or the clocks are known to so many
# ms by then. Where it varies, more of them, since each has a chance to be quick both ways, and rarer, so that none
# waits behind another. Then now and then.
QUESTION_S, ANSWERS, KNOWN_MS = 0.05, 12, 10.0
MOST_QUESTION_S, MOST_ANSWERS = 0.3, 72
VARIES_AN_ANSWER_MS = 4.0
QUESTIONS_S = 2.0
EPOCHS, COMPARISONS = 4, 200


class Clocks:
    """The comparisons of the last few epochs of a phone's clock: it begins anew at each load and each wake."""

    def __init__(self) -> None:
        self._compared: dict[str, deque[Comparison]] = {}
        self._walls: dict[str, float] = {}  # the session's clock less the phone's wall clock

    def begin(self, epoch: str, wall: float, now: float) -> None:
        """Take in that a clock began, and what the phone's wall clock shows at `now` of the session."""
        self._walls = dict(list(self._walls.items())[1 - EPOCHS :]) | {epoch: now - wall}
        known = self._compared.pop(epoch, deque(maxlen=COMPARISONS))
        self._compared = dict(list(self._compared.items())[1 - EPOCHS :]) | {epoch: known}

    def add(self, epoch: str, one: Comparison) -> Comparison | None:
        """Take in a comparison; return all of that epoch as one."""
        self._compared[epoch].append(one)
        return self.known(epoch)

    def known(self, epoch: str) -> Comparison | None:
        """Return all comparisons of an epoch as one; None where there is none."""
        compared = self._compared.get(epoch)
        return summed_up(compared[-1].phone, compared) if compared else None

    def are_compared(self, epoch: str) -> bool:
        """Tell whether the clocks are known as well as the network lets them be."""
        known = self.known(epoch)
        well = known is not None and known.came - known.asked <= 2 * KNOWN_MS
        more = 0 if well else round(self._varies(epoch) / VARIES_AN_ANSWER_MS)
        return len(self._compared.get(epoch, ())) >= min(max(ANSWERS, more), MOST_ANSWERS)

    def pause(self, epoch: str) -> float:
        """Return how long to wait before the next question to a phone whose clock is being compared, in seconds."""
        return min(max(QUESTION_S, self._varies(epoch) / 1000), MOST_QUESTION_S)

    def _varies(self, epoch: str) -> float:
        """Return by how many ms the round trips differ."""
        trips = [one.came - one.asked for one in self._compared.get(epoch, ())]
        return max(trips, default=0.0) - min(trips, default=0.0)

    def placed(self, told: messages.Tapped, after: int, now: float) -> Tap:
        """Return a tap at its time; one of a clock that was never compared lies between `after` and `now`, unsure."""
        placed = _placed(told, self._compared.get(told.epoch, ()))
        if placed is not None:
            return _tap(told, placed, now)
        wall = self._walls.get(told.epoch, next(reversed(self._walls.values()), 0.0))
        return _tap(told, between(told.wall + wall, after, now), now, sure=False)


def placed_later(told: messages.Tapped, guess: float, end: int) -> Tap:
    """Return a tap of a session that ended at `end`, by what the phone knew of the clock itself; else as guessed."""
    placed = _placed(told, ())
    return _tap(told, placed or between(guess, 0, end), end, sure=placed is not None)


def _placed(told: messages.Tapped, compared: Iterable[Comparison]) -> Placed | None:
    own = Comparison(*told.clock) if told.clock is not None else None
    return place(told.at, [*compared, *([own] if own is not None and own.asked <= own.came else [])])


def _tap(told: messages.Tapped, placed: Placed, now: float, sure: bool = True) -> Tap:
    """Return a tap in whole milliseconds, none of them before the session or after now."""
    last = max(0, round(now))
    earliest, t, latest = (min(max(0, round(ms)), last) for ms in (placed.earliest, placed.t, placed.latest))
    return Tap(told.id, t, min(earliest, t), max(latest, t), told.what, told.act, told.of, told.text, sure)
