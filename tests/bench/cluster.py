"""Measure a season shared out to two workers: `python -m tests.bench.cluster [MILLIONS OF BOUTS]` (8).

Latency by male over a season in Parquet (see `tests.bench.engine`): by one DuckDB with one thread and with two; the
parts by a pool of two processes, by Dask and by Spark, each with two workers that are running already, and only where
they are installed (`pip install 'dask[distributed]' pyspark`). Equal answers are asserted; seconds by the clock, and
those of all processors for what runs in this process and in its children.
"""

import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path

import pandas as pd

import etholog
from etholog import engine
from tests.bench.engine import EACH, MONTH, written


def latencies(folder: Path, threads: int, across: engine.Across | None) -> pd.DataFrame:
    few = engine.deciding(folder, "courtship", threads=threads, across=across)
    return etholog.latency(few, "courtship")


@contextmanager
def pool() -> Iterator[engine.Across]:
    with ProcessPoolExecutor(2) as running:
        list(running.map(len, ["", ""]))
        yield running.map


@contextmanager
def dask() -> Iterator[engine.Across]:
    from distributed import Client, LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:
        yield lambda ask, parts: client.gather(client.map(ask, parts, pure=False))


@contextmanager
def spark() -> Iterator[engine.Across]:
    from pyspark.sql import SparkSession

    session = SparkSession.builder.master("local[2]").config("spark.ui.enabled", "false").getOrCreate()
    try:
        context = session.sparkContext
        yield lambda ask, parts: context.parallelize(list(parts), len(parts)).map(ask).collect()
    finally:
        session.stop()


def told(name: str, work: Callable[[], pd.DataFrame], base: pd.DataFrame | None) -> pd.DataFrame:
    work()
    clock = time.perf_counter()
    found = work()
    took = time.perf_counter() - clock
    if base is not None:
        pd.testing.assert_frame_equal(found, base, rtol=1e-9)
    print(f"{name:24} {took:6.1f} s by the clock, load {os.getloadavg()[0]:.1f}", flush=True)
    return found


def main() -> None:
    months = max(1, round(float(sys.argv[1] if len(sys.argv) > 1 else 8) * 1e6 / (EACH * MONTH)))
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place, "large")
        written(folder, months)
        print(f"{months * MONTH * EACH:,} bouts in {len(engine.parts(folder))} parts, two workers")
        base = told("one DuckDB, one thread", partial(latencies, folder, 1, None), None)
        told("one DuckDB, two threads", partial(latencies, folder, 2, None), base)
        for name, running in {"a pool of processes": pool, "Dask": dask, "Spark": spark}.items():
            with ExitStack() as stack:
                try:
                    across = stack.enter_context(running())
                except ImportError:
                    print(f"{name:24} is not installed")
                    continue
                told(name, partial(latencies, folder, 1, across), base)


if __name__ == "__main__":
    main()
