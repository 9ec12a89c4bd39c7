"""Kill the recorder at random moments and judge what is left: `python -m tests.bench.crash [HOW_MANY] [FIRST_SEED]`.

Each round types random keys (marks, corrections, notes, gaps) into a real terminal and ends the program with SIGKILL,
in the four settings plain, full disk, frozen terminal, both, at two sizes. Then:

* what was painted last, as a terminal emulator has it, is in the file or in the rescue file;
* the file opens; `resume` takes in what was rescued and the keys that were never handled, and goes on;
* the end equals that of an oracle: a recorder without terminal, thread and disk that was given the same keys.

A figure for each setting is printed; a round that fails prints its seed and is kept.
"""

import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from etholog import session
from etholog.base import journal, rescue
from etholog.ethogram import find, read
from etholog.recording import opening
from etholog.recording.arrivals import Arrival
from etholog.recording.recorder import Recorder
from etholog.recording.replay import _Replay
from tests.screens.terminal import WATCH, Terminal, the_file
from tests.screens.test_faults import SHIM

SIZES = ((80, 24), (120, 40))
SETTINGS = ("plain", "full disk", "frozen terminal", "both")
STAMPS_MS = 5
MARKS = "wertsdfgbvzxc"
NAMES = {"\r": "enter", "\x7f": "backspace", "\t": "tab"}
OF_OTHERS = ("prompt", "clock", "begin")  # records that no key makes


def script(chance: random.Random) -> list[str]:
    """Keys to type: no key twice in a row, which would be one that is held down."""
    typed: list[str] = []
    while len(typed) < chance.randrange(15, 60):
        match chance.choices(("mark", "correct", "note", "gap"), (70, 18, 7, 5))[0]:
            case "mark":
                new = [chance.choice(MARKS)]
            case "correct":
                new = [chance.choice("\x7f123")]
            case "note":
                new = ["\r", *chance.choice(("abc", "dvx", "x1", "q\x7fz")), "\r"]
            case _:
                new = ["-"]
        if not typed or typed[-1] != new[0]:
            typed += new
    return typed


class Oracle:
    """What keys at these times come to, and after how many records each of them is answered."""

    def __init__(self, arrivals: list[Arrival]) -> None:
        kept = read(find("terrestrial"))
        with tempfile.TemporaryDirectory() as folder:
            book = opening.begin(Path(folder), kept, session_began(), 0.0, male="M", female="F")
            self.recorder = Recorder(book, kept, "left", session_began(), 0.0)
            machine = _Replay(self.recorder)
            self.answers: list[tuple[str, int]] = []
            for arrival in arrivals:
                text = machine.take(arrival, arrival.t / 1000)
                self.answers.append((text, len(self.records)))
            if arrivals:
                machine.end(arrivals[-1].t / 1000)
            book.close()

    @property
    def records(self) -> list[dict[str, Any]]:
        return comparable(self.recorder.live.records)


def session_began() -> Any:
    from datetime import UTC, datetime

    return datetime(2026, 5, 3, 19, 15, tzinfo=UTC)


def comparable(records: Any) -> list[dict[str, Any]]:
    """Return what keys made of the records, without the clock's share; what points to a record by its place here."""
    told = [record for record in records if record["do"] not in OF_OTHERS]
    places = {record["n"]: place for place, record in enumerate(told)}
    kept = []
    for record in told:
        one = {name: value for name, value in record.items() if name not in ("n", "wall", "crc")}
        if one["do"] == "note":
            del one["t"]  # the screen stamps a line when it is worked off
        if "of" in one:
            one["of"] = places.get(one["of"])
        kept.append(one)
    return kept


def arrived(file: Path) -> list[Arrival]:
    """Return the keys as the program noted them on arrival."""
    lines = [json.loads(line) for line in (file.parent / f".{file.name}.keys").read_bytes().splitlines()]
    return [Arrival(line[1], line[2], line[3]) for line in lines if len(line) == 4]


def one_round(seed: int, setting: str, size: tuple[int, int], folder: Path, shim: Path) -> str:
    """Return '' where all is well, or what is not."""
    chance = random.Random(f"{seed} {setting}")
    keys = script(chance)
    control, state = folder / "fault", folder / "state"
    os.environ["XDG_STATE_HOME"] = str(state)  # where this process, too, looks for rescue files
    environment = {"LD_PRELOAD": str(shim), "FAULT": str(control), "XDG_STATE_HOME": str(state)}
    fails_at = chance.randrange(len(keys)) if setting in ("full disk", "both") else -1
    freezes_at = chance.randrange(len(keys)) if setting in ("frozen terminal", "both") else len(keys)
    killed_at = chance.randrange(len(keys) // 2, len(keys)) if setting in ("plain", "full disk") else len(keys) - 1
    with Terminal(*WATCH, cwd=folder, columns=size[0], rows=size[1], **environment) as terminal:
        terminal.start()
        for place, key in enumerate(keys[: killed_at + 1]):
            if place == fails_at:
                control.write_text("write")
            terminal.type(key)
            pause = chance.uniform(0.0, 0.09)
            if place < freezes_at:
                terminal.read(pause)
            else:
                time.sleep(pause)
        time.sleep(chance.uniform(0.0, 0.05) if setting in ("plain", "full disk") else chance.uniform(0.5, 1.5))
        terminal.kill(signal.SIGKILL)
        os.waitpid(terminal.pid, 0)
        terminal.pid = 0
        painted = terminal._emulator.display if freezes_at < len(keys) else terminal.screen().split("\n")
    file = the_file(folder)
    noted = arrived(file) if (file.parent / f".{file.name}.keys").exists() else []
    typed = [NAMES.get(key, key) for key in keys]
    for arrival, key in zip(noted, typed, strict=False):
        if arrival.character != key and arrival.key != key:
            return f"key {key!r} arrived as {arrival}"
    oracle = Oracle(noted)
    lines = journal.lines_of(file)
    for one in rescue.everywhere([file.parent]) if state.exists() else ():
        if one.bodies.get(0) == lines[0]:
            lines |= one.bodies
    there = [journal.decoded(body) for n, body in sorted(lines.items()) if n]
    if (missing := painted_but_missing(painted, oracle, len(comparable(there)))) is not None:
        return missing
    control.unlink(missing_ok=True)
    return resumed(folder, file, state, oracle)


def painted_but_missing(painted: list[str], oracle: Oracle, records: int) -> str | None:
    last = next((line for line in reversed(painted) if line.strip()), "").split("   [Backspace")[0].strip()
    if len(last) < 5:
        return None
    answered = [count for text, count in oracle.answers if text.startswith(last[:60])]
    if answered and min(answered) > records:
        return f"painted and not on the disk: {last!r} (record {min(answered)} of {records})"
    return None


def resumed(folder: Path, file: Path, state: Path, oracle: Oracle) -> str:
    with Terminal("resume", str(file), cwd=folder, rows=80, XDG_STATE_HOME=str(state)) as terminal:
        shown, end = "", time.monotonic() + 40
        while "nothing runs" not in shown and "NOBODY" not in shown:
            shown = terminal.screen()
            if "Enter takes all in" in shown and "nothing runs" not in shown:
                terminal.type("\r")
                terminal.until("nothing runs", 40)
            if time.monotonic() > end:
                return f"resume did not go on:\n{shown}"
        terminal.type("w")
        terminal.until(" she answers 0:", 40)
        terminal.end()
        if (code := terminal.wait(40)) != 0:
            return f"the end had exit code {code}:\n{terminal.screen().strip()}"
    after = session.read(file)
    findings = [found for found in after.findings if "torn" not in found.what]
    if findings:
        return f"findings: {[str(found) for found in findings]}"
    records = comparable(after.records)
    expected = oracle.records
    if not all(map(equal, records, expected)) or len(records) < len(expected):
        place = next((at for at, pair in enumerate(zip(records, expected, strict=False)) if not equal(*pair)), -1)
        return f"record {place} is {records[place]}, the oracle has {expected[place]}"
    rest = [record["do"] for record in records[len(expected) :]]
    if rest not in (
        ["gap", "back", "mark", "close", "close"],
        ["gap", "back", "mark", "close"],
        ["back", "mark", "close"],
    ):
        return f"after what the keys made there are {rest}"
    return ""


def equal(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Tell whether two records say the same; a stamp that is read off two clocks twice may differ by some ms."""
    return one | {"t": 0} == other | {"t": 0} and abs(one.get("t", 0) - other.get("t", 0)) <= STAMPS_MS


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    bad: Counter[str] = Counter()
    done: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as home:
        (Path(home) / "shim.c").write_text(SHIM)
        subprocess.run(["gcc", "-shared", "-fPIC", "-o", "shim.so", "shim.c", "-ldl"], cwd=home, check=True)
        for seed in range(first, first + count):
            setting, size = SETTINGS[seed % 4], SIZES[seed // 4 % 2]
            folder = Path(tempfile.mkdtemp(prefix=f"crash-{seed}-"))
            try:
                what = one_round(seed, setting, size, folder, Path(home) / "shim.so")
            except AssertionError as error:
                what = "\n".join(line for line in str(error).splitlines() if line.strip())
            done[setting] += 1
            if what:
                bad[setting] += 1
                print(f"seed {seed} ({setting}, {size[0]} x {size[1]}) in {folder}: {what}", flush=True)
            else:
                subprocess.run(["rm", "-rf", str(folder)], check=True)
    for setting in SETTINGS:
        print(f"{setting:<16} {done[setting]:>5} kills, {bad[setting]} with something lost or wrong")


if __name__ == "__main__":
    main()
