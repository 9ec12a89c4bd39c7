"""A real terminal around a real process: a pty, with pyte to read the screen as a person would."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import sys
import termios
import time
from pathlib import Path

import pyte

from etholog import session
from tests.make import TERRESTRIAL_1

MARK = re.compile(rb"mark (\d+)")


class Terminal:
    """Runs `etholog` in a pty of its own, `under` another program if need be.

    `screen()` is what stands on it; `until` waits for words, with a limit.
    """

    def __init__(
        self, *words: str, cwd: Path, columns: int = 80, rows: int = 24, under: tuple[str, ...] = (),
        python: str = sys.executable, **environment: str,
    ) -> None:  # fmt: skip
        self._python = python
        self._emulator = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self._emulator)
        self.raw = b""
        self._drawn = 0  # so much of it the emulator has taken in: it does so when asked, as it takes longer than a key
        self.pid, self.master = pty.fork()
        if self.pid == 0:
            os.chdir(cwd)
            os.environ.update({"TERM": "xterm-256color", "LINES": "", "COLUMNS": ""} | environment)
            self._become(words, under)
        self.resize(columns, rows)

    def _become(self, words: tuple[str, ...], under: tuple[str, ...]) -> None:
        """Turn the child into the program."""
        if under:  # where little may be written, coverage can't write either, and would say so on the screen
            os.environ.pop("COVERAGE_PROCESS_CONFIG", None)
        command = [*under, self._python, "-m", "etholog", *words]
        os.execvp(command[0], command)

    def resize(self, columns: int, rows: int) -> None:
        fcntl.ioctl(self.master, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        self._draw()
        self._emulator.resize(rows, columns)
        self._worked_out = -1, ""

    def type(self, keys: str | bytes) -> None:
        os.write(self.master, keys.encode() if isinstance(keys, str) else keys)

    def read(self, seconds: float = 0.0) -> None:
        """Take in what the program writes, for so long."""
        end = time.monotonic() + seconds
        while True:
            ready, _, _ = select.select([self.master], [], [], max(0.0, end - time.monotonic()))
            if not ready:
                return
            try:
                data = os.read(self.master, 65536)
            except OSError:
                return
            if not data:
                return
            self.raw += data

    def screen(self) -> str:
        self.read(0.02)
        return self._text()

    def _text(self) -> str:
        """Return what stands on the screen; working that out is slow, so it is done when something new has come."""
        if self._worked_out[0] != len(self.raw):
            self._draw()
            self._worked_out = len(self.raw), "\n".join(self._emulator.display)
        return self._worked_out[1]

    def _draw(self) -> None:
        self._stream.feed(self.raw[self._drawn :])
        self._drawn = len(self.raw)

    def until(self, words: str, seconds: float = 20.0) -> str:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.read(0.05)
            if words in self._text():
                self.read(0.1)  # the rest of what was painted with them
                return self._text()
        raise AssertionError(f"{words!r} did not come in {seconds} s:\n{self._text()}")

    def until_gone(self, words: str, seconds: float = 20.0) -> None:
        end = time.monotonic() + seconds
        while words in self.screen():
            assert time.monotonic() < end, f"{words!r} stands on the screen for {seconds} s:\n{self.screen()}"
            self.read(0.1)

    def start(self) -> None:
        """Pass the cautions and start the clock."""
        self.until("Enter starts the clock")
        self.type("\r")
        self.until("nothing runs")

    def end(self, *answers: str) -> None:
        """End the session, and answer the questions of the form after it; without answers, leave it empty."""
        self.type("\x1b")
        self.until("END?")
        self.type("\r")
        self.until("How did it end?")
        self.type("".join(f"{answer}\r" for answer in answers) + "\x13")  # Ctrl-S

    def end_and_leave(self) -> None:
        """End a session that was watched on film, and leave what is shown of it."""
        self.type("\x1b")
        self.until("END?")
        self.type("\r")
        self.until("closed and kept")
        self.type("\x1b")
        assert self.wait() == 0

    def kill(self, number: int) -> None:
        os.kill(self.pid, number)

    def wait(self, seconds: float = 20.0) -> int:
        """Read until the program is gone; its exit code, or minus the signal's number."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.read(0.05)
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.read(0.05)
                self.pid = 0
                return os.waitstatus_to_exitcode(status)
        raise AssertionError("the program did not end")

    def hang_up(self) -> None:
        """Close the terminal, as a window that is closed."""
        os.close(self.master)
        self.master = -1

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(self, *_: object) -> None:
        if self.pid:
            try:
                os.kill(self.pid, signal.SIGKILL)
                os.waitpid(self.pid, 0)
            except (ProcessLookupError, ChildProcessError):
                pass
        if self.master >= 0:
            os.close(self.master)


# An ethogram of the tests' own: a behaviour more in the shipped one breaks none of them.
ETHOGRAM = ("--ethogram", str(TERRESTRIAL_1))
WATCH = ("watch", "--male", "M-Basalt", "--female", "F-Umbra", *ETHOGRAM)


def gone(terminal: Terminal, seconds: float = 20.0) -> int:
    """Wait for the end without reading what it writes; its exit code, or minus the signal's number."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        pid, status = os.waitpid(terminal.pid, os.WNOHANG)
        if pid:
            terminal.pid = 0
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    raise AssertionError("the program did not end")


def the_file(folder: Path) -> Path:
    (file,) = (folder / "sessions").glob("*.jsonl")
    return file


def codes(folder: Path) -> list[str]:
    return [record["code"] for record in session.read(the_file(folder)).records if record["do"] == "mark"]


def painted_marks(terminal: Terminal) -> int:
    """Add up the counts that the lanes showed last."""
    found = [re.search(r"│\s+(\d+)(\s+\d+:\d\d)?\s*$", line) for line in terminal.screen().splitlines()]
    return sum(int(one[1]) for one in found if one)
