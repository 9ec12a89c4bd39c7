"""A film in mpv, steered and followed through its JSON IPC (https://mpv.io/manual/stable/#json-ipc)."""

import contextlib
import json
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from etholog.base import system
from etholog.base.refusal import Refusal

NO_MPV = (
    "there is no mpv here, which shows the film; get it from your system (apt install mpv, brew install mpv, "
    "winget install mpv) or from https://mpv.io"
)
PATIENCE_S = 20.0
# Keys and the mouse do nothing in the film's window: what is pressed belongs to the strip, or it would be no mark.
OPTIONS = (
    "--no-terminal",
    "--input-default-bindings=no",
    "--input-vo-keyboard=no",
    "--osc=no",
    "--pause",
    "--keep-open=always",
    "--hr-seek=yes",
    "--force-window=yes",
    "--no-resume-playback",
)


def opened(films: Sequence[tuple[Path, float]]) -> str:
    """Return what mpv is to open: a file, or several as one (https://github.com/mpv-player/mpv, DOCS/edl-mpv.rst)."""
    if len(films) == 1:
        return str(films[0][0].absolute())
    # A name is given with its length in bytes, so that no sign in it means anything.
    named = [(str(path.absolute()), seconds) for path, seconds in films]
    return "edl://" + ";".join(f"%{len(name.encode())}%{name},length={seconds:.6f}" for name, seconds in named)


class Mpv:
    """Films, one after the other as one, in a window of their own, paused at first.

    `films` are files with the seconds that each lasts.
    `shown(film_s)` is called, in a thread, with the time of each frame as it comes on the screen.
    """

    def __init__(self, films: Sequence[tuple[Path, float]], start_s: float, shown: Callable[[float], None]) -> None:
        program = shutil.which("mpv")
        if program is None:
            raise Refusal(NO_MPV)
        self.paused, self.speed, self.at_end, self.gone = True, 1.0, False, False
        self._shown = shown
        self._ready = threading.Event()
        words = [program, *OPTIONS, f"--start={start_s:.6f}", "--", opened(films)]
        try:
            # By its descriptor, mpv ends when the channel does: a killed etholog leaves no film behind.
            self._child, self._channel = system.start_with_channel(
                words, "--input-ipc-client=fd://", "--input-ipc-server="
            )
        except OSError as error:
            raise Refusal(f"mpv did not start ({error.strerror}); try it alone: mpv FILE") from error
        self._thread = threading.Thread(target=self._follow, name="mpv", daemon=True)
        self._thread.start()
        for number, name in enumerate(("time-pos", "pause", "speed", "eof-reached"), 1):
            self._tell("observe_property", number, name)
        if not self._ready.wait(PATIENCE_S) or self.gone:
            self.close()
            names = ", ".join(str(path) for path, _ in films)
            raise Refusal(f"{names}: mpv can't show it here; try it alone: mpv FILE")

    # ------------------------------------------------------------ steering

    def toggle(self) -> None:
        """Play, or pause."""
        self._tell("cycle", "pause")

    def pause(self) -> None:
        """Stop the film where it is."""
        self._tell("set_property", "pause", True)

    def step(self, forward: bool) -> None:
        """Show the next frame, or the one before, and pause."""
        self._tell("frame-step" if forward else "frame-back-step")

    def seek(self, film_s: float) -> None:
        """Show the frame at a time of the film."""
        self._tell("seek", max(0.0, film_s), "absolute+exact")

    def set_speed(self, speed: float) -> None:
        """Play at this speed; 1 is that of the film."""
        self.speed = speed  # at once: the next press may come before mpv tells it
        self._tell("set_property", "speed", speed)

    def close(self) -> None:
        """End mpv."""
        self._tell("quit")
        try:
            self._child.wait(PATIENCE_S / 4)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()
        self._thread.join(PATIENCE_S / 4)
        self._channel.close()

    def _tell(self, *command: object) -> None:
        # A film that is gone can't be steered; what is marked stays at its last frame.
        with contextlib.suppress(OSError, ValueError):
            self._channel.write(json.dumps({"command": command}).encode() + b"\n")

    # ------------------------------------------------------------ following

    def _follow(self) -> None:
        film_s: float | None = None
        seeking = False
        for told in self._told():
            match told.get("event"), told.get("name"):
                case "seek", _:
                    seeking = True  # until it has arrived, mpv tells the time sought while the old frame stands
                case "playback-restart", _:
                    seeking = False
                    if film_s is not None:
                        self._shown(film_s)
                        self._ready.set()
                case "property-change", "time-pos":
                    film_s = told.get("data")
                    if film_s is not None and not seeking and not self.at_end:
                        self._shown(film_s)
                        self._ready.set()
                case "property-change", "pause":
                    self.paused = bool(told.get("data"))
                case "property-change", "speed":
                    self.speed = float(told.get("data") or 1)
                case "property-change", "eof-reached":
                    self.at_end = bool(told.get("data"))
        self.gone = True
        self._ready.set()

    def _told(self) -> Iterator[dict[str, Any]]:
        waiting = b""
        while True:
            try:
                data = self._channel.read(65536)
            except (OSError, ValueError):
                return
            if not data:
                return
            *lines, waiting = (waiting + data).split(b"\n")
            for line in lines:
                with contextlib.suppress(ValueError):
                    told = json.loads(line)
                    if isinstance(told, dict):
                        yield told
