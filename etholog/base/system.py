"""What depends on the operating system: clock, lock, sync. No other module asks which system it runs on.

Linux: CLOCK_BOOTTIME (it goes on during suspend), flock, fdatasync. macOS: CLOCK_MONOTONIC (there it goes on in sleep),
flock, and F_FULLFSYNC, since fsync leaves the data in the drive's cache. Windows: perf_counter, msvcrt.locking, fsync.
"""

import codecs
import io
import os
import select
import sys
import tempfile
import time
from collections import deque
from collections.abc import Sequence
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from subprocess import DEVNULL, Popen
from typing import NamedTuple

from etholog.base.keystrokes import ESCAPE_S, Keystrokes

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl
    import termios
    import tty

if sys.platform == "linux":
    CLOCK = "CLOCK_BOOTTIME"
elif sys.platform == "darwin":
    CLOCK = "CLOCK_MONOTONIC"
else:
    CLOCK = "perf_counter"

# Windows turns "\n" into two bytes unless told that the file is binary.
APPEND = os.O_RDWR | os.O_APPEND | getattr(os, "O_BINARY", 0)
# To a file that may not be there yet. A link of that name is not followed, and a pipe not waited for.
ADD = os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
ADD |= getattr(os, "O_BINARY", 0)


def now() -> float:
    """Return seconds on the clock named by `CLOCK`, which no change of the wall clock can bend."""
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    if sys.platform == "darwin":
        return time.clock_gettime(time.CLOCK_MONOTONIC)
    return time.perf_counter()


def wall_now() -> datetime:
    """Return the wall clock's time with its offset from UTC."""
    return datetime.now().astimezone()


def at_stamp(stamp: float) -> float:
    """Turn the stamp of a key, in seconds of Textual's clock, into seconds of `now`."""
    # Textual stamps with perf_counter on Windows and with time.monotonic elsewhere. A process that is set aside between
    # two readings would shift the stamp by as long, so those that lie closest together are taken.
    textual = time.perf_counter if sys.platform == "win32" else time.monotonic
    before, here, after = min(((now(), textual(), now()) for _ in range(3)), key=lambda read: read[2] - read[0])
    return (before + after) / 2 - (here - stamp)


def boot() -> str:
    """Return a name for the current run of the machine, '' where it has none: `now` means nothing across two of
    them."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    except OSError:
        return ""


def lock(descriptor: int) -> bool:
    """Take the file for this process alone, without waiting; False when another process has it."""
    try:
        if sys.platform == "win32":
            # The lock lies on one byte far behind any data, or nobody else could read the file.
            os.lseek(descriptor, 2**40, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def sync(descriptor: int) -> None:
    """Wait until the file's data is on the disk."""
    if sys.platform == "darwin":
        fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
    elif sys.platform == "win32":
        os.fsync(descriptor)
    else:
        os.fdatasync(descriptor)


def sync_folder(folder: Path) -> None:
    """Wait until the folder's list of names is on the disk; Windows does this by itself."""
    if sys.platform == "win32":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


class RescueFolder(NamedTuple):
    """A folder for what a journal's own place does not take; `lasts` where it outlives a restart of the machine."""

    path: Path
    lasts: bool


def rescue_folders() -> list[RescueFolder]:
    """Return the folders, best first, where a journal's lines may go when its own place takes none."""
    state = os.environ.get("XDG_STATE_HOME") or str(Path("~/.local/state").expanduser())
    folders = [RescueFolder(Path(state) / "etholog", True)]
    if sys.platform == "win32":
        return [*folders, RescueFolder(Path(tempfile.gettempdir()) / "etholog", True)]
    # The Filesystem Hierarchy Standard 3.0, 5.15: what is in /var/tmp outlives a restart. All users share these two.
    name = f"etholog-{os.getuid()}"
    return [
        *folders,
        RescueFolder(Path("/var/tmp", name), True),
        RescueFolder(Path(tempfile.gettempdir(), name), False),
    ]


def is_own(folder: Path) -> bool:
    """Tell whether a folder is this user's, and no trap that somebody else has laid."""
    return sys.platform == "win32" or folder.lstat().st_uid == os.getuid()


def stamp(seen: os.stat_result) -> tuple[int, int, int, int]:
    """Return which file it is, and its size and time: what changes when another program writes into it."""
    return seen.st_dev, seen.st_ino, seen.st_size, seen.st_mtime_ns


def start_with_channel(words: Sequence[str], by_descriptor: str, by_name: str) -> tuple[Popen[bytes], io.RawIOBase]:
    """Start a program in a session of its own, and return it with a channel to and from it.

    The channel's place is told by one more option: `by_descriptor`, followed by its number, or on Windows `by_name`,
    followed by the name of a pipe, which the program opens. OSError when it can't be started, or opens none.
    """
    if sys.platform == "win32":
        name = rf"\\.\pipe\etholog-{os.getpid()}"
        child = Popen([words[0], by_name + name, *words[1:]], stdin=DEVNULL, stdout=DEVNULL, stderr=DEVNULL)
        end = now() + 20
        while True:
            try:
                return child, Path(name).open("r+b", buffering=0)
            except OSError:
                if child.poll() is not None or now() > end:
                    child.kill()
                    raise
                time.sleep(0.05)
    import socket

    ours, theirs = socket.socketpair()
    with ours, theirs:
        number = theirs.fileno()
        child = Popen(
            [words[0], f"{by_descriptor}{number}", *words[1:]],
            stdin=DEVNULL,
            stdout=DEVNULL,
            stderr=DEVNULL,
            pass_fds=[number],
            start_new_session=True,
        )
        return child, ours.makefile("rwb", buffering=0)


class Keys:
    """Single keys from standard input, unechoed and unbuffered; within `with`, so that the terminal is given back."""

    def __init__(self) -> None:
        self.of_terminal = sys.stdin.isatty()
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        self._strokes = Keystrokes()
        self._waiting: deque[str] = deque()
        self._ended = False

    def __enter__(self) -> "Keys":
        if sys.platform != "win32" and self.of_terminal:
            self._before = termios.tcgetattr(0)
        self.take_over()
        return self

    def take_over(self) -> None:
        """Have the terminal give keys one by one, also after a shell had it meanwhile."""
        if sys.platform != "win32" and sys.stdin.isatty():
            tty.setcbreak(0)

    def give_back(self) -> None:
        """Have the terminal as it was, when it has read what was written."""
        if sys.platform != "win32" and self.of_terminal:
            with suppress(termios.error):  # it is gone
                termios.tcsetattr(0, termios.TCSADRAIN, self._before)

    def give_back_at_once(self) -> None:
        """Have the terminal as it was, though it may not read any more."""
        if sys.platform != "win32" and self.of_terminal:
            with suppress(termios.error):
                termios.tcsetattr(0, termios.TCSANOW, self._before)

    def __exit__(self, *_: object) -> None:
        self.give_back()

    def read(self, seconds: float) -> str | None:
        """Wait this long for a key; None when none came. A key that sends several characters comes whole; what a
        terminal answers is not a key. EOFError at the end of input."""
        end = now() + seconds
        while not self._waiting:
            self._fill(min(ESCAPE_S / 2, max(0.0, end - now())) if self._strokes.waits else max(0.0, end - now()))
            if not self._waiting and (self._ended or now() >= end):
                break
        if self._waiting:
            return self._waiting.popleft()
        if self._ended:
            raise EOFError
        return None

    def _fill(self, seconds: float) -> None:
        text = ""
        if sys.platform == "win32":
            end = now() + seconds
            while not msvcrt.kbhit() and now() < end:
                time.sleep(0.01)
            if msvcrt.kbhit():
                text = msvcrt.getwch()
        elif not self._ended and select.select([0], [], [], seconds)[0]:
            try:
                data = os.read(0, 4096)
            except OSError:  # the terminal is gone
                data = b""
            self._ended = not data
            text = self._decoder.decode(data, self._ended)
        # At the end of input nothing more can come of what was begun.
        at = float("inf") if self._ended else now()
        strokes = self._strokes.feed(text, at) if text else self._strokes.tick(at)
        self._waiting.extend(stroke.text for stroke in strokes if stroke.kind == "key")
