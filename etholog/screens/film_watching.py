"""The watch screen over a film: the same strip and keys, and a few more that steer the film."""

from textual import events

from etholog.base import system
from etholog.recording.corrector import Answer
from etholog.recording.film_clock import FilmClock
from etholog.recording.live import clock_face
from etholog.recording.prompts import Prompts
from etholog.recording.recorder import Recorder
from etholog.screens.mpv import Mpv
from etholog.screens.themes import Look
from etholog.screens.watching import OWN_KEYS, Watching, visible_lines

JUMP_S = 3.0
SPEEDS = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
FILM_KEYS = (
    "Space play, pause",
    "Left 3 s back",
    "Right 3 s on, as far as seen",
    "Up, Down faster, slower",
    "PgUp, PgDn a frame back, on",
)


class FilmWatching(Watching):
    """Records from a film. Nothing unseen can be jumped over, so that what was not marked was not there."""

    compares_clocks = False  # the film's clock stops, and goes back, as it is told
    # No key for stepping in, which was long ago, nor for a sync with the film that is the clock.
    own_keys = (*FILM_KEYS, *(key for key in OWN_KEYS if not key.startswith(("Space", "{=}"))))

    def __init__(self, recorder: Recorder, look: Look, *, pair: str, asks: bool, film: Mpv, clock: FilmClock) -> None:
        super().__init__(recorder, look, pair=pair, asks=asks)
        self._film, self._frames = film, clock
        self._prompts = Prompts(recorder.ethogram.model_copy(update={"prompt": ()}))  # they are for who sits there

    def _press(self, event: events.Key, at: float) -> Answer:
        film, here = self._film, self._frames.film_s(at)
        match event.key:
            case "space":
                film.toggle()
                return Answer("film", "play" if film.paused else "pause")
            case "left":
                film.seek(here - JUMP_S)
                return Answer("film", f"{JUMP_S:.0f} s back")
            case "right":
                film.seek(min(here + JUMP_S, self._frames.furthest_s))
                return Answer("film", f"{JUMP_S:.0f} s on, or as far as was seen")
            case "pageup" | "pagedown":
                film.step(event.key == "pagedown")
                return Answer("film", "a frame on" if event.key == "pagedown" else "a frame back")
            case "up" | "down":
                nearest = min(range(len(SPEEDS)), key=lambda place: abs(SPEEDS[place] - film.speed))
                place = min(max(nearest + (1 if event.key == "up" else -1), 0), len(SPEEDS) - 1)
                film.set_speed(SPEEDS[place])
                return Answer("film", f"{SPEEDS[place]:g} times as fast")
        return super()._press(event, at)

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
        return f" {clock_face(now)}  {stage:<10}  film {minutes:.0f}:{seconds:06.3f}  {runs:<7}  {self._pair}"

    def _bottom_prompt(self, chart: object) -> str:
        if self._film.gone:
            return visible_lines([" THE FILM'S WINDOW IS CLOSED: Esc, Enter ends; etholog resume opens it again"])
        return ""

    def _run_text(self, now: int) -> str:
        if self.recorder.live.folding.gap is not None:
            return super()._run_text(now)
        return self._runs(now, self.recorder.live.running_at(now))
