"""Measure three measures against what a user would pick instead: `python -m tests.bench.others [SESSIONS]` (50,000).

Latency, time budget and successions over 200 bouts a session, in memory: ours, pandas without apply, numpy written by
hand, polars and DuckDB, by turns in one process, with one thread and with two; equal answers are asserted first. To
make each tool's own table is not counted. Processor seconds and seconds by the clock, medians of five.
"""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np

from etholog.season import Season
from tests.bench import analysis, made
from tests.bench.analysis import SINCE, TO, close

Works = dict[str, Callable[[], Any]]


def by_numpy(season: Season) -> Works:
    bouts = season.bouts
    place, code = bouts["session"].cat.codes.to_numpy(), bouts["behaviour"].cat.codes.to_numpy()
    onset, length = bouts["onset_s"].to_numpy(), bouts["duration_s"].to_numpy()
    ends, words = season.sessions["length_s"].to_numpy(), list(bouts["behaviour"].cat.categories)
    since, to, kinds = words.index(SINCE), words.index(TO), len(words)

    def first(rows: np.ndarray) -> np.ndarray:
        of = place[rows]
        return rows[np.flatnonzero(np.diff(of, prepend=-1))]

    def latency() -> tuple[int, float]:
        starts = first(np.flatnonzero(code == since))
        start = np.full(len(ends), np.inf)
        start[place[starts]] = onset[starts]
        later = np.flatnonzero(code == to)
        came = first(later[onset[later] >= start[place[later]]])
        then = ends.copy()
        then[place[came]] = onset[came]
        return len(came), round(float((then - start)[place[starts]].sum()), 3)

    def budget() -> analysis.Sums:
        cell = place * np.int64(kinds) + code
        count = np.bincount(cell, minlength=len(ends) * kinds).reshape(-1, kinds)
        total = np.bincount(cell, weights=length, minlength=len(ends) * kinds).reshape(-1, kinds)
        sums = zip(words, count.sum(axis=0), total.sum(axis=0), strict=True)
        return int((count > 0).sum()), {word: (int(n), float(s)) for word, n, s in sums if n}

    def transition() -> dict[tuple[str, str], int]:
        same = place[1:] == place[:-1]
        cell = code[:-1][same].astype(np.intp) * kinds + code[1:][same]
        count = np.bincount(cell, minlength=kinds * kinds).reshape(kinds, kinds)
        return {(words[a], words[b]): int(count[a, b]) for a, b in np.argwhere(count)}

    return {"latency": latency, "budget": budget, "transition": transition}


def by_polars(season: Season) -> Works:
    import polars as pl

    bouts = pl.from_pandas(season.bouts[["session", "behaviour", "onset_s", "duration_s"]])
    ends = pl.from_pandas(season.sessions[["session", "length_s"]])
    # One dictionary for both, so that they can be joined by their codes.
    bouts = bouts.with_columns(pl.col("session").to_physical())
    ends = ends.with_columns(pl.col("session").to_physical())

    def latency() -> tuple[int, float]:
        lazy = bouts.lazy()
        start = lazy.filter(pl.col("behaviour") == SINCE).group_by("session").agg(pl.col("onset_s").min().alias("at"))
        then = (
            lazy.filter(pl.col("behaviour") == TO)
            .join(start, on="session")
            .filter(pl.col("onset_s") >= pl.col("at"))
            .group_by("session")
            .agg(pl.col("onset_s").min().alias("came"))
        )
        found = (
            start.join(then, on="session", how="left")
            .join(ends.lazy(), on="session")
            .select(
                pl.col("came").is_not_null().sum().alias("n"),
                (pl.col("came").fill_null(pl.col("length_s")) - pl.col("at")).sum().alias("total"),
            )
            .collect()
        )
        return int(found["n"][0]), round(float(found["total"][0]), 3)

    def budget() -> analysis.Sums:
        found = bouts.group_by("session", "behaviour").agg(pl.len().alias("n"), pl.col("duration_s").sum())
        sums = found.group_by("behaviour").agg(pl.col("n").sum(), pl.col("duration_s").sum())
        return len(found), {word: (int(n), s) for word, n, s in sums.iter_rows()}

    def transition() -> dict[tuple[str, str], int]:
        # In order of session and time, so the next of the same session stands in the next row.
        found = (
            bouts.lazy()
            .select(
                "behaviour",
                pl.col("behaviour").shift(-1).alias("after"),
                (pl.col("session") == pl.col("session").shift(-1)).alias("same"),
            )
            .filter("same")
            .group_by("behaviour", "after")
            .len()
            .collect()
        )
        return {(one, two): int(n) for one, two, n in found.iter_rows()}

    return {"latency": latency, "budget": budget, "transition": transition}


def by_duckdb(season: Season, threads: int) -> Works:
    import duckdb

    base = duckdb.connect(config={"threads": threads})
    bouts = season.bouts[["session", "behaviour", "onset_s", "duration_s"]].assign(
        session=season.bouts["session"].cat.codes.to_numpy(), row=np.arange(len(season.bouts))
    )
    ends = season.sessions[["length_s"]].assign(session=np.arange(len(season.sessions)))
    base.register("bouts_", bouts)
    base.register("ends_", ends)
    base.execute("create table bouts as select * from bouts_; create table ends as select * from ends_")

    def latency() -> tuple[int, float]:
        n, total = base.execute(
            "with start as (select session, min(onset_s) as began from bouts where behaviour = $1 group by session),"
            " came as (select session, min(onset_s) as came from bouts join start using (session)"
            " where behaviour = $2 and onset_s >= began group by session)"
            " select count(came), sum(coalesce(came, length_s) - began)"
            " from start left join came using (session) join ends using (session)",
            [SINCE, TO],
        ).fetchone()  # type: ignore[misc]
        return int(n), round(float(total), 3)

    def budget() -> analysis.Sums:
        rows = base.execute(
            "with own as (select session, behaviour, count(*) as n, sum(duration_s) as s from bouts group by all)"
            " select behaviour, sum(n), sum(s), count(*) from own group by all"
        ).fetchall()
        return sum(row[3] for row in rows), {row[0]: (int(row[1]), row[2]) for row in rows}

    def transition() -> dict[tuple[str, str], int]:
        rows = base.execute(
            "with next as (select behaviour, lead(behaviour) over w as after, session = lead(session) over w as same"
            " from bouts window w as (order by row))"
            " select behaviour, after, count(*) from next where same group by all"
        ).fetchall()
        return {(one, two): int(n) for one, two, n in rows}

    return {"latency": latency, "budget": budget, "transition": transition}


def by_function(season: Season, at: int) -> Works:
    return {name: partial(ways[at], season) for name, ways in analysis.MEASURES.items()}


def measured(count: int, threads: int) -> None:
    season = made.season(count)
    tools: dict[str, Works] = {
        "ours": by_function(season, 0),
        "pandas": by_function(season, 2),
        "numpy": by_numpy(season),
        "polars": by_polars(season),
        "DuckDB": by_duckdb(season, threads),
    }
    print(f"\n{threads} threads, {len(season.bouts):,} bouts, load {os.getloadavg()[0]:.1f}")
    columns = [season.bouts[name].to_numpy() for name in ("onset_s", "duration_s")]
    columns += [season.bouts[name].cat.codes.to_numpy() for name in ("session", "behaviour")]
    used = 0.0
    for measure in analysis.MEASURES:
        answers = {tool: works[measure]() for tool, works in tools.items()}
        assert all(close(answers["ours"], answer) for answer in answers.values()), measure
        spent: dict[str, list[tuple[float, float]]] = {tool: [] for tool in tools}
        for _ in range(5):
            for tool, works in tools.items():
                clock, processor = time.perf_counter(), time.process_time()
                works[measure]()
                spent[tool].append((time.process_time() - processor, time.perf_counter() - clock))
        medians = {tool: np.median(took, axis=0) for tool, took in spent.items()}
        own = medians.pop("ours")
        used += own[0]
        others = "; ".join(
            f"{tool} x {took[0] / own[0]:.2f} ({took[1] / own[1]:.2f})" for tool, took in medians.items()
        )
        print(f"  {measure:10} ours {own[0]:.3f} s ({own[1]:.3f} by the clock); {others}", flush=True)
    began = time.process_time()
    for _ in range(5):
        for column in columns:
            column.sum()
    print(f"  the three take x {used / ((time.process_time() - began) / 5):.1f} of one sum of every column")


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    if os.environ.get("POLARS_MAX_THREADS"):
        measured(count, int(os.environ["POLARS_MAX_THREADS"]))
        return
    for threads in ("1", "2"):  # polars takes its threads from the environment, once
        subprocess.run(
            [sys.executable, "-m", "tests.bench.others", str(count)],
            env=os.environ | {"POLARS_MAX_THREADS": threads},
            check=True,
        )


if __name__ == "__main__":
    main()
