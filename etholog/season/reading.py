"""The files of many sessions, read to rows by all processors of the machine.

Each processor but the first has a Python of its own read a share of the files and pack the rows; whatever becomes of
it, what it did not hand over is read here instead.
"""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

import numpy as np

from etholog import session
from etholog.base import system
from etholog.base.refusal import Refusal
from etholog.season import packing, rows
from etholog.season.rows import Rows
from etholog.session import Session

SHARE = 1000  # sessions at least: fewer are read before another Python would begin


def sessions(folder: Path, names: Sequence[str], faults: list[str]) -> Iterator[Session]:
    """Yield the sessions of these files one by one, so that no more than one of them need be held; tell `faults` of
    what could not be read."""
    for name in names:
        try:
            yield session.read(folder / name)
        except Refusal as refusal:
            faults += str(refusal).splitlines()


def gather(folder: Path, names: Sequence[str], faults: list[str]) -> Rows:
    """Return the rows of these files, in their order; tell `faults` of what could not be read."""
    count = max(1, min(system.processors(), len(names) // SHARE))
    shares = [names[len(names) * at // count : len(names) * (at + 1) // count] for at in range(count)]
    with ExitStack() as others:
        handed = [others.enter_context(_handed_over(folder, share)) for share in shares[1:]]
        found = rows.gather(sessions(folder, shares[0], faults))
        for share, over in zip(shares[1:], handed, strict=True):
            got = over()
            if got is None:
                found = rows.join(found, rows.gather(sessions(folder, share, faults)))
            else:
                found = rows.join(found, got[0])
                faults += got[1]
    return found


@contextmanager
def _handed_over(folder: Path, names: Sequence[str]) -> Iterator[Callable[[], tuple[Rows, list[str]] | None]]:
    """Have another Python read these files; what this yields waits for it and returns the rows and the faults."""
    with tempfile.TemporaryFile() as asked, tempfile.TemporaryFile() as given:
        asked.write(os.fsencode("\0".join([str(folder), *names])))
        asked.seek(0)
        # -P: a folder of sessions may hold anything, and so modules too.
        command = [sys.executable or "", "-P", "-m", "etholog.season.reading"]
        try:
            process = subprocess.Popen(command, stdin=asked, stdout=given, stderr=subprocess.DEVNULL)
        except OSError:
            yield lambda: None
            return

        def rows_and_faults() -> tuple[Rows, list[str]] | None:
            process.wait()
            given.seek(0)
            got = packing.unpack(given, ["faults"])
            return got and (got[0], json.loads(bytes(got[1]["faults"])))

        try:
            yield rows_and_faults
        finally:
            process.kill()
            process.wait()


def main() -> None:
    """Read what is asked for on the standard input, and hand it over on the standard output."""
    folder, *names = os.fsdecode(sys.stdin.buffer.read()).split("\0")
    faults: list[str] = []
    found = rows.gather(sessions(Path(folder), names, faults))
    packing.pack(sys.stdout.buffer, found, faults=np.frombuffer(json.dumps(faults).encode(), dtype=np.uint8))


if __name__ == "__main__":
    main()
