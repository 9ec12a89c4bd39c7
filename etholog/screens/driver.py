"""Textual's driver with an input thread of our own: what is no key never becomes one, and nothing that comes ends it.

Textual's own thread dies of a byte that is no UTF-8 and of some sequences, and makes keys of answers that it does not
know. Here `Keystrokes` takes the stream apart, and Textual's parser is given one whole key or report at a time.
"""

import sys
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

from textual import events
from textual.driver import Driver
from textual.message import Message

from etholog.base.keystrokes import ESC, Keystrokes, Stroke

FOCUS_IN = "\x1b[I"
# Sets the flag of kitty's protocol that tells presses from repeats, and asks which flags the terminal knows. One that
# does not know the protocol passes over both, and nothing is taken for granted until it answers.
ASK_FOR_REPEATS = "\x1b[=2;2u\x1b[?u"
SOON_S, IDLE_S = 0.02, 0.1  # how long to wait for input, with a key begun and without
FAULTS_IN_A_ROW = 20
# What was begun is broken off (CAN); bracketed paste, mouse, focus and kitty's keys off; line wrap on; the usual
# screen, with its cursor.
LEAVE = b"\x18\x1b[?2004l\x1b[?1000l\x1b[?1003l\x1b[?1006l\x1b[?1004l\x1b[<u\x1b[?7h\x1b[?1049l\x1b[?25h"
WRITES_ON_S, TRIES = 0.02, 8  # a write that was under way ends in so short a time, or a few times as long

if TYPE_CHECKING:
    from textual._xterm_parser import XTermParser


def give_back(driver: Driver) -> None:
    """Give the terminal back to the shell without the help of the driver's threads, as far as it takes that."""
    if sys.platform == "win32":
        return
    import os
    import signal
    import termios
    import threading
    import time
    from contextlib import suppress

    before = getattr(driver, "attrs_before", None)
    if before is not None:
        with suppress(termios.error):
            termios.tcsetattr(0, termios.TCSANOW, before)
    # A terminal that does not read lets nobody finish writing, and a write that waits keeps all others out. So a thread
    # that waits is woken by a signal (which the watchdog has heard before) and goes on writing to nowhere, and what the
    # terminal has not read yet is thrown away, so that there is room.
    with suppress(OSError, termios.error):
        terminal = os.open(os.ttyname(1), os.O_WRONLY | os.O_NOCTTY | os.O_NONBLOCK)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        for descriptor in (1, 2):
            os.dup2(nowhere, descriptor)
        for _ in range(TRIES):
            for thread in threading.enumerate():
                if thread is not threading.current_thread() and thread.ident is not None:
                    signal.pthread_kill(thread.ident, signal.SIGTERM)
            termios.tcflush(terminal, termios.TCOFLUSH)
            time.sleep(WRITES_ON_S)
            with suppress(BlockingIOError):  # the write that was under way has not ended
                os.write(terminal, LEAVE)
                break


def held(event: events.Key) -> bool | None:
    """Return whether a key came because it is held down; None where the terminal does not tell."""
    told: bool | None = getattr(event, "held", None)
    return told


def noting_driver(
    note: Callable[[events.Event], None], ended: Callable[[int, str], None], farewell: Callable[[], str]
) -> type[Driver] | None:
    """Return a Textual driver of our own; None where the usual one has to do.

    It calls `note(event)` in the input thread for each key, tap and paste, and `ended(signal, how)` when no more can
    come; what `farewell` gives stands on the terminal after it was given back to the shell for a while.
    """
    if sys.platform == "win32":
        return None
    import codecs
    import contextlib
    import os
    import select
    import signal
    import time

    from textual._xterm_parser import XTermParser
    from textual.constants import DISABLE_KITTY_KEY
    from textual.drivers.linux_driver import LinuxDriver

    class NotingDriver(LinuxDriver):
        """The usual driver but for its input thread."""

        gone = False  # whether nobody is at the other end: Textual's queue of writes would fill, and block for ever

        def write(self, data: str) -> None:
            if not self.gone:
                super().write(data)

        def close(self) -> None:
            if not self.gone:
                super().close()

        def start_application_mode(self) -> None:
            super().start_application_mode()  # type: ignore[no-untyped-call]
            if not DISABLE_KITTY_KEY:
                self.write(ASK_FOR_REPEATS)
                self.flush()

        def suspend_application_mode(self) -> None:
            super().suspend_application_mode()
            with contextlib.suppress(OSError):
                os.write(1, farewell().encode())

        def run_input_thread(self) -> None:
            reader, keystrokes = _Reader(XTermParser()), Keystrokes()
            decoder = codecs.getincrementaldecoder("utf-8")("replace")
            faults = 0
            while not self.exit_event.is_set():
                try:
                    data = b""
                    if select.select([self.fileno], [], [], SOON_S if keystrokes.waits else IDLE_S)[0]:
                        data = os.read(self.fileno, 4096)
                        if not data:
                            raise OSError("end of input")
                except OSError:
                    self.gone = True
                    ended(signal.SIGHUP, "the terminal is gone")
                    return
                at = time.monotonic()
                strokes = keystrokes.feed(decoder.decode(data), at) if data else keystrokes.tick(at)
                for message in reader.messages(strokes):
                    try:
                        self.process_message(message)
                        faults = 0
                    except Exception as error:  # one key is no reason to hear no other
                        faults += 1
                        if faults >= FAULTS_IN_A_ROW:
                            ended(0, f"the input failed, {type(error).__name__}")
                            return

        def process_message(self, message: Message) -> None:
            if isinstance(message, events.Key | events.MouseDown | events.Paste):
                with contextlib.suppress(Exception):  # a second net; the key itself is handed on in any case
                    note(message)
            super().process_message(message)

    return NotingDriver


class _Reader:
    """Turns strokes into Textual's messages. What Textual's parser does not know, or fails on, is dropped."""

    def __init__(self, parser: "XTermParser") -> None:
        self._parser = parser

    def messages(self, strokes: Iterable[Stroke]) -> Iterator[Message]:
        """Yield what Textual makes of strokes."""
        for stroke in strokes:
            if stroke.kind == "paste":
                yield events.Paste(stroke.text.replace("\x00", ""))
            elif stroke.text == ESC:
                yield events.Key("escape", ESC)
            else:
                # Alt and a key, or Esc and a key in one breath: the key is what counts.
                for message in self._fed(stroke.text[-1] if len(stroke.text) == 2 else stroke.text):
                    message.held = stroke.held  # type: ignore[attr-defined]
                    yield message

    def _fed(self, text: str) -> list[Message]:
        try:
            messages = list(self._parser.feed(text))
            # A parser that is in the middle of something would make keys of it: it shows when this comes.
            rest = list(self._parser.feed(FOCUS_IN))
        except Exception:  # of whatever kind: Textual's parser is as it is
            kept = ("mouse_pixels", "terminal_size", "terminal_pixel_size", "last_x", "last_y")
            new = type(self._parser)()
            vars(new).update({name: getattr(self._parser, name) for name in kept})
            self._parser = new
            return []
        return messages if len(rest) == 1 else []
