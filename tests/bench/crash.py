"""Kill the recorder at random moments and judge what is left.

`python -m tests.bench.crash [HOW_MANY [FIRST_SEED [JOBS]]]`: each round types random keys (marks, corrections, notes,
gaps) into a real terminal and ends the program with SIGKILL, in four settings at two sizes: plain (five rounds of
eight), full disk, frozen terminal, both. Then:

* what was painted last, as a terminal emulator has it (the answer, what runs or that nobody watches, the number of
  bouts in the lanes), is in the file or in the rescue file;
* the file opens; `resume` takes in what was rescued and the keys that were never handled, and goes on;
* the end equals that of an oracle: a recorder without terminal, thread and disk that was given the same keys.

A figure for each setting is printed; a round that fails prints its seed and is kept. The program is the real one in a
terminal and a process of its own, forked from one that has imported it already: so a round takes half the time.
"""

import gc
import importlib
import json
import os
import pkgutil
import random
import re
import shutil
import signal
import sys
import tempfile
import termios
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from etholog import session
from etholog.base import journal, rescue
from etholog.recording import opening
from etholog.recording.arrivals import Arrival
from etholog.recording.begun import Begun
from etholog.recording.lanes import Lanes
from etholog.recording.recorder import Recorder
from etholog.recording.replay import _Replay
from tests.make import terrestrial_1
from tests.screens.shim import build
from tests.screens.terminal import WATCH, Terminal, the_file

SIZES = ((80, 24), (120, 40))
SETTINGS = (*["plain"] * 5, "full disk", "frozen terminal", "both")
PATIENCE_S = 240  # with the program; what counts here is what is lost
STAMPS_MS = 30  # a busy machine reads two clocks so far apart
MARKS = "wertsdfgbvzxc"
NAMES = {"\r": "enter", "\x7f": "backspace", "\t": "tab"}
OF_OTHERS = ("prompt", "clock", "begin")  # records that no key makes
BEGAN = datetime(2026, 5, 3, 19, 15, tzinfo=UTC)


class Forked(Terminal):
    """A terminal whose program is forked from this one, so that it need not import everything again."""

    def _become(self, words: tuple[str, ...], under: tuple[str, ...]) -> None:
        sys.stdin, sys.stdout = open(0, encoding="utf-8"), open(1, "w", encoding="utf-8")  # noqa: SIM115
        sys.stderr = open(2, "w", encoding="utf-8", buffering=1)  # noqa: SIM115
        sys.__stdin__, sys.__stdout__, sys.__stderr__ = sys.stdin, sys.stdout, sys.stderr  # type: ignore[misc]
        code = 70
        try:
            from etholog.commands import main

            code = main(list(words))
            sys.stdout.flush()
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 70
        finally:
            os._exit(code)

    def freeze(self) -> None:
        """Let nothing that the program writes go out any more, as Ctrl-S of a console does."""
        slave = os.open(f"/proc/{self.pid}/fd/1", os.O_RDWR | os.O_NOCTTY)
        termios.tcflow(slave, termios.TCOOFF)
        os.close(slave)


def import_all() -> None:
    """Import what a recording needs, once for all rounds."""
    for room in ("base", "ethogram", "session", "animals", "recording", "screens"):
        package = importlib.import_module(f"etholog.{room}")
        for module in pkgutil.iter_modules(package.__path__):
            importlib.import_module(f"etholog.{room}.{module.name}")
    for name in ("etholog.commands.watch", "etholog.commands.resume", "textual.drivers.linux_driver", "readline"):
        importlib.import_module(name)
    gc.collect()
    gc.freeze()


def script(chance: random.Random, least: int, most: int) -> list[str]:
    """Keys to type: no key twice in a row, which would be one that is held down."""
    typed: list[str] = []
    length = chance.randrange(least, most)
    while len(typed) < length:
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
    """What keys at these times come to, and what a screen may show of it after how many records."""

    def __init__(self, arrivals: list[Arrival]) -> None:
        kept = terrestrial_1()
        with tempfile.TemporaryDirectory() as folder:
            book = opening.begin(Path(folder), kept, BEGAN, 0.0, male="M", female="F")
            self.recorder = Recorder(book, kept, "left", BEGAN, 0.0)
            machine = _Replay(self.recorder)
            lanes = Lanes(kept, self.recorder.layout)
            self.shows: dict[tuple[str, str], int] = {}  # part of the screen and what stands there: records by then
            self.answers: list[tuple[str, int]] = []
            self._see(lanes)  # a terminal that freezes at once shows this for ever
            for arrival in arrivals:
                text = machine.take(arrival, arrival.t / 1000)
                self.answers.append((text, len(self.records)))
                self._see(lanes)
            self.line = machine._line or ""  # what was being typed
            book.close()

    def _see(self, lanes: Lanes) -> None:
        made, live = len(self.records), self.recorder.live
        lanes.follow(live)
        for lane in lanes.lanes:
            self.shows.setdefault((lane.keys[:2], str(lane.count)), made)
        codes = live.ethogram.by_code
        labels = [f"{codes[b.code].label} {b.qualifier or ''}".strip() for b in live.folding.running.values()]
        runs = "NOBODY WATCHES" if live.folding.gap is not None else ", ".join(labels) or "nothing runs"
        self.shows.setdefault(("runs", runs), made)

    @property
    def records(self) -> list[dict[str, Any]]:
        return comparable(self.recorder.live.records)


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


@dataclass
class Round:
    """What came of one kill."""

    wrong: str = ""
    figures: Counter[str] = field(default_factory=Counter)


def one_round(seed: int, folder: Path) -> Round:
    """Kill once and judge."""
    setting, size = SETTINGS[seed % len(SETTINGS)], SIZES[seed // len(SETTINGS) % 2]
    done = Round()
    chance = random.Random(f"{seed} {setting}")
    disk, frozen = setting in ("full disk", "both"), setting in ("frozen terminal", "both")
    keys = script(chance, *((70, 110) if frozen else (15, 60)))
    control, state = folder / "fault", folder / "state"
    os.environ["XDG_STATE_HOME"] = str(state)  # where this process, too, looks for rescue files
    environment = {"FAULT": str(control), "XDG_STATE_HOME": str(state)}
    killed_at = chance.randrange(len(keys) // 2, len(keys))
    fails_at = chance.randrange(killed_at) if disk else -1
    works_at = chance.randrange(fails_at, killed_at) if disk and chance.random() < 0.3 else -1
    freezes_at = chance.randrange(min(30, killed_at)) if frozen else -1
    with Forked(*WATCH, cwd=folder, columns=size[0], rows=size[1], **environment) as terminal:
        terminal.start()
        for place, key in enumerate(keys[: killed_at + 1]):
            if place == fails_at:
                control.write_text(chance.choice(("write", "full")))
            if place == works_at:
                control.unlink()
            if place == freezes_at:
                terminal.freeze()
            terminal.type(key)
            pause = chance.uniform(0.0, 0.09)
            if place < freezes_at or not frozen:
                terminal.read(pause)
            else:
                time.sleep(pause)
        time.sleep(chance.uniform(0.0, 0.05))
        terminal.kill(signal.SIGKILL)
        os.waitpid(terminal.pid, 0)
        terminal.pid = 0
        painted = terminal.screen().split("\n")
    file = the_file(folder)
    noted = arrived(file) if (file.parent / f".{file.name}.keys").exists() else []
    for arrival, key in zip(noted, [NAMES.get(key, key) for key in keys], strict=False):
        if key not in (arrival.character, arrival.key):
            done.wrong = f"key {key!r} arrived as {arrival}"
            return done
    oracle = Oracle(noted)
    lines = journal.lines_of(file)
    for one in rescue.everywhere([file.parent]) if state.exists() else ():
        if one.bodies.get(0) == lines[0]:
            done.figures["records that only the rescue file had"] += len(one.bodies.keys() - lines.keys())
            lines |= one.bodies
    there = comparable(journal.decoded(body) for n, body in sorted(lines.items()) if n)
    done.figures["keys"] = len(noted)
    done.figures["records"] = len(there)
    done.figures["corrections, gaps and notes"] = sum(one["do"] not in ("mark", "repeat") for one in there)
    done.wrong = painted_but_missing(painted, oracle, len(there), done.figures)
    if not done.wrong:
        control.unlink(missing_ok=True)
        done.wrong = resumed(folder, file, state, oracle, done.figures)
    return done


LANE = re.compile(r"^(\S{1,2}) .*│ +(\d+)(?: +\d+:\d\d)? *$")
RUNS = re.compile(r"^ (?:now: (.+?)|(NOBODY WATCHES).*) *$")
OFFERED = re.compile(rb"(\d+) keys? w(?:as|ere) pressed")
SHORT_TIME = re.compile(r" \d+(?::\d\d)+(?=,|$)| \d+ s(?=,|$)")


def painted_but_missing(painted: list[str], oracle: Oracle, records: int, figures: Counter[str]) -> str:
    """Return which part of the screen shows what no record tells of; '' where there is none."""
    parts: list[tuple[str, int]] = []
    for line in painted:
        shown = None
        if lane := LANE.match(line):
            shown = lane[1], lane[2]
        elif runs := RUNS.match(line):
            shown = "runs", runs[2] or SHORT_TIME.sub("", runs[1])
        if shown in oracle.shows:
            parts.append((line.strip(), oracle.shows[shown]))
    last = next((line for line in reversed(painted) if line.strip()), "").split("   [Backspace")[0].strip()
    answered = [count for text, count in oracle.answers if len(last) > 4 and text.startswith(last[:60])]
    if answered:
        parts.append((last, min(answered)))
    figures["painted lanes and lines judged"] += len(parts)
    for part, count in parts:
        if count > records:
            return f"painted and not on the disk: {part!r} (record {count} of {records})"
    return ""


def resumed(folder: Path, file: Path, state: Path, oracle: Oracle, figures: Counter[str]) -> str:
    """Go on with the session, end it, and compare it with the oracle's; return what differs."""
    with Forked("resume", str(file), cwd=folder, rows=40, XDG_STATE_HOME=str(state)) as terminal:
        shown, end = "", time.monotonic() + PATIENCE_S
        while "nothing runs" not in shown and "NOBODY" not in shown:
            terminal.read(0.05)
            shown = terminal.screen()
            if "Enter takes all in" in shown and "nothing runs" not in shown:
                figures["keys that resume offered"] += int(OFFERED.findall(terminal.raw)[-1])
                terminal.type("\r")
                shown = terminal.until("nothing runs", PATIENCE_S)
            if time.monotonic() > end:
                return f"resume did not go on:\n{shown}"
        begun = Begun.of_session(file).typed("note").get("note")
        terminal.type("\rw" if begun else "w")
        terminal.until(" she answers 0:", PATIENCE_S)
        terminal.end()
        if (code := terminal.wait(PATIENCE_S)) != 0:
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
    rest = records[len(expected) :]
    notes = [record for record in rest if record["do"] == "note"]
    if [record["text"] for record in notes] != [oracle.line] * bool(oracle.line):
        return f"the line {oracle.line!r} was being typed, and {notes} was kept of it"
    others = [record["do"] for record in rest if record["do"] != "note"]
    if others not in (["gap", "back", "mark", "close"], ["back", "mark", "close"]):
        return f"after what the keys made there are {others}"
    return ""


def equal(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Tell whether two records say the same; a stamp that is read off two clocks twice may differ by some ms."""
    return one | {"t": 0} == other | {"t": 0} and abs(one.get("t", 0) - other.get("t", 0)) <= STAMPS_MS


def judged(seed: int) -> tuple[int, Path, Round]:
    """Return what came of one seed; its folder is kept where something is wrong."""
    folder = Path(tempfile.mkdtemp(prefix=f"crash-{seed}-"))
    try:
        done = one_round(seed, folder)
    except AssertionError as error:
        done = Round("\n".join(line for line in str(error).splitlines() if line.strip()))
    if not done.wrong:
        shutil.rmtree(folder)
    return seed, folder, done


def load_shim() -> None:
    """Start this program anew, so that writes of it, and of what is forked from it, can be made to fail."""
    os.environ["LD_PRELOAD"] = str(build(Path(tempfile.mkdtemp()) / "crash-shim.so"))
    os.execv(sys.executable, [sys.executable, "-m", "tests.bench.crash", *sys.argv[1:]])


def main() -> None:
    shim = Path(os.environ.get("LD_PRELOAD", ""))
    if shim.name != "crash-shim.so":
        load_shim()
    count, first, jobs = (int(given) for given in [*sys.argv[1:], *("40", "0", "1")[len(sys.argv) - 1 :]])
    import_all()
    bad: Counter[str] = Counter()
    done: Counter[str] = Counter()
    figures: dict[str, Counter[str]] = {setting: Counter() for setting in SETTINGS}
    with ProcessPoolExecutor(jobs, mp_context=get_context("fork")) as workers:
        for seed, folder, one in workers.map(judged, range(first, first + count)):
            setting, (columns, rows) = SETTINGS[seed % len(SETTINGS)], SIZES[seed // len(SETTINGS) % 2]
            done[setting] += 1
            figures[setting] += one.figures
            if one.wrong:
                bad[setting] += 1
                print(f"seed {seed} ({setting}, {columns} x {rows}) in {folder}: {one.wrong}", flush=True)
            if sum(done.values()) % 50 == 0:
                print(f"{sum(done.values())} kills, {sum(bad.values())} with something lost or wrong", flush=True)
    for setting in dict.fromkeys(SETTINGS):
        told = ", ".join(f"{number} {what}" for what, number in figures[setting].items())
        print(f"{setting:<16} {done[setting]:>5} kills, {bad[setting]} with something lost or wrong; {told}")
    shutil.rmtree(shim.parent)


if __name__ == "__main__":
    main()
