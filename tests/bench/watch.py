"""Measure the watch screen in a real terminal: `python -m tests.bench.watch [--kills 200]`.

Prints key to paint (p50, p99) after few and after many marks, against a bare echo through the same pty; idle CPU;
start to first paint against
`python -c 'import textual.app'`; an append against a bare write and fdatasync; and how many marks that were painted
got lost under kill -9.
"""

import argparse
import os
import pty
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from etholog import session
from etholog.journal import Journal
from tests.watch.terminal import Terminal
from tests.watch.test_terminal import painted_marks, the_file

KEYS = "wertdfgbvzxc"
WATCH = ("watch", "--male", "M-Basalt", "--female", "F-Umbra")


def quantiles(values: list[float]) -> str:
    ordered = sorted(values)
    return f"p50 {statistics.median(ordered):6.2f}  p99 {ordered[int(len(ordered) * 0.99)]:6.2f} ms"


def paint_times(terminal: Terminal, count: int) -> list[float]:
    """Press a key and wait until the bottom line tells of it; milliseconds, `count` times."""
    chance, found = random.Random(1), []
    last = ""
    for _ in range(count):
        key = chance.choice([k for k in KEYS if k != last])
        last = key
        terminal.read(chance.uniform(0.09, 0.2))
        start = len(terminal.raw)
        began = time.perf_counter()
        terminal.type(key)
        while b"takes" not in terminal.raw[start:] and b"0:" not in terminal.raw[start:]:
            terminal.read(0.0005)
        found.append((time.perf_counter() - began) * 1000)
    return found


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


def cpu_seconds(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def lengthen(path: Path, marks: int) -> None:
    """Append so many marks to a session that is open, with times that run on."""
    journal, reading = Journal.open(path)
    codes = ["drumming", "vibration"]
    for i in range(marks):
        journal.append("mark", t=reading.next_n + i, code=codes[i % 2], edge="onset")
    journal.close()


def start_times() -> tuple[float, float]:
    bare, ours = [], []
    for _ in range(7):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import textual.app"], check=True)
        bare.append(time.perf_counter() - began)
        with tempfile.TemporaryDirectory() as folder, Terminal(*WATCH, cwd=Path(folder)) as terminal:
            terminal.until("Enter starts the clock")
            began = time.perf_counter()
            terminal.type("\r")
            terminal.until("nothing runs")
            ours.append(time.perf_counter() - began)
    return statistics.median(bare), statistics.median(ours)


def appends(folder: Path) -> None:
    journal = Journal.create(folder / "a.jsonl", {"format": "etholog-session/1"})
    bare = os.open(folder / "bare", os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    line = b"x" * 100 + b"\n"
    ours, base = [], []
    for i in range(1500):
        began = time.perf_counter()
        journal.append("mark", t=i, code="drumming", edge="onset")
        ours.append((time.perf_counter() - began) * 1000)
        while journal.waiting_s:
            time.sleep(0)
        began = time.perf_counter()
        os.write(bare, line)
        os.fdatasync(bare)
        base.append((time.perf_counter() - began) * 1000)
    journal.close()
    os.close(bare)
    print(f"append, until the key's handler goes on   {quantiles(ours)}")
    print(f"bare write + fdatasync                    {quantiles(base)}")


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
            torn += bool(read.faults)
    print(f"kill -9 at {count} random moments: {painted} marks painted, {lost} lost, {torn} files with a torn line")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--presses", type=int, default=300)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        appends(Path(folder))
    print(f"echo of a key by cat through a pty        {quantiles(echo_times(args.presses))}")
    for columns, rows in ((80, 24), (200, 60)):
        with tempfile.TemporaryDirectory() as folder:
            terminal = Terminal(*WATCH, cwd=Path(folder), columns=columns, rows=rows)
            with terminal:
                terminal.start()
                size = f"{columns}x{rows}, {20} lanes"
                print(f"key to paint, {size:<20} few marks  {quantiles(paint_times(terminal, args.presses))}")
                before, began = cpu_seconds(terminal.pid), time.perf_counter()
                terminal.read(10)
                used = (cpu_seconds(terminal.pid) - before) / (time.perf_counter() - began)
                print(f"idle CPU, {size:<20}             {used:.1%} of a core")
                terminal.kill(signal.SIGKILL)
                terminal.wait()
            path = the_file(Path(folder))
            lengthen(path, 50_000)
            with Terminal("resume", str(path), cwd=Path(folder), columns=columns, rows=rows) as again:
                again.until("nothing runs", 60)
                print(f"key to paint, {size:<20} 50,000     {quantiles(paint_times(again, args.presses))}")
                memory = Path(f"/proc/{again.pid}/status").read_text().split("VmRSS:")[1].split("kB")[0].strip()
                print(f"memory with 50,000 marks, {size:<20} {int(memory) / 1024:.0f} MB")
    bare, ours = start_times()
    print(f"clock started to first paint              {ours * 1000:.0f} ms")
    print(f"`import textual.app` in a process         {bare * 1000:.0f} ms, x {ours / bare:.2f}")
    kills(args.kills)


if __name__ == "__main__":
    main()
