"""Measure a season that outgrows memory: `python -m tests.bench.engine [MILLIONS OF BOUTS] [GIGABYTES] [THREADS]`
(100, 1, 2).

1. So many bouts are invented and written by the code that `export DIR --by-month` writes with: bytes a bout, seconds,
   peak memory.
2. Of the first month, an engine's latencies are held against those of memory.
3. Then latency by DuckDB within so much memory, and time budget and successions part by part: processor time against
   one pass of DuckDB over the bouts in the same run, each in a process that does nothing else; at a quarter of the
   months and at all of them, so that the growth can be seen.

Takes 10 bytes of disk a bout.
"""

import multiprocessing
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd

import etholog
from etholog import engine
from etholog.ethogram import Ethogram
from etholog.season import store
from etholog.season.rows import Rows
from tests.bench.export import peak_mb

EACH, MONTH = 200, 20_000  # bouts a session, sessions a month
BATCH = 5_000  # sessions made at once
ONE_PASS = (
    "select sum(onset_ms), sum(offset_ms - onset_ms), count(distinct behaviour), count(distinct session) from bouts"
)


def invented(kept: Ethogram, month: int) -> Iterator[Rows]:
    """Yield the sessions of one month: random bouts of an ethogram, the clock always going on."""
    chance = np.random.default_rng(month)
    codes = [b.code for b in kept.behaviour]
    state = np.array([b.kind == "state" for b in kept.behaviour])
    hides = np.array([b.hides for b in kept.behaviour])
    sided = codes.index("insertion")
    began = int(datetime(1990 + month // 12, month % 12 + 1, 2, 20, tzinfo=UTC).timestamp() * 1e6)
    for first in range(0, MONTH, BATCH):
        code = chance.integers(0, len(codes), (BATCH, EACH))
        code[:, :3] = [codes.index(name) for name in ("introduced", "walking", "on_silk")]
        code[hides[code] & (chance.random(code.shape) < 0.95)] = codes.index("walking")
        onset = np.cumsum(chance.integers(200, 20_000, code.shape), axis=1)
        length = np.where(state[code], chance.integers(1, 9000, code.shape), 0)
        end = onset[:, -1] + 60_000
        names = [f"{month:03d}-{at:06d}" for at in range(first, first + BATCH)]
        gap = chance.random(BATCH) < 0.1
        said: dict[str, list[Any]] = {name: [name] * BATCH for name in ("species", "observer", "place", "source")}
        said |= {"name": [f"{name}.jsonl" for name in names], "id": names, "record_of": [None] * BATCH}
        said |= {"male": [f"M-{at % 300}" for at in range(BATCH)], "female": [f"F-{at % 700}" for at in range(BATCH)]}
        said |= {"conditions": [{}] * BATCH, "outcome": [{}] * BATCH, "findings": [[]] * BATCH}
        lost = np.where(gap, onset[:, 51] - onset[:, 50] - 100, 0)
        minute = np.arange(first, first + BATCH, dtype=np.int64) * 60_000_000
        yield Rows(
            said,
            {
                "began_us": began + minute,
                "utc_offset_min": np.zeros(BATCH, dtype=np.int64),
                "ethogram": np.zeros(BATCH, dtype=np.int64),
                "end": end,
                "unwatched": lost,
                "hidden": np.zeros(BATCH, dtype=np.int64),
                "marks": np.full(BATCH, EACH),
                "closed": np.ones(BATCH, dtype=np.int64),
                "bouts": np.full(BATCH, EACH),
                "gaps": gap.astype(np.int64),
            },
            [kept],
            codes,
            ["left", "right"],
            ["the door bell"],
            {
                "code": code.ravel(),
                "qualifier": np.where(code == sided, chance.integers(0, 2, code.shape), -1).ravel(),
                "onset": onset.ravel(),
                "offset": (onset + length).ravel(),
                "whole": (chance.random(code.shape) < 0.98).ravel(),
                "sure": np.ones(code.size, dtype=bool),
                "n": np.tile(np.arange(1, EACH + 1), BATCH),
            },
            {"onset": onset[gap, 50] + 50, "offset": (onset[:, 50] + 50 + lost)[gap], "why": np.zeros(gap.sum(), int)},
        )


class _Stamps(dict[str, bytes]):
    def __missing__(self, _: str) -> bytes:
        return b""


def written(to: Path, months: int) -> None:
    """Write so many months of the invented season."""
    [kept] = etholog.read("examples/season").ethograms.values()
    parts, following = {}, 0
    for month in range(months):
        name = f"{1990 + month // 12}-{month % 12 + 1:02d}"
        parts[name], following = store._month(
            to, name, invented(kept, month), _Stamps(), following, {}, store.PART_ROWS
        )
    store._keep(store.Store(to, parts, [kept], following=following), "invented")


def first(of: Path, to: Path, months: int) -> None:
    """List the first months as a season of their own: the same files."""
    kept = store.opened(of)
    to.mkdir()
    for table in store.TABLES:
        (to / table).symlink_to(of / table)
    some = dict(list(kept.months.items())[:months])
    store._keep(store.Store(to, some, kept.ethograms, following=kept.following), "invented")


def latency(folder: Path, gigabytes: float, threads: int) -> Any:
    few = engine.deciding(folder, "courtship", memory_gb=gigabytes, threads=threads)
    times = etholog.latency(few, "courtship")
    return times.groupby("male", observed=True)["latency_s"].median().to_dict(), int(times["occurred"].sum())


def one_pass(folder: Path, gigabytes: float, threads: int) -> Any:
    with duckdb.connect() as connection:
        connection.execute(f"set memory_limit = '{gigabytes:g}GB'; set threads = {threads}")
        connection.execute("set enable_progress_bar = false")
        connection.read_parquet([str(path) for path in store.opened(folder).files("bouts")]).create_view("bouts")
        return connection.execute(ONE_PASS).fetchone()


def budget(folder: Path, *_: object) -> Any:
    return len(engine.time_budget(folder))


def successions(folder: Path, *_: object) -> Any:
    return int(engine.transition(folder).counts.sum().sum())


def _ask(work: Callable[..., Any], out: Any, *given: object) -> None:
    began, used = time.perf_counter(), time.process_time()
    found = work(*given)
    out.send((found, time.perf_counter() - began, time.process_time() - used, peak_mb()))


def alone(work: Callable[..., Any], *given: object) -> tuple[Any, float, float, float]:
    """Return what it finds, its seconds by the clock and of processors, and the peak MB of its process."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe()
    process = context.Process(target=_ask, args=(work, theirs, *given))
    process.start()
    theirs.close()
    found: tuple[Any, float, float, float] = ours.recv()
    process.join()
    return found


def main() -> None:
    millions, gigabytes, threads = (float(word) for word in [*sys.argv[1:], *["100", "1", "2"][len(sys.argv) - 1 :]])
    months = max(2, round(millions * 1e6 / (EACH * MONTH)))
    with tempfile.TemporaryDirectory() as place:
        large = Path(place, "large")
        _, wall, used, peak = alone(written, large, months)
        bouts = months * MONTH * EACH
        size = sum(path.stat().st_size for path in store.opened(large).files("bouts"))
        print(f"{bouts:,} bouts of {months * MONTH:,} sessions: {size / bouts:.1f} bytes a bout; made and written in")
        print(f"{wall:.0f} s ({used:.0f} s of processors), peak {peak:.0f} MB")
        first(large, Path(place, "few"), 1)
        first(large, Path(place, "some"), max(1, months // 4))
        whole = etholog.read(Path(place, "few"))
        ours = etholog.latency(engine.deciding(Path(place, "few"), "courtship"), "courtship")
        pd.testing.assert_frame_equal(ours, etholog.latency(whole, "courtship"), rtol=1e-9)
        print(f"of the first {len(whole.bouts):,} bouts, the engine's latencies are those of memory")
        for work in (latency, budget, successions):
            seconds = []
            for folder, parts in ((Path(place, "some"), max(1, months // 4)), (large, months)):
                _, base, base_used, _ = alone(one_pass, folder, gigabytes, int(threads))
                _, wall, used, peak = alone(work, folder, gigabytes, int(threads))
                seconds.append(used)
                ratio = f"x {used / base_used:.1f} of one pass ({base:.1f} s, {base_used:.1f})"
                print(
                    f"{work.__name__:12} {parts * MONTH * EACH:>13,} bouts: {wall:.1f} s ({used:.1f} s of processors),"
                )
                print(f"{'':12} {ratio}; peak {peak:.0f} MB")
            grown = np.log(seconds[1] / seconds[0]) / np.log(months / max(1, months // 4))
            more = seconds[1] * (1e9 / bouts) ** grown
            print(f"{'':12} growth: exponent {grown:.2f}; by it 1,000 million bouts take {more:.0f} s of processors")


if __name__ == "__main__":
    main()
