"""Memory and idle processor at the end of a ten-hour session: `python -m tests.bench.long [SECONDS]`.

The ten hours are made with a moved clock, by the recorder itself (a mark every 12 s, corrections, notes, gaps), and the
session is then gone on with in a real terminal: so its size is real, and what would leak with time alone is not seen.
Beside it stands a session that has just begun. Processor is that of the program alone, over so many seconds in which
nobody presses a key; memory is its resident set.
"""

import random
import sys
import tempfile
import time
from pathlib import Path

from etholog.base import system
from etholog.ethogram import find, read
from etholog.recording import opening
from etholog.recording.recorder import Recorder
from tests.bench.watch import cpu_seconds, resident_mb
from tests.screens.terminal import Terminal

HOURS, EVERY_S = 10, 12


def made(folder: Path, hours: int) -> Path:
    """Record for so many hours of a moved clock; return the file."""
    chance, kept = random.Random(1), read(find("terrestrial"))
    began = system.now() - hours * 3600 - 60
    wall = system.wall_now()
    book = opening.begin(folder, kept, wall, began, male="M", female="F")
    recorder = Recorder(book, kept, "left", wall, began)
    keys = sorted(recorder.layout)
    for at in range(EVERY_S, hours * 3600, EVERY_S):
        what = chance.random()
        if what < 0.8:
            recorder.take(chance.choice(keys), began + at)
        elif what < 0.95:
            recorder.take(chance.choice(["backspace", "1", "2", "3"]), began + at)
        else:
            recorder.line("as before", began + at)
    book.close()
    return book.path


def idle(file: Path, seconds: float) -> tuple[float, float, float]:
    """Go on with a session, press nothing; return the processor's share, and the memory in MB before and after."""
    with Terminal("resume", str(file), cwd=file.parent, columns=120, rows=40) as terminal:
        terminal.until("nothing runs", 120)
        terminal.read(5)
        before, memory = cpu_seconds(terminal.pid), resident_mb(terminal.pid)
        began = time.monotonic()
        terminal.read(seconds)
        return (cpu_seconds(terminal.pid) - before) / (time.monotonic() - began), memory, resident_mb(terminal.pid)


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 120.0
    for hours in (0, HOURS):
        with tempfile.TemporaryDirectory() as folder:
            file = made(Path(folder), hours)
            lines = file.read_bytes().count(b"\n")
            share, before, after = idle(file, seconds)
        told = f"{share:.1%} of one core over {seconds:.0f} s without a key; {before:.0f} MB, {after:.0f} MB after that"
        print(f"{hours:>2} h, {lines} lines: {told}", flush=True)


if __name__ == "__main__":
    main()
