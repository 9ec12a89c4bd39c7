"""Measure the watch screen in a real terminal: `python -m tests.bench.watch [--kills 200]`.

Prints key to paint (p50, p99) at 16 and at 40 lanes, after few marks and after 50,000, and in a bare Textual app
that paints one line at each key (`tests/bench/bare_app.py`): pressed in turn in three terminals side by side, so that
all meet the same machine, by the wall and on the processor, and their ratios, with the load; against a bare echo
through the same kind of pty.
Idle CPU; start to first paint against `python -c 'import textual.app'` and the bare app's first line; an append against
a bare write and fdatasync; 2,000 keys in one burst; and how many marks that were painted got lost under kill -9.
"""

import argparse
import os
import pty
import random
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from etholog import session
from etholog.base.journal import Journal
from etholog.session import drafts
from tests.bench import keep_bytecode
from tests.screens.terminal import WATCH, Terminal, codes, painted_marks, the_file

KEYS = "wertdfgbvzxc"


def quantile(values: list[float], part: float) -> float:
    return sorted(values)[min(int(len(values) * part), len(values) - 1)]


def quantiles(values: list[float]) -> str:
    return f"p50 {statistics.median(values):6.2f}  p99 {quantile(values, 0.99):6.2f} ms"


LANE_KEYS = "qwertyuiopasdfghjklzxcvbnm4567;',./[]äöü"


def ethogram_of(lanes: int) -> str:
    """Return an ethogram of so many states, each with a key of its own."""
    head = (
        'format = "etholog-ethogram/1"\nname = "bench"\ntitle = "Bench"\nversion = "1"\nabout = "Bench."\n'
        'cautions = ["None."]\nrescue = ["None."]\n'
    )
    return head + "".join(
        f'[[behaviour]]\ncode = "b{at:02}"\nlabel = "behaviour {at:02}"\nactor = "{("male", "female")[at % 2]}"\n'
        f'kind = "state"\nkey = "{LANE_KEYS[at]}"\ndefinition = "Lane {at}."\nsource = "bench"\n'
        for at in range(lanes)
    )


class BareTerminal(Terminal):
    """Runs the bare Textual app."""

    def _become(self, words: tuple[str, ...], under: tuple[str, ...]) -> None:
        os.execv(sys.executable, [sys.executable, str(Path(__file__).with_name("bare_app.py"))])


def press_and_see(terminal: Terminal, lane: int, said: bytes) -> tuple[float, float]:
    """Press a lane's key and wait until the screen says so; milliseconds, by the wall and on the processor."""
    terminal.read(0.0)
    start = len(terminal.raw)
    told = re.compile(said)
    used = on_cpu_ms(terminal.pid)
    began = time.perf_counter()
    terminal.type(LANE_KEYS[lane])
    while told.search(terminal.raw, start) is None:
        terminal.read(0.0005)
    return (time.perf_counter() - began) * 1000, on_cpu_ms(terminal.pid) - used


def paint(lanes: int, columns: int, rows: int, presses: int) -> None:
    """Print key to paint after few marks and after many, pressed in turn, and what the screen costs when idle."""
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        size = f"{lanes} lanes, {columns}x{rows}"
        words = ("watch", "--male", "M", "--female", "F", "--ethogram", "bench")
        for folder in (one, other):
            (Path(folder) / "ethograms").mkdir()
            (Path(folder) / "ethograms" / "bench.toml").write_text(ethogram_of(lanes), encoding="utf-8")
            with Terminal(*words, cwd=Path(folder), columns=columns, rows=rows) as terminal:
                terminal.start()
                terminal.kill(signal.SIGKILL)
                terminal.wait()
        for folder, marks in ((one, 10), (other, 50_000)):
            lengthen(the_file(Path(folder)), marks, lanes)
        terminals = [
            Terminal("resume", str(the_file(Path(folder))), cwd=Path(folder), columns=columns, rows=rows)
            for folder in (one, other)
        ]
        few, many = terminals
        bare = BareTerminal(cwd=Path(one), columns=columns, rows=rows)
        with few, many, bare:
            for terminal in terminals:
                terminal.until("nothing runs", 60)
            bare.until("nothing pressed", 60)
            chance = random.Random(1)
            found: tuple[list[tuple[float, float]], ...] = ([], [], [])
            for at in range(presses):
                lane = (at * 7) % lanes
                ours = rb"behaviour %02d (began|ended)" % lane
                for times, terminal, said in zip(
                    found, (few, many, bare), (ours, ours, rb"%d: " % (at + 1)), strict=True
                ):
                    few.read(chance.uniform(0.05, 0.12))
                    many.read(0.0)
                    bare.read(0.0)
                    times.append(press_and_see(terminal, lane, said))
            print(f"load of the machine                       {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
            for at, what in enumerate(("key to paint", "  of it on the processor")):
                base, much, least = ([one[at] for one in times] for times in found)
                print(f"{what}, {size}, 10 marks      {quantiles(base)}")
                print(f"{what}, {size}, 50,000 marks  {quantiles(much)}")
                print(f"{what}, {size}, bare Textual  {quantiles(least)}")
                for ratio, a, b in (("50,000 marks to 10", much, base), ("50,000 marks to bare", much, least)):
                    middle, worst = (quantile(a, part) / quantile(b, part) for part in (0.5, 0.99))
                    print(f"    ratio, {ratio:<34} p50 x {middle:.2f}  p99 x {worst:.2f}")
            bare.kill(signal.SIGKILL)
            many.kill(signal.SIGSTOP)
            before, began = cpu_seconds(few.pid), time.perf_counter()
            few.read(10)
            used = (cpu_seconds(few.pid) - before) / (time.perf_counter() - began)
            print(f"idle CPU, {size}: {used:.1%} of a core")
            for terminal, marks in zip(terminals, ("10", "50,000"), strict=True):
                print(f"memory, {size}, {marks} marks: {resident_mb(terminal.pid):.0f} MB")


def echo_times(count: int) -> list[float]:
    pid, master = pty.fork()
    if pid == 0:
        os.execvp("sh", ["sh", "-c", "stty raw -echo; exec cat"])
    time.sleep(0.3)
    found = []
    for _ in range(count):
        began = time.perf_counter()
        os.write(master, b"x")
        os.read(master, 10)
        found.append((time.perf_counter() - began) * 1000)
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    os.close(master)
    return found


def on_cpu_ms(pid: int) -> float:
    """How long all threads of a process were on a processor, exactly: what a busy machine does not blur."""
    tasks = Path(f"/proc/{pid}/task").glob("*/schedstat")
    return sum(int(task.read_text().split()[0]) for task in tasks) / 1e6


def cpu_seconds(pid: int) -> float:
    """Return the seconds of processor that a process has used (proc(5): utime and stime)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_mb(pid: int) -> float:
    """Return the resident set of a process in MB."""
    memory = Path(f"/proc/{pid}/status").read_text().split("VmRSS:")[1].split("kB")[0]
    return int(memory) / 1024


def lengthen(path: Path, marks: int, lanes: int) -> None:
    """Append so many marks to a session that is open, one every half second, each bout ended before the next."""
    journal, _ = Journal.open(path)
    for i in range(marks):
        edge = ("onset", "offset")[i % 2]
        journal.append(drafts.mark(1000 + i * 500, f"b{i // 2 % lanes:02}", edge))
    journal.close()


def burst() -> None:
    """Type 2,000 keys at once and count what arrived in order."""
    keys = "".join(random.Random(1).choice(["rt", "df", "we"][i % 3]) for i in range(2000))
    meaning = {"r": "raises", "t": "threat", "d": "drumming", "f": "vibration", "w": "answers", "e": "approaches"}
    with tempfile.TemporaryDirectory() as folder, Terminal(*WATCH, cwd=Path(folder)) as terminal:
        terminal.start()
        began = time.perf_counter()
        for at in range(0, 2000, 500):  # the pty's own buffer holds 4,096 bytes
            terminal.type(keys[at : at + 500])
            terminal.read(0.05)
        while len(codes(Path(folder))) < 2000 and time.perf_counter() - began < 60:
            terminal.read(0.05)
        took = time.perf_counter() - began
        same = codes(Path(folder)) == [meaning[key] for key in keys]
        terminal.kill(signal.SIGKILL)
    print(f"2,000 keys in one burst: all on disk after {took:.2f} s, in order: {'yes' if same else 'NO'}")


def first_paint() -> None:
    """Print how long the first screen takes, against the import of Textual alone and the bare app's first line."""
    imported, bare, ours = start_times()
    print(f"start of the process to first paint       {ours * 1000:.0f} ms; load {os.getloadavg()[0]:.1f}")
    print(f"`import textual.app` in a process         {imported * 1000:.0f} ms, x {ours / imported:.2f}")
    print(f"bare Textual to its first line            {bare * 1000:.0f} ms, x {ours / bare:.2f};", end=" ")
    print(f"itself x {bare / imported:.2f} of the import")


def start_times() -> tuple[float, float, float]:
    """Return how long importing Textual takes, the bare app and ours to their first paint (medians, by turns)."""
    imported, bare, ours = [], [], []
    for _ in range(7):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import textual.app"], check=True)
        imported.append(time.perf_counter() - began)
        shown = (bare, BareTerminal, b"nothing pressed"), (ours, Terminal, b"Enter starts the clock")
        for times, kind, said in shown:
            began = time.perf_counter()
            with tempfile.TemporaryDirectory() as folder, kind(*WATCH, cwd=Path(folder)) as terminal:
                while said not in terminal.raw:  # `until` would wait for the rest of the screen, and then a while
                    terminal.read(0.0005)
                times.append(time.perf_counter() - began)
    return statistics.median(imported), statistics.median(bare), statistics.median(ours)


def appends(folder: Path) -> None:
    journal = Journal.create(folder / "a.jsonl", {"format": "etholog-session/1"})
    bare = os.open(folder / "bare", os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    line = b"x" * 100 + b"\n"
    ours, disk, base = [], [], []

    def journalled(i: int) -> None:
        began = time.perf_counter()
        journal.append(drafts.mark(i, "drumming", "onset"))
        ours.append((time.perf_counter() - began) * 1000)
        while journal.waiting_s:
            time.sleep(0)
        disk.append((time.perf_counter() - began) * 1000)

    def barely(_: int) -> None:
        began = time.perf_counter()
        os.write(bare, line)
        os.fdatasync(bare)
        base.append((time.perf_counter() - began) * 1000)

    for i in range(1500):
        # What the first sync leaves to do is less for the second, so each comes first in turn.
        for write in (journalled, barely) if i % 2 else (barely, journalled):
            write(i)
    journal.close()
    os.close(bare)
    print(f"append, until the key's handler goes on   {quantiles(ours)}")
    print(f"append, until it is on the disk           {quantiles(disk)}")
    print(f"bare write + fdatasync                    {quantiles(base)}")
    middle, worst = statistics.median(disk) / statistics.median(base), quantile(disk, 0.99) / quantile(base, 0.99)
    print(f"    ratio, on the disk to bare                p50 x {middle:.2f}  p99 x {worst:.2f}")


def kills(count: int) -> None:
    lost = painted = torn = 0
    for seed in range(count):
        chance = random.Random(seed)
        with tempfile.TemporaryDirectory() as folder, Terminal(*WATCH, cwd=Path(folder)) as terminal:
            terminal.start()
            for _ in range(chance.randrange(1, 30)):
                terminal.type(chance.choice(KEYS))
                terminal.read(chance.uniform(0.0, 0.02))
            terminal.kill(signal.SIGKILL)
            terminal.read(0.1)
            shown = painted_marks(terminal)
            read = session.read(the_file(Path(folder)))
            repeats = sum(record["do"] == "repeat" for record in read.records)
            painted += shown
            lost += max(0, shown - read.fold.marks - repeats)
            torn += bool(read.findings)
    print(f"kill -9 at {count} random moments: {painted} marks painted, {lost} lost, {torn} files with a torn line")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--presses", type=int, default=300)
    parser.add_argument("--paint", action="store_true", help="key to paint at 16 lanes and the start alone")
    args = parser.parse_args()
    keep_bytecode()
    if args.paint:
        paint(16, 80, 24, args.presses)
        first_paint()
        return
    with tempfile.TemporaryDirectory() as folder:
        appends(Path(folder))
    print(f"echo of a key by cat through a pty        {quantiles(echo_times(args.presses))}")
    for lanes, columns, rows in ((16, 80, 24), (16, 200, 60), (40, 80, 48), (40, 200, 60)):
        paint(lanes, columns, rows, args.presses)
    burst()
    first_paint()
    kills(args.kills)


if __name__ == "__main__":
    main()
