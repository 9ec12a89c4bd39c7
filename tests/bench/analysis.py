"""Measure the analysis: `python -m tests.bench.analysis [SESSIONS] [FILES]` (50,000 of 200 bouts; 10,000 of 200 marks).

Every ratio is against a baseline that is named and timed in the same run, the two in turn, and only printed when both
gave the same answer. Seconds are the processors', so that other work on the machine matters less. What took too long
to be timed whole is timed on fewer sessions and called extrapolated. Much of a large ratio is the baseline's fault:
the naive one is what many people write, so the sane ones stand beside it.
"""

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import zlib
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from etholog import season as seasons
from etholog import session
from etholog.analysis import logrank, permutation
from etholog.analysis.duration import duration, time_shares
from etholog.analysis.latency import latency
from etholog.analysis.transition import transition
from etholog.base import journal
from etholog.season import Season
from tests.bench import made

NAIVE, PLAIN = 400, 2_000  # sessions on which the slow baselines are timed
SINCE, TO = "walking", "drumming"
Task = Callable[[Season], Any]
Sums = tuple[int, dict[str, tuple[int, float]]]


def processor() -> float:
    """Return the seconds that processors gave to this process and to those that it started and that have ended."""
    others = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + others.ru_utime + others.ru_stime


def timed(*works: Callable[[], object], times: int = 5, clock: Callable[[], float] = processor) -> list[list[float]]:
    """Time works in turn, and return the seconds that each took by the clock."""
    found: list[list[float]] = [[] for _ in works]
    for _ in range(times):
        for work, seconds in zip(works, found, strict=True):
            began = clock()
            work()
            seconds.append(clock() - began)
    return found


def told(seconds: list[float]) -> str:
    return f"{statistics.median(seconds):.3f} s ({min(seconds):.3f} to {max(seconds):.3f})"


def first(season: Season, sessions: int) -> Season:
    """Return the first so many sessions of a season."""
    bouts = season.bouts[season.bouts["session"].cat.codes < sessions].reset_index(drop=True)
    return Season(season.folder, season.sessions.iloc[:sessions], bouts, season.gaps, season.ethograms)


# ---------------------------------------------------------------- the measures, four ways


def ours_latency(season: Season) -> tuple[int, float]:
    times = latency(season, since=SINCE, to=TO)
    return int(times["occurred"].sum()), round(float(times["latency_s"].sum()), 3)


def ours_budget(season: Season) -> Sums:
    found = time_shares(season)
    sums = found.groupby("behaviour", observed=True)[["count", "total_s"]].sum()
    return len(found), {code: (int(row["count"]), row["total_s"]) for code, row in sums.to_dict("index").items()}


def ours_transition(season: Season) -> dict[tuple[str, str], int]:
    counts = transition(season, repeats=True).counts.stack()
    return {pair: int(count) for pair, count in counts.items() if count}


def naive_latency(season: Season) -> tuple[int, float]:
    ends = dict(zip(season.sessions["session"], season.sessions["length_s"], strict=True))

    def one(group: pd.DataFrame) -> pd.Series:
        start = group.loc[group["behaviour"] == SINCE, "onset_s"].min()
        if pd.isna(start):
            return pd.Series({"latency": np.nan, "occurred": False})
        then = group.loc[(group["behaviour"] == TO) & (group["onset_s"] >= start), "onset_s"].min()
        occurred = not pd.isna(then)
        return pd.Series({"latency": (then if occurred else ends[group.name]) - start, "occurred": occurred})

    found = season.bouts.groupby("session", observed=True)[["behaviour", "onset_s"]].apply(one)
    return int(found["occurred"].sum()), round(float(found["latency"].sum()), 3)


def naive_budget(season: Season) -> Sums:
    def one(group: pd.DataFrame) -> pd.DataFrame:
        return group.groupby(group["behaviour"].astype(str))["duration_s"].agg(["count", "sum"])

    return _summed(season.bouts.groupby("session", observed=True)[["behaviour", "duration_s"]].apply(one))


def _summed(found: pd.DataFrame) -> Sums:
    sums = found.groupby(level=1, observed=True).sum()
    return len(found), {code: (int(row["count"]), row["sum"]) for code, row in sums.to_dict("index").items()}


def naive_transition(season: Season) -> dict[tuple[str, str], int]:
    def one(group: pd.DataFrame) -> pd.Series:
        codes = group["behaviour"].astype(str)
        return pd.crosstab(codes.to_numpy()[:-1], codes.to_numpy()[1:]).stack()

    found = season.bouts.groupby("session", observed=True)[["behaviour"]].apply(one)
    found = found.T.sum(axis=1) if isinstance(found, pd.DataFrame) else found.groupby(level=[1, 2]).sum()
    return {pair: int(count) for pair, count in found.items() if count}


def pandas_latency(season: Season) -> tuple[int, float]:
    bouts = season.bouts
    start = bouts.loc[bouts["behaviour"] == SINCE].groupby("session", observed=True)["onset_s"].min()
    later = bouts.loc[bouts["behaviour"] == TO, ["session", "onset_s"]]
    later = later[later["onset_s"] >= later["session"].map(start).astype(float)]
    then = later.groupby("session", observed=True)["onset_s"].min().reindex(start.index)
    end = season.sessions.set_index("session")["length_s"].reindex(start.index)
    return int(then.notna().sum()), round(float((then.fillna(end) - start).sum()), 3)


def pandas_budget(season: Season) -> Sums:
    return _summed(season.bouts.groupby(["session", "behaviour"], observed=True)["duration_s"].agg(["count", "sum"]))


def pandas_transition(season: Season) -> dict[tuple[str, str], int]:
    bouts = season.bouts[["session", "behaviour"]]
    after = bouts.groupby("session", observed=True)["behaviour"].shift(-1)
    found = bouts.assign(after=after).groupby(["behaviour", "after"], observed=True).size()
    return {pair: int(count) for pair, count in found.items() if count}


def plain(season: Season) -> Callable[[], tuple[Any, Any, Any]]:
    """Return one pass over plain lists that gives all three answers; making the lists is not counted."""
    bouts = season.bouts
    place, codes = bouts["session"].cat.codes.tolist(), bouts["behaviour"].astype(str).tolist()
    onsets, lengths = bouts["onset_s"].tolist(), bouts["duration_s"].tolist()
    ends = season.sessions["length_s"].tolist()

    def work() -> tuple[Any, Any, Any]:
        counts: list[Counter[str]] = []
        seconds: list[Counter[str]] = []
        pairs: Counter[tuple[str, str]] = Counter()
        occurred, total, now, before = 0, 0.0, -1, ""
        start = then = None
        for at, code, onset, length in zip(place, codes, onsets, lengths, strict=True):
            if at != now:
                if start is not None:
                    total += (ends[now] if then is None else then) - start
                    occurred += then is not None
                now, start, then = at, None, None
                counts.append(Counter())
                seconds.append(Counter())
                count, second = counts[-1], seconds[-1]
            else:
                pairs[before, code] += 1
            before = code
            count[code] += 1
            second[code] += length
            if start is None and code == SINCE:
                start = onset
            if start is not None and then is None and code == TO:
                then = onset
        if start is not None:
            total += (ends[now] if then is None else then) - start
            occurred += then is not None
        return (occurred, total), (counts, seconds), dict(pairs)

    return work


MEASURES: dict[str, tuple[Task, Task, Task]] = {
    "latency": (ours_latency, naive_latency, pandas_latency),
    "budget": (ours_budget, naive_budget, pandas_budget),
    "transition": (ours_transition, naive_transition, pandas_transition),
}


def close(one: Any, two: Any) -> bool:
    """Whether two answers are one, but for the last digits of sums in another order."""
    if isinstance(one, dict):
        return one.keys() == two.keys() and all(close(one[key], two[key]) for key in one)
    if isinstance(one, tuple):
        return all(close(a, b) for a, b in zip(one, two, strict=True))
    return bool(np.isclose(one, two, rtol=1e-9, atol=0.02))


def tables(season: Season) -> None:
    count = len(season.sessions)
    columns = [season.bouts[name] for name in ("onset_s", "duration_s")]
    arrays = [column.to_numpy() for column in columns]
    arrays += [season.bouts[name].cat.codes.to_numpy() for name in ("session", "behaviour")]
    print(f"\n{len(season.bouts):,} bouts in {count:,} sessions; groupby.apply on {NAIVE} of them, x {count / NAIVE:g}")
    few, some = first(season, NAIVE), first(season, PLAIN)
    whole = {"ours": 0.0, "naive": 0.0, "pandas": 0.0}
    for name, (ours, naive, idiomatic) in MEASURES.items():
        assert close(ours(few), naive(few)), name
        assert close(ours(few), idiomatic(few)), name
        fast, usual = timed(partial(ours, season), partial(idiomatic, season))
        [slow] = timed(partial(naive, few), times=3)
        own, theirs = statistics.median(fast), statistics.median(usual)
        worst = statistics.median(slow) * count / NAIVE
        whole = {"ours": whole["ours"] + own, "naive": whole["naive"] + worst, "pandas": whole["pandas"] + theirs}
        print(
            f"{name:10} {told(fast)}; groupby.apply {worst:.0f} s (extrapolated): x {worst / own:.0f};"
            f" pandas without apply {told(usual)}: x {theirs / own:.1f}"
        )
    python = plain(some)
    answers = python()
    counts, lengths = answers[1]
    sums: dict[str, tuple[int, float]] = {}
    for count_, length in zip(counts, lengths, strict=True):
        for code in count_:
            had = sums.get(code, (0, 0.0))
            sums[code] = (had[0] + count_[code], had[1] + length[code])
    same = (answers[0], (sum(map(len, counts)), sums), answers[2])
    assert all(close(ours(some), answer) for (ours, *_), answer in zip(MEASURES.values(), same, strict=True))
    [seconds], [single] = timed(python, times=3), timed(lambda: [column.sum() for column in arrays])
    one = statistics.median(seconds) * count / PLAIN
    print(
        f"all three  {whole['ours']:.3f} s; groupby.apply x {whole['naive'] / whole['ours']:.0f} (extrapolated),"
        f" pandas without apply x {whole['pandas'] / whole['ours']:.1f}, one pass over plain lists"
        f" {one:.2f} s (extrapolated): x {one / whole['ours']:.1f};"
        f" {whole['ours'] / statistics.median(single):.0f} times one pass over the arrays ({told(single)})"
    )
    [more] = timed(partial(duration, season), times=3)
    print(f"medians of bouts (Kaplan-Meier) and limits in which males and females vary, over all of them: {told(more)}")


def memory(count: int) -> None:
    """Print the peak memory of the three measures, in a process of its own."""
    script = (
        "import re; from pathlib import Path; from tests.bench import analysis, made\n"
        f"season = made.season({count}); columns = int(season.bouts.memory_usage(deep=False).sum())\n"
        "for ours, *_ in analysis.MEASURES.values(): ours(analysis.first(season, 50))  # loads the libraries\n"
        "import gc; gc.collect(); Path('/proc/self/clear_refs').write_text('5')\n"
        "peak = lambda: int(re.search(r'VmHWM:\\s+(\\d+)', Path('/proc/self/status').read_text())[1]) * 1024\n"
        "before = peak()\n"
        "for ours, *_ in analysis.MEASURES.values(): ours(season)\n"
        "print(columns, before, peak())\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    columns, before, peak = map(int, done.stdout.split())
    print(
        f"\npeak memory {peak / 1e6:.0f} MB, with {columns / 1e6:.0f} MB of columns: x {peak / columns:.1f}"
        f" (the process held {before / 1e6:.0f} MB before)"
    )


def growth() -> None:
    """Print by which power of the number of sessions the measures grow."""
    sizes = [1_000, 5_000, 20_000, 50_000]
    kept = [made.season(size, 100) for size in sizes]
    for name, (ours, *_) in MEASURES.items():
        seconds = [min(timed(partial(ours, one), times=5)[0]) for one in kept]
        last = np.log(seconds[-1] / seconds[-2]) / np.log(sizes[-1] / sizes[-2])
        slope = np.polyfit(np.log(sizes), np.log(seconds), 1)[0]
        print(f"{name:10} {sizes[0]:,} to {sizes[-1]:,} sessions: exponent {slope:.2f}, of the last step {last:.2f}")


GRID = ((28, 6, 8), (200, 3, 20), (300, 2, 30), (300, 20, 30), (900, 300, 1), (10_000, 2, 100), (10_000, 20, 100))


def permutations() -> None:
    """The p of a comparison: 8 males of 6 sessions against a loop over statsmodels and against shuffled sums of scores
    alone; then over a grid of sizes."""
    from statsmodels.duration.survfunc import survdiff

    generator = np.random.default_rng(8)
    stratum, label = np.repeat(np.arange(8), 6), np.tile([0, 0, 0, 1, 1, 1], 8)
    time_s, occurred = np.round(generator.exponential(200, 48) + 1, 1), generator.random(48) < 0.8
    chi2, _ = survdiff(time_s, occurred.astype(int), label, strata=stratum)
    assert np.isclose(chi2, logrank.log_rank(time_s, occurred, label, stratum).statistic)
    scores = logrank.scores(time_s, occurred, stratum)
    shuffles, looped = 10_000, 100

    def drawn() -> float:
        return permutation.permute(logrank.statistic(time_s, occurred, stratum, 2), label, stratum, shuffles, 1).p

    def bare() -> float:
        order = generator.permuted(np.tile(np.arange(6), (shuffles * 8, 1)), axis=1).reshape(shuffles, 8, 6)
        sums = np.take_along_axis(np.tile(scores.reshape(1, 8, 6), (shuffles, 1, 1)), order, axis=2)[:, :, :3]
        return float((np.abs(sums.sum(axis=(1, 2))) >= abs(scores[label == 0].sum())).mean())

    def loop() -> list[float]:
        out = []
        for _ in range(looped):
            order = np.concatenate([generator.permutation(6) + 6 * at for at in range(8)])
            out.append(survdiff(time_s, occurred.astype(int), label[order], strata=stratum)[0])
        return out

    fast, plain = timed(drawn, bare)
    [slow] = timed(loop, times=3)
    many = statistics.median(slow) * shuffles / looped
    print(
        f"\n{shuffles:,} shuffles of a log-rank test within 8 males {told(fast)}; shuffled sums of scores alone:"
        f" x {statistics.median(fast) / statistics.median(plain):.1f}; a loop over survdiff(strata=) {many:.1f} s"
        f" (extrapolated from {looped}): x {many / statistics.median(fast):.0f} slower"
    )
    for rows, groups, strata in GRID:
        time_s, occurred = np.round(generator.exponential(200, rows) + 1, 1), generator.random(rows) < 0.8
        label, stratum = (generator.integers(0, many, rows) for many in (groups, strata))
        [took] = timed(partial(logrank.permuted, time_s, occurred, label, stratum, shuffles, 1), times=1)
        found = logrank.permuted(time_s, occurred, label, stratum, shuffles, 1)
        how = "exact over" if found.exact else "by"
        print(f"{rows:,} sessions, {groups} groups, {strata} strata: {told(took)}, {how} {found.labellings:,}")


def reading(count: int, like_recorded: bool) -> None:
    """Cold and warm, against stat and against parsing alone."""
    import orjson  # no test needs it, and tests share this module's slow ways

    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        made.files(folder, count, like_recorded)
        time.sleep(2.5)  # what was written a moment ago is not kept
        lines = [file.read_bytes() for file in sorted(folder.iterdir())]

        def stat() -> int:
            return sum(entry.stat().st_size for entry in os.scandir(folder))

        def fastest() -> int:
            return sum(
                len(orjson.loads(b"[" + file.read_bytes().rstrip().replace(b"\n", b",") + b"]"))
                for file in folder.glob("*.jsonl")
            )

        def usual() -> int:
            return sum(
                len([json.loads(line) for line in file.read_bytes().splitlines()]) for file in folder.glob("*.jsonl")
            )

        def checksums() -> int:
            return sum(zlib.crc32(line) != 0 for text in lines for line in text.splitlines())

        def journals() -> int:
            return sum(len(journal.read(file).bodies) for file in folder.glob("*.jsonl"))

        def validated() -> int:
            return sum(len(session.read(file).records) + 1 for file in folder.glob("*.jsonl"))

        assert checksums() == journals() == validated()
        assert fastest() == usual() == sum(text.count(b"\n") for text in lines)
        works = partial(seasons.read, folder, cached=False), fastest, usual
        cold, base, common = timed(*works, times=3)
        waited, waited_base, waited_common = map(statistics.median, timed(*works, times=3, clock=time.perf_counter))
        kept, without = seasons.read(folder), seasons.read(folder, cached=False)
        warm, floor = timed(lambda: seasons.read(folder), stat, times=7)
        tenth = folder / "tenth"
        tenth.mkdir()
        for file in sorted(folder.glob("*.jsonl"))[: count // 10]:
            os.link(file, tenth / file.name)
        parts = timed(checksums, journals, validated, fastest, times=3)
        [small] = timed(lambda: seasons.read(tenth, cached=False), times=3)
        for table in ("sessions", "bouts", "gaps"):
            pd.testing.assert_frame_equal(getattr(seasons.read(folder), table), getattr(without, table))
            pd.testing.assert_frame_equal(getattr(kept, table), getattr(without, table))
    slow, quick = statistics.median(cold), statistics.median(warm)
    what = "marks, corrections, notes and gaps as recorded" if like_recorded else "marks alone"
    print(f"\n{count:,} files of {made.MARKS} {what}, to tables, validated and with checksums {told(cold)}")
    print(f"  from {count // 10:,} to {count:,}: exponent {np.log10(slow / statistics.median(small)):.2f}")
    print(f"  orjson.loads alone {told(base)}: x {slow / statistics.median(base):.1f}")
    crc, lines_alone, checked, parsed = (statistics.median(part) for part in parts)
    print(f"  of that, in orjson.loads alone: checksums x {crc / parsed:.1f}, lines and numbers", end="")
    print(f" x {(lines_alone - crc) / parsed:.1f}, strict validation x {(checked - lines_alone) / parsed:.1f}", end="")
    print(f", folding and tables x {(slow - checked) / parsed:.1f}")
    print(f"  json.loads of each line {told(common)}: x {slow / statistics.median(common):.2f}")
    print(f"  waited for: {waited:.1f} s,", end="")
    print(f" x {waited / waited_base:.1f} of orjson.loads and x {waited / waited_common:.2f} of json.loads")
    print(f"  from the cache {told(warm)}: x {slow / quick:.0f} faster (waited for: x {waited / quick:.0f})")
    print(f"  stat of each file alone {told(floor)}: the cache takes x {quick / statistics.median(floor):.1f} of it")


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    files = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000
    print(f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    permutations()
    tables(made.season(count))
    memory(count)
    growth()
    for like_recorded in (False, True):
        reading(files, like_recorded)


if __name__ == "__main__":
    main()
