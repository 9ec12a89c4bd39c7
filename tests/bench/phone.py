"""Taps on a phone under kills of the recorder and loads of the page.

`python -m tests.bench.phone [TAPS [KILLS [RELOADS [SEED]]]]` (1000 10 10 0): a real Chromium with a touch screen taps
on the lanes of a real recorder in a terminal, which is ended by SIGKILL and resumed. Printed is how far each tap lies
from its touch, how well that was known, and what went wrong: a tap lost, made twice, out of order, out of its bounds.
"""

import sys
import tempfile
from pathlib import Path

from tests.phone.kills import run


def main() -> None:
    given = [int(word) for word in sys.argv[1:]]
    taps, kills, reloads, seed = [*given, *(1000, 10, 10, 0)[len(given) :]]
    with tempfile.TemporaryDirectory() as folder:
        print(f"{kills} kills, {reloads} loads: {run(Path(folder), taps, kills, reloads, seed)}")


if __name__ == "__main__":
    main()
