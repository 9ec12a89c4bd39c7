"""Measure start and reading: `python -m tests.bench.load [SESSIONS]`.

`etholog --help` against a bare interpreter; reading sessions into tables, validated and with checksums, against
stdlib json.loads of the same
lines; one comparison over them, whole process. The sessions are copies of the invented season's under other names.
"""

import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from etholog import season, session
from etholog.analysis.latency import latency
from etholog.base.journal import Journal


def median_s(work: Callable[[], object], times: int = 5) -> float:
    found = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        found.append(time.perf_counter() - began)
    return statistics.median(found)


def copies(folder: Path, count: int) -> None:
    """Write `count` sessions, each with an id of its own."""
    originals = [
        session.read(file)
        for file in sorted(Path("examples/season/sessions").glob("*.jsonl"))
        if "second" not in file.name
    ]
    for number in range(count):
        one = originals[number % len(originals)]
        name = f"{number:06d}"
        lines = one.path.read_bytes().splitlines()
        header = {k: v for k, v in json.loads(lines[0]).items() if k not in ("n", "do", "crc")} | {"id": name}
        made = Journal.create(folder / f"{name}.jsonl", header)
        made.close()
        with made.path.open("ab") as file:
            file.write(b"\n".join(lines[1:]) + b"\n")


def plain(folder: Path) -> int:
    return sum(len(json.loads(line)) for file in folder.glob("*.jsonl") for line in file.read_bytes().splitlines())


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    bare = median_s(lambda: subprocess.run([sys.executable, "-c", "pass"], check=True), 15)
    helped = median_s(
        lambda: subprocess.run([sys.executable, "-m", "etholog", "--help"], check=True, stdout=subprocess.DEVNULL), 15
    )
    print(f"etholog --help {helped * 1000:.0f} ms, bare interpreter {bare * 1000:.0f} ms: x {helped / bare:.1f}")
    example = [
        sys.executable,
        "-m",
        "etholog",
        "latency",
        "courtship",
        "--within",
        "female",
        "--folder",
        "examples/season",
    ]
    whole = median_s(lambda: subprocess.run(example, check=True, stdout=subprocess.DEVNULL))
    print(f"etholog latency on the invented season, whole process: {whole:.2f} s")
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        copies(folder, count)
        read = season.read(folder)
        assert len(read.sessions) == count
        assert not read.findings
        base, ours = median_s(lambda: plain(folder), 3), median_s(lambda: season.read(folder, cached=False), 3)
        print(f"{count} sessions to tables {ours:.2f} s, json.loads of each line {base:.2f} s: x {ours / base:.2f}")
        print(f"latency over {count} sessions {median_s(lambda: latency(read, 'courtship')) * 1000:.1f} ms")


if __name__ == "__main__":
    main()
