"""Measure each command over many sessions: `python -m tests.bench.commands [SESSIONS ...]` (300 and 10,000).

Processor time and peak memory of the whole process, the caches warm, beside a bare interpreter and one that imports
pandas, all by turns in the same run; then what the desk takes to its first paint. The sessions are made ones, of 400
males and 600 females, of whom every fourth has a card.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.bench import keep_bytecode, made
from tests.bench.cards import cards
from tests.screens.terminal import Terminal

TODAY = "--today", "2026-12-31"
MALE, FEMALE = "M-28", "F-196"  # who met in the made sessions
COMMANDS = {
    "due": ("due", *TODAY),
    "card": ("card", FEMALE),
    "label": ("label", FEMALE, "-o", "label.png"),
    "ready": ("ready", MALE, FEMALE, *TODAY),
    "outcome": ("outcome", *TODAY),
    "plan": ("plan", "--species", "Brachypelma smithi", *TODAY),
    "latency": ("latency", "courtship", "--rows"),
    "latency of males": ("latency", "courtship", "--by", "male"),
    "duration": ("duration",),
    "transition": ("transition",),
    "export": ("export", "tables"),
    "show": ("show", "sessions/000028.jsonl"),
    "check": ("check",),
    "help words": ("help", "words"),
}


# A process begins with the peak of the one that it was forked from, so it is started from a small one.
SMALL = (
    "import os, sys; from resource import *; pid = os.spawnv(os.P_NOWAIT, sys.argv[1], sys.argv[1:]);"
    "assert os.waitstatus_to_exitcode(os.wait()[1]) in (0, 1);"  # 1: done, with findings
    "used = getrusage(RUSAGE_CHILDREN); print(used.ru_utime + used.ru_stime, used.ru_maxrss, file=sys.stderr)"
)


def run(words: list[str], folder: Path) -> tuple[float, float]:
    """Return the processor's seconds and the MB at the peak of one process and of what it started."""
    done = subprocess.run([sys.executable, "-c", SMALL, *words], cwd=folder, capture_output=True, text=True)
    seconds, kib = done.stderr.splitlines()[-1].split()
    return float(seconds), int(kib) / 1024


def first_paint(folder: Path) -> tuple[float, float]:
    """Return the seconds to the desk's first paint, by the clock, and the processor's seconds until it has ended."""
    before = os.times()
    began = time.perf_counter()
    with Terminal(cwd=folder) as terminal:
        terminal.until("LAST SESSIONS", 120)
        waited = time.perf_counter() - began
        terminal.type("q")
        terminal.wait(60)
    after = os.times()
    return waited, after.children_user + after.children_system - before.children_user - before.children_system


def main() -> None:
    keep_bytecode()
    for count in [int(word) for word in sys.argv[1:]] or [300, 10_000]:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "sessions").mkdir()
            made.files(folder / "sessions", count, like_recorded=True)
            cards(folder / "animals", 150)
            time.sleep(2.5)  # what was written a moment ago is not kept
            works = {
                "bare interpreter": [sys.executable, "-c", "pass"],
                "import pandas": [sys.executable, "-c", "import pandas"],
            } | {name: [sys.executable, "-m", "etholog", *words] for name, words in COMMANDS.items()}
            took: dict[str, list[tuple[float, float]]] = {name: [] for name in works}
            for words in works.values():  # fills the caches
                run(words, folder)
            for _ in range(3):
                for name, words in works.items():
                    took[name].append(run(words, folder))
            print(f"\n{count:,} sessions of {made.MARKS} marks, load {os.getloadavg()[0]:.1f}")
            bare = statistics.median(seconds for seconds, _ in took["bare interpreter"])
            for name, found in took.items():
                seconds = statistics.median(seconds for seconds, _ in found)
                print(f"{name:17} {seconds:6.2f} s {max(peak for _, peak in found):5.0f} MB  x {seconds / bare:.0f}")
            waited, spent = first_paint(folder)
            print(
                f"the desk's first paint {waited:.2f} s by the clock; {spent:.2f} s of the processor until it has ended"
            )


if __name__ == "__main__":
    main()
