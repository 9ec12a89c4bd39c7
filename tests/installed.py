"""Records a session with an installed etholog, in a pty and an empty folder: `python tests/installed.py ETHOLOG`.

It needs nothing but the standard library, so that it can judge an installation that has no tests in it.
"""

import contextlib
import os
import pty
import select
import subprocess
import sys
import tempfile
import time
from pathlib import Path


def until(master: int, words: bytes, seconds: float = 30.0) -> bytes:
    seen = b""
    end = time.monotonic() + seconds
    while words not in seen:
        if time.monotonic() > end:
            raise SystemExit(f"{words!r} did not come; seen: {seen[-2000:]!r}")
        if select.select([master], [], [], 0.1)[0]:
            seen += os.read(master, 65536)
    return seen


def ended(pid: int, master: int, seconds: float = 60.0) -> None:
    """Skip the questions after the session, until the program has ended by itself."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if os.waitpid(pid, os.WNOHANG)[0]:
            return
        os.write(master, b"\r")
        if select.select([master], [], [], 0.1)[0]:
            with contextlib.suppress(OSError):  # nobody holds the other end any more
                os.read(master, 65536)
    raise SystemExit("the program did not end")


def main() -> None:
    program = str(Path(sys.argv[1]).absolute())
    with tempfile.TemporaryDirectory() as folder:
        pid, master = pty.fork()
        if pid == 0:
            os.chdir(folder)
            os.environ.update(TERM="xterm-256color", COLUMNS="100", LINES="40")
            os.execv(program, [program, "watch", "--plain", "--male", "M-1", "--female", "F-1"])
        until(master, b"Enter starts the clock")
        os.write(master, b"\r")
        until(master, b"The clock runs")
        os.write(master, b"d")
        until(master, b"drumming")
        os.write(master, b"\x1b")  # alone: with an Enter behind it, a terminal's Alt+Enter
        until(master, b"Enter ends the session")
        ended(pid, master)
        sessions = Path(folder, "sessions").glob("*.jsonl")
        shown = subprocess.run([program, "show", *sessions], capture_output=True, text=True)
        assert shown.returncode == 0, shown.stderr
        assert "palpal drumming" in shown.stdout, shown.stdout
        print("recorded and read back with the installed program")


if __name__ == "__main__":
    main()
