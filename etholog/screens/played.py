"""The strip playing an invented pairing by itself; any key skips to its end."""

from collections import deque
from collections.abc import Iterable

from textual import events

from etholog.base import system
from etholog.recording.recorder import Recorder
from etholog.screens.app import WatchApp
from etholog.screens.themes import Look
from etholog.screens.watching import Watching

LINGER_S = 30.0  # invented seconds for which the last mark is shown


class Played(Watching):
    """The watch screen with invented fingers on its keys, and a clock of its own that runs `speed` times as fast.

    An onlooker's keys and clicks are no marks: they skip what is left to be shown, and lose nothing of it.
    """

    compares_clocks = False

    def __init__(
        self, recorder: Recorder, look: Look, *, pair: str, script: Iterable[tuple[float, str]], speed: float
    ) -> None:
        super().__init__(recorder, look, pair=pair, clock=self._invented_s, asks=False)
        self._left = deque(script)
        self._speed, self._began = speed, system.now()
        self._shown_until = max((at for at, _ in self._left), default=0.0) + LINGER_S

    def _invented_s(self) -> float:
        return (system.now() - self._began) * self._speed

    def on_mount(self) -> None:
        """Begin to play, from the start; Textual calls the watch screen's own handler next."""
        self._began = system.now()

    def tick(self) -> None:
        """Press what is due, and show what is."""
        now = self._clock()
        while self._left and self._left[0][0] <= now:
            at, key = self._left.popleft()
            self._answer = self.recorder.press(key, at).text
        super().tick()
        if now > self._shown_until and self.is_current:
            self._over()

    async def on_key(self, event: events.Key) -> None:
        """Skip."""
        event.stop()
        event.prevent_default()
        self._over()

    def on_mouse_down(self, event: events.MouseDown) -> None:
        """Skip."""
        event.prevent_default()
        self._over()

    def on_paste(self, event: events.Paste) -> None:
        """Skip."""
        event.stop()
        event.prevent_default()
        self._over()

    def _over(self) -> None:
        while self._left:
            at, key = self._left.popleft()
            self.recorder.press(key, at)
        self.app.exit(True)


def play(recorder: Recorder, look: Look, pair: str, script: Iterable[tuple[float, str]], speed: float) -> int:
    """Show it; return the exit code, which is not 0 where it was ended from outside."""
    app = WatchApp(look, watching=Played(recorder, look, pair=pair, script=script, speed=speed))
    app.run()
    return app.return_code or 0
