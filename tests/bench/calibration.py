"""How often 95 % limits hold the truth, and how often p is under .05 where nothing differs: `python -m
tests.bench.calibration [--runs 1000] [--only WORD] [--jobs 2]`.

Each cell simulates one kind of season (`tests/bench/simulated.py`) over and over, asks what a command asks
(`tests/bench/calibrated/`), and counts how often the limits held the truth, or p was at most .05, of those seasons in
which something was printed. Rows are added to `tests/bench/calibration.csv` as they come, and cells that it has are
not asked again, so a run that was broken off goes on. `--table` prints what the file says (its short form stands in
DEVELOPERS.md): the simulation error (one standard error) stands beside each share. The whole grid with 1,000 runs takes
some hours of one processor.
"""

import argparse
import csv
import math
import zlib
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from etholog.analysis import covariate, permutation
from tests.bench.calibrated import animals, chains, durations, latencies, observers, outcomes
from tests.bench.calibrated.answers import Cell

FILE = Path(__file__).with_name("calibration.csv")
COLUMNS = ["work", "statistic", "season", "of", "runs", "printed", "share", "error"]
COVERED, REJECTED = "limits", "p"


def grid() -> Iterator[Cell]:
    """Yield every cell: what kind of season it is, and the work."""
    for subject in (durations, latencies, animals, outcomes, observers, chains):
        yield from subject.grid()


def name(cell: Cell) -> str:
    """Return the name of a cell's work: its module and function."""
    work = cell[1]
    assert isinstance(work, partial)
    return f"{work.func.__module__.rpartition('.')[2]}.{work.func.__name__}"


def run(cells: Iterable[Cell], runs: int, seed: int = 0) -> pd.DataFrame:
    """Return a row for each statistic of each cell: how many printed, and the share that held, or was at most .05."""
    return pd.DataFrame([row for cell in cells for row in _rows(cell, runs, seed)], columns=COLUMNS)


def _rows(cell: Cell, runs: int, seed: int = 0) -> list[dict[str, object]]:
    season, work = cell
    random = np.random.default_rng([seed, zlib.crc32(f"{name(cell)} {season}".encode())])
    counted: dict[str, list[float | None]] = {}
    for _ in range(runs):
        for statistic, answer in work(random).items():
            counted.setdefault(statistic, []).append(answer)
    rows: list[dict[str, object]] = []
    for statistic, answers in counted.items():
        printed = np.array([answer for answer in answers if answer is not None])
        share = float(printed.mean()) if len(printed) else math.nan
        error = float(printed.std() / math.sqrt(len(printed))) if len(printed) else math.nan
        of = REJECTED if statistic.startswith("p,") else COVERED
        told = [name(cell), statistic, season, of, runs, len(printed), round(share, 4), round(error, 4)]
        rows.append(dict(zip(COLUMNS, told, strict=True)))
    return rows


def faults(table: pd.DataFrame) -> pd.DataFrame:
    """Return what misses the goal: limits that hold in under 90 %, a p of at most .05 in more than 5 %, by more than
    two simulation errors (of a share of 95 or of 5 %)."""
    some = table[table["printed"] > 0]
    slack = 2 * np.sqrt(0.05 * 0.95 / some["printed"])
    low = (some["of"] == COVERED) & (some["share"] < 0.90 - slack)
    high = (some["of"] == REJECTED) & (some["share"] > 0.05 + slack)
    return some[low | high]


def summary(table: pd.DataFrame) -> str:
    """Return the table by statistic, in Markdown: the mean over its cells and the worst, and in how many of the seasons
    something was printed. Cells in which under a tenth printed count for the mean, and not for the worst."""
    lines = [
        "| limits of 95 %, or p at 5 % | cells | seasons a cell | printed in | mean over cells | worst cell, +- its"
        " simulation error | where |",
        "|---|---|---|---|---|---|---|",
    ]
    for of in (COVERED, REJECTED):
        for statistic, rows in table[(table["of"] == of) & (table["printed"] > 0)].groupby("statistic"):
            mean = np.average(rows["share"], weights=rows["printed"])
            often = rows[rows["printed"] >= rows["runs"] / 10]
            worst = (often if len(often) else rows).sort_values("share", ascending=of == COVERED).iloc[0]
            lines.append(
                f"| {statistic} | {len(rows)} | {rows['runs'].min():,} |"
                f" {rows['printed'].sum() / rows['runs'].sum():.0%} | {100 * mean:.1f} |"
                f" {100 * worst['share']:.1f} +- {100 * worst['error']:.1f} | {worst['season']} |"
            )
    return "\n".join(lines)


def _shuffle_sooner() -> None:
    """Go through all labellings only where they are few: that is the same test as shuffling, and most of the time."""
    permutation._EXACT_WORK = 40_000
    covariate.SUMS_AT_MOST = 2_000


def main() -> None:
    parser = argparse.ArgumentParser(description="Calibrate limits and p.")
    parser.add_argument("--runs", type=int, default=1_000, help="seasons a cell")
    parser.add_argument("--only", default="", help="only cells whose work has this in its name, or season")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--file", type=Path, default=FILE, help="where rows are added")
    parser.add_argument("--table", action="store_true", help="print what the file says, and run nothing")
    args = parser.parse_args()
    done = pd.read_csv(args.file) if args.file.exists() else pd.DataFrame(columns=COLUMNS)
    if args.table:
        print(summary(done))
        return
    known = set(zip(done["work"], done["season"], strict=True))
    cells = [cell for cell in grid() if args.only in f"{name(cell)} {cell[0]}" and (name(cell), cell[0]) not in known]
    with args.file.open("a", newline="") as file, ProcessPoolExecutor(args.jobs, initializer=_shuffle_sooner) as pool:
        writer = csv.DictWriter(file, COLUMNS)
        if not len(done):
            writer.writeheader()
        for rows in pool.map(partial(_rows, runs=args.runs), cells):
            for row in rows:
                what = "held" if row["of"] == COVERED else "p <= .05"
                print(f"{row['statistic']}; {row['season']}: {what} {row['share']:.1%} +- {row['error']:.1%}", end="")
                print(f", printed {row['printed']} of {row['runs']}", flush=True)
            writer.writerows(rows)
            file.flush()


if __name__ == "__main__":
    main()
