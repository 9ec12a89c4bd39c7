"""The watch screen over a film that was searched: from stretch to stretch. What is skipped counts as a gap."""

from collections.abc import Sequence
from typing import Any

from textual import events

from etholog.ethogram.own_keys import Act
from etholog.recording.corrector import Answer
from etholog.screens.film_watching import JUMP_S, FilmWatching

SKIPPED = "skipped: a search of the film found no movement there"


class StretchWatching(FilmWatching):
    """Records from the stretches of a film. `starts` are the film seconds at which PgDn goes on, in order."""

    def __init__(self, *said: Any, starts: Sequence[float], **how: Any) -> None:
        super().__init__(*said, **how)
        self._starts, self._from_s = tuple(starts), starts[0]
        if (begun := self._frames.ms(starts[0])) > 0:
            self.recorder.was_away(0, begun, SKIPPED)

    def _press(self, event: events.Key, act: Act | None, at: float) -> Answer:
        match act:
            case Act.STRETCH_ON:
                return self._next()
            case Act.STRETCH_BACK:
                self._film.seek(self._from_s)
                return Answer("to the beginning of this stretch")
            case Act.SECONDS_BACK:  # what lies before the stretch is a gap
                self._film.seek(max(self._frames.film_s(at) - JUMP_S, self._from_s))
                return Answer(f"{JUMP_S:.0f} s back, or to the beginning of this stretch")
        return super()._press(event, act, at)

    def _next(self) -> Answer:
        furthest_s = self._frames.furthest_s
        place = next((at for at, start_s in enumerate(self._starts) if start_s > furthest_s), None)
        if place is None:
            return Answer("that was the last stretch; Esc ends the session")
        start_s = self._starts[place]
        until = self._frames.ms(start_s)
        self.recorder.was_away(self._frames.furthest, until, SKIPPED)
        self._frames.skip_pauses(until)
        self._from_s = start_s
        self._film.seek(start_s)
        return Answer(f"stretch {place + 1} of {len(self._starts)}; what was skipped is a gap")
