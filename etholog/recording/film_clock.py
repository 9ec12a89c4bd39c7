"""The clock of a film: which frame was on the screen when a key was pressed."""

from collections import deque
from collections.abc import Callable, Sequence
from typing import Any

from etholog.base import system
from etholog.base.journal import Journal
from etholog.ethogram.own_keys import Where
from etholog.recording.live import Live
from etholog.recording.recorder import Recorder

# So many frames are remembered: a key that a busy screen handles half a second late still finds its own.
REMEMBERED = 256


class FilmClock:
    """Frames as they are shown; `to_session` turns film seconds into milliseconds of the session.

    `pauses`: what was not filmed between two films of an evening, in milliseconds of the session.
    """

    def __init__(
        self,
        start_s: float,
        end_s: float,
        to_session: Callable[[float], float],
        pauses: Sequence[tuple[float, float]] = (),
    ) -> None:
        self._to_session = to_session
        self._end_s = end_s
        self._shown: deque[tuple[float, float]] = deque([(float("-inf"), start_s)], maxlen=REMEMBERED)
        self.furthest_s = start_s
        self._pauses = [(round(a), round(b)) for a, b in pauses if b > to_session(start_s)]

    def shown(self, film_s: float) -> None:
        """Take in that a frame has just come on the screen; called in mpv's thread."""
        if film_s >= self._end_s:
            return  # sound that is longer than the pictures
        self._shown.append((system.now(), film_s))
        self.furthest_s = max(self.furthest_s, film_s)

    def film_s(self, at: float) -> float:
        """Return the time of the frame that was on the screen at `at`, in seconds of `system.now`."""
        frames = list(self._shown)
        return next((film_s for came, film_s in reversed(frames) if came <= at), frames[0][1])

    def t(self, at: float) -> int:
        """Return that frame's time in milliseconds of the session."""
        return self.ms(self.film_s(at))

    def ms(self, film_s: float) -> int:
        """Return a film second in milliseconds of the session."""
        return max(0, round(self._to_session(film_s)))

    def pauses_passed(self) -> list[tuple[int, int]]:
        """Return the pauses that the film has run over since this was asked last, in milliseconds of the session."""
        passed = [pause for pause in self._pauses if pause[1] <= self.furthest]
        self._pauses = [pause for pause in self._pauses if pause not in passed]
        return passed

    def skip_pauses(self, until_ms: int) -> None:
        """Forget the pauses that end before an instant of the session: they lie in a gap already."""
        self._pauses = [pause for pause in self._pauses if pause[1] > until_ms]

    @property
    def furthest(self) -> int:
        """How far the film was seen, in milliseconds of the session."""
        return self.ms(self.furthest_s)


class FilmRecorder(Recorder):
    """Writes what is pressed at the time of the frame shown. It may go back, and what lies ahead stays."""

    where: Where = Where.FILM

    def __init__(self, journal: Journal, live: Live, clock: FilmClock, **how: Any) -> None:
        super().__init__(journal, live.ethogram, clock_at=0.0, live=live, **how)
        self._film = clock

    def t(self, at: float) -> int:
        """Return the time of the frame that was shown at `at`, in milliseconds of the session."""
        return self._film.t(at)

    def ends_at(self, at: float) -> int:
        """Return where the session ends when it is closed at `at`: as far as the film was seen."""
        return max(self._film.furthest, self.t(at))


class StretchRecorder(FilmRecorder):
    """Records from the stretches of a film: what is skipped is a gap."""

    where: Where = Where.STRETCHES
