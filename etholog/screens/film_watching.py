"""The watch screen over a film: the same strip and keys, and a few more that steer the film."""

from dataclasses import replace

from textual import events

from etholog.base import system
from etholog.base.clock import clock_face
from etholog.base.text import visible_lines
from etholog.ethogram.own_keys import Act
from etholog.recording.corrector import Answer
from etholog.recording.film_clock import FilmClock
from etholog.recording.prompts import Prompts
from etholog.recording.recorder import Recorder
from etholog.screens.mpv import Mpv
from etholog.screens.themes import Look
from etholog.screens.watching import Watching

JUMP_S = 3.0
NOT_FILMED = "not filmed: a pause between two files of the film"
SPEEDS = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)


class FilmWatching(Watching):
    """Records from a film. Nothing unseen can be jumped over, so that what was not marked was not there."""

    compares_clocks = False  # the film's clock stops, and goes back, as it is told

    def __init__(self, recorder: Recorder, look: Look, *, pair: str, asks: bool, film: Mpv, clock: FilmClock) -> None:
        super().__init__(recorder, look, pair=pair, asks=asks)
        self._film, self._frames = film, clock
        self._prompts = Prompts(replace(recorder.ethogram, prompt=()))  # they are for who sits there

    def tick(self) -> None:
        """Show what is, and keep as a gap what was not filmed."""
        self._pass_pauses()
        super().tick()

    def _pass_pauses(self) -> None:
        for end, begin in self._frames.pauses_passed():
            self.recorder.was_away(end, begin, NOT_FILMED)

    def _press(self, event: events.Key, act: Act | None, at: float) -> Answer:
        self._pass_pauses()
        film, here = self._film, self._frames.film_s(at)
        match act:
            case Act.PLAY:
                film.toggle()
                return Answer("play" if film.paused else "pause")
            case Act.SECONDS_BACK:
                film.seek(here - JUMP_S)
                return Answer(f"{JUMP_S:.0f} s back")
            case Act.SECONDS_ON:
                film.seek(min(here + JUMP_S, self._frames.furthest_s))
                return Answer(f"{JUMP_S:.0f} s on, or as far as was seen")
            case Act.FRAME_ON | Act.FRAME_BACK:
                film.step(act is Act.FRAME_ON)
                return Answer("a frame on" if act is Act.FRAME_ON else "a frame back")
            case Act.FASTER | Act.SLOWER:
                nearest = min(range(len(SPEEDS)), key=lambda place: abs(SPEEDS[place] - film.speed))
                place = min(max(nearest + (1 if act is Act.FASTER else -1), 0), len(SPEEDS) - 1)
                film.set_speed(SPEEDS[place])
                return Answer(f"{SPEEDS[place]:g} times as fast")
        return super()._press(event, act, at)

    def _suspend(self) -> None:
        """Ctrl-Z: go to the shell; the film waits."""
        self._film.pause()
        self.app.action_suspend_process()

    def _after_stop(self) -> None:
        """Nothing was missed while the program was stopped: the film can be seen again."""
        self.continued = False

    def _top(self, now: int) -> str:
        film, here = self._film, self._frames.film_s(system.now())
        runs = "END" if film.at_end else "PAUSED" if film.paused else f"x {film.speed:g}"
        stage = (self.recorder.live.stage or "before").upper()
        minutes, seconds = divmod(here, 60)
        return f" {clock_face(now)}  {stage:<10}  film {minutes:.0f}:{seconds:06.3f}  {runs:<7}  {self.pair}"

    def _bottom_prompt(self, width: int, hidden: int) -> str:
        if self._film.gone:
            return visible_lines([" THE FILM'S WINDOW IS CLOSED: Esc, Enter ends; etholog resume opens it again"])
        return ""

    def _run_text(self, now: int) -> str:
        if self.recorder.live.folding.gap is not None:
            return super()._run_text(now)
        return self._runs(now, self.recorder.live.at(now).running)
