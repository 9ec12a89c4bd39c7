"""Measure exports: `python -m tests.bench.export [MILLIONS OF BOUTS] [GIGABYTES FOR THE ENGINE]` (100 and 1).

1. `etholog export --also parquet` of a thousand sessions, against reading them.
2. A season of so many bouts is written, a month at a time, by the same writer of Parquet, and DuckDB asks it for
   latencies, durations and lag-1 counts within so much memory: seconds against one pass over the same files, and the
   peak of the process. Before that, its answers over the first months are compared with etholog's own.

Takes 15 bytes of disk a bout, and some 80 more while the engine sorts.
"""

import dataclasses
import multiprocessing
import re
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd

import etholog
from etholog.export import folder, parquet
from etholog.export.plain import plain
from etholog.export.tables import tables
from etholog.season import Season
from tests.bench.load import copies, median_s
from tests.export import sql

EACH = 200  # bouts a session
MONTH = 4_000_000 // EACH  # sessions a month
COMPARED = 2  # months that are held against etholog's own numbers
ONE_PASS = "select count(*), sum(duration_s), count(distinct behaviour), count(distinct qualifier) from bouts"
SUMS = {
    "latencies": f"select count(*), sum(occurred::int), sum(latency_s) from ({sql.LATENCIES})",
    "durations": f"select sum(count), sum(cut), sum(total_s) from ({sql.DURATIONS})",
    "lag-1 counts": f"select sum(n), count(*), sum(n * n) from ({sql.TRANSITIONS}) t(first, next, n)",
}
MALE = {"actor": "male", "repeats": False}


def month_of(example: Season, number: int, sessions: int) -> Season:
    """Invent the season of one month: random bouts of the invented season's ethogram, the clock always going on."""
    chance = np.random.default_rng(number)
    [kept] = example.ethograms.values()
    day = pd.Timestamp("2000-01-01T20:00:00Z") + pd.DateOffset(months=number)
    ids = pd.Index([f"{day:%Y%m}-{at:06d}-M-{at % 300:03d}-F-{at % 700:03d}" for at in range(sessions)])
    code = chance.integers(0, len(kept.behaviour), (sessions, EACH))
    first = {"introduced": 0, "walking": 1, "on_silk": 2}
    codes = [b.code for b in kept.behaviour]
    for name, at in first.items():
        code[:, at] = codes.index(name)
    # An animal is rarely out of sight, or no sequence would be longer than a few steps.
    hides = np.array([b.hides for b in kept.behaviour])
    code[hides[code] & (chance.random(code.shape) < 0.95)] = codes.index("walking")
    onset = np.cumsum(chance.integers(200, 20_000, code.shape), axis=1)
    length = np.where(
        np.array([b.kind == "state" for b in kept.behaviour])[code], chance.integers(1, 9000, code.shape), 0
    )
    place = np.repeat(np.arange(sessions), EACH)
    males, females = (pd.Categorical(ids.str[a:b]) for a, b in ((14, 19), (20, 25)))
    end = onset[:, -1] + 60_000

    def spread(words: list[str]) -> pd.Categorical:
        kinds = list(dict.fromkeys(words))
        return pd.Categorical.from_codes(np.array([kinds.index(word) for word in words])[code.ravel()], kinds)

    insertion = code.ravel() == codes.index("insertion")
    side = np.where(insertion, chance.integers(0, 2, code.size), -1)
    bouts = pd.DataFrame(
        {
            "session": pd.Categorical.from_codes(place, ids),
            "male": males.take(place),
            "female": females.take(place),
            "actor": spread([b.actor for b in kept.behaviour]),
            "behaviour": spread(codes),
            "kind": spread([b.kind for b in kept.behaviour]),
            "qualifier": pd.Categorical.from_codes(side, ["left", "right"]),
            "onset_s": onset.ravel() / 1000,
            "offset_s": (onset + length).ravel() / 1000,
            "duration_s": length.ravel() / 1000,
            "whole": chance.random(code.size) < 0.98,
            "confident": True,
            "hides": hides[code.ravel()],
            "n": np.tile(np.arange(1, EACH + 1, dtype=np.int32), sessions),
        }
    )
    at_gap = np.flatnonzero(chance.random(sessions) < 0.1)
    gaps = pd.DataFrame(
        {
            "session": pd.Categorical.from_codes(at_gap, ids),
            "onset_s": onset[at_gap, 50] / 1000 + 0.1,
            "offset_s": onset[at_gap, 51] / 1000 - 0.05,
            "why": pd.Categorical(["the door bell"] * len(at_gap)),
        }
    )
    lost = np.zeros(sessions)
    lost[at_gap] = gaps["offset_s"] - gaps["onset_s"]
    table = pd.DataFrame(
        {
            "session": pd.Categorical(ids, categories=ids),
            "began": day + pd.to_timedelta(np.arange(sessions) % 27, unit="D"),
            "utc_offset_min": 60,
            "male": males,
            "female": females,
            **{name: pd.Categorical(["invented"] * sessions) for name in ("species", "observer", "place")},
            "ethogram": pd.Categorical([kept.name] * sessions),
            "source": pd.Categorical(["invented"] * sessions),
            "length_s": end / 1000,
            "watched_s": end / 1000 - lost,
            "out_of_sight_s": 0.0,
            "marks": EACH,
            "closed": True,
        }
    )
    return dataclasses.replace(example, sessions=table, bouts=bouts, gaps=gaps)


def write_season(example: Season, to: Path, months: int) -> None:
    """Write the tables that the three measures need, one month after another."""
    fixed = tables(example)
    [identity] = fixed["ethogram"]["ethogram_id"].unique()
    for name in ("ethogram", "intervals"):
        parquet.write(name, *plain(name, fixed[name]), to, None)
    whole: dict[str, list[pd.DataFrame]] = {"sessions": [], "gaps": []}
    for number in range(months):
        season = month_of(example, number, MONTH)
        bouts = season.bouts.drop(columns="hides")
        bouts.insert(4, "ethogram_id", pd.Series(pd.Categorical.from_codes(np.zeros(len(bouts), int), [identity])))
        month = pd.Series(np.full(len(bouts), f"{season.sessions['began'].iloc[0]:%Y-%m}"))
        parquet.write("bouts", *plain("bouts", bouts), to, month)
        for name, parts in whole.items():
            parts.append(getattr(season, name))
    for name, parts in whole.items():
        frame = pd.concat([part.astype({"session": object}) for part in parts], ignore_index=True)
        parquet.write(name, *plain(name, frame), to, None)


def _ask(tables_in: Path, query: str, gigabytes: float, months: int, where: Path, out: Any) -> None:
    connection = duckdb.connect()
    connection.execute(f"set memory_limit = '{gigabytes}GB'; set temp_directory = '{where}'; set threads = 2")
    connection.execute("set preserve_insertion_order = false; set enable_progress_bar = false")
    sql.open_tables(connection, tables_in)
    if months:  # a temporary view is found before the one of the same name
        last = f"{pd.Timestamp('2000-01-01') + pd.DateOffset(months=months):%Y-%m}"
        connection.execute(f"create temp view bouts as from memory.main.bouts where month < '{last}'")
        inside = "where session in (select session from temp.main.bouts)"
        for name in ("sessions", "gaps"):
            connection.execute(f"create temp view {name} as from memory.main.{name} {inside}")
    began = time.perf_counter()
    found = connection.execute(query, MALE if "$actor" in query else None).fetchone()
    out.send((found, time.perf_counter() - began, peak_mb()))


def peak_mb() -> float:
    """Return the most memory that this process ever held; what getrusage tells is its parent's, if that is more."""
    return int(re.findall(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text())[0]) / 1024


def ask(tables_in: Path, query: str, gigabytes: float, where: Path, months: int = 0) -> tuple[Any, float, float]:
    """Return DuckDB's answer, its seconds, and the peak MB of a process that did nothing else."""
    ours, theirs = multiprocessing.get_context("spawn").Pipe()
    arguments = (tables_in, query, gigabytes, months, where, theirs)
    process = multiprocessing.get_context("spawn").Process(target=_ask, args=arguments)
    process.start()
    theirs.close()
    answer = ours.recv()
    process.join()
    found: tuple[Any, float, float] = answer
    return found


def own_sums(example: Season) -> dict[str, tuple[float, ...]]:
    """Return etholog's own sums over the first months."""
    months = [month_of(example, number, MONTH) for number in range(COMPARED)]
    times = [etholog.latency(one, i.name) for one in months for kept in one.ethograms.values() for i in kept.interval]
    spans = [etholog.duration(one, by="male") for one in months]
    counts = sum(etholog.transition(one, actor="male").counts.fillna(0) for one in months)
    joined, held = pd.concat(times), pd.concat(spans)
    flat = np.asarray(counts, dtype=float).ravel()
    return {
        "latencies": (len(joined), joined["occurred"].sum(), joined["latency_s"].sum()),
        "durations": (held["count"].sum(), held["cut"].sum(), held["total_s"].sum()),
        "lag-1 counts": (flat.sum(), (flat > 0).sum(), (flat**2).sum()),
    }


def of_a_thousand(scratch: Path) -> None:
    (scratch / "sessions").mkdir()
    copies(scratch / "sessions", 1000)
    reading = median_s(lambda: etholog.read(scratch, cached=False), 3)
    season = etholog.read(scratch)
    exporting = median_s(lambda: folder.write(season, scratch / "tables", also=("parquet",)), 3)
    print(
        f"1,000 sessions ({len(season.bouts):,} bouts): reading {reading:.2f} s, exporting as CSV and Parquet"
        f" {exporting:.2f} s: x {exporting / reading:.1f}"
    )


def main() -> None:
    millions = float(sys.argv[1]) if len(sys.argv) > 1 else 100
    gigabytes = float(sys.argv[2]) if len(sys.argv) > 2 else 1
    months = max(COMPARED, round(millions * 1e6 / (MONTH * EACH)))
    example = etholog.read("examples/season")
    with tempfile.TemporaryDirectory() as place:
        scratch = Path(place)
        of_a_thousand(scratch)
        free = shutil.disk_usage(scratch).free
        if free < 100 * months * MONTH * EACH:
            raise SystemExit(
                f"{free / 1e9:.0f} GB of disk are free, which is too little for {millions:g} million bouts"
            )
        began = time.perf_counter()
        write_season(example, scratch / "parquet", months)
        size = sum(file.stat().st_size for file in (scratch / "parquet").rglob("*.parquet"))
        print(
            f"{months * MONTH * EACH:,} bouts of {months * MONTH:,} sessions invented and written in"
            f" {time.perf_counter() - began:.0f} s: {size / 1e9:.2f} GB of Parquet"
        )
        own = own_sums(example)
        for name, query in SUMS.items():
            found, _, _ = ask(scratch / "parquet", query, gigabytes, scratch / "spill", COMPARED)
            np.testing.assert_allclose([float(value) for value in found], own[name], rtol=1e-9)
        print(f"DuckDB's sums over the first {COMPARED * MONTH * EACH:,} bouts are etholog's own")
        for name, query in SUMS.items():
            seconds, peak = ask(scratch / "parquet", query, gigabytes, scratch / "spill")[1:]
            passes = [ask(scratch / "parquet", ONE_PASS, gigabytes, scratch / "spill")[1] for _ in range(3)]
            one = statistics.median(passes)
            print(
                f"{name} {seconds:.0f} s, one pass over the bouts {one:.0f} s ({min(passes):.0f} to {max(passes):.0f}):"
                f" x {seconds / one:.1f}; peak {peak:.0f} MB with {gigabytes:g} GB given to the engine"
            )


if __name__ == "__main__":
    main()
