"""Ends the program when its screen can't: outside the event loop, and outside the main thread.

A terminal that no longer reads stops Textual's loop, and a terminal that is gone may stop it for ever. A signal's
number goes into a pipe at once, whatever the main thread does (`signal.set_wakeup_fd`), and a thread of our own reads
it there.
"""

import os
import signal
import sys
from collections.abc import Callable
from contextlib import suppress
from threading import Event, Lock, Thread

NAMES = ("SIGHUP", "SIGTERM", "SIGINT", "SIGQUIT")
GRACE_S = 1.3  # how long the screen has to end in its own way
LAST_S = 0.5  # how long closing the journal may take then
FORCED = 3  # the exit code: ended without the screen; the session was broken off and can be resumed


class Watchdog:
    """Has `ask(number, name)` end the program after a signal; when `over` is not called in time, calls `last(name)` in
    a thread of its own and ends the process."""

    def __init__(self, ask: Callable[[int, str], None], last: Callable[[str], None]) -> None:
        self._ask, self._last = ask, last
        self._over = Event()
        self._once = Lock()
        self._before: dict[int, object] = {}

    def listen(self) -> None:
        """Begin; in the main thread. Does nothing on Windows, which knows no such signals."""
        if sys.platform == "win32":
            return
        reader, writer = os.pipe()
        os.set_blocking(writer, False)
        for name in NAMES:
            number = getattr(signal, name)
            self._before[number] = signal.signal(number, lambda *_: None)
        signal.set_wakeup_fd(writer, warn_on_full_buffer=False)
        Thread(target=self._watch, args=(reader,), name="watchdog", daemon=True).start()

    def over(self) -> None:
        """The screen has ended; signals are what they were before. In the main thread."""
        self._over.set()
        if self._before:
            signal.set_wakeup_fd(-1)
        for number, handler in self._before.items():
            signal.signal(number, handler)  # type: ignore[arg-type]
        self._before.clear()

    def end(self, number: int, how: str) -> None:
        """End the program, by force if need be; only the first call counts. It returns when the screen has ended."""
        if not self._once.acquire(blocking=False):
            return
        with suppress(RuntimeError):  # the loop may be closed already
            self._ask(number, how)
        if self._over.wait(GRACE_S):
            return
        closing = Thread(target=self._last, args=(how,), daemon=True)
        closing.start()
        closing.join(LAST_S)
        os._exit(FORCED)

    def _watch(self, reader: int) -> None:
        while heard := os.read(reader, 64):
            for number in heard:
                if signal.Signals(number).name in NAMES:
                    self.end(number, signal.Signals(number).name)
