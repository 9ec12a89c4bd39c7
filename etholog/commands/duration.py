"""`etholog duration`: bouts, totals, shares of the time watched, rates."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.commands.output import add_json, as_json, say, table

if TYPE_CHECKING:
    import pandas as pd


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--by", metavar="COLUMN", help="for each of these, e.g. male")
    parser.add_argument("--folder", type=Path, default=Path(), help="workspace or folder of sessions (default: here)")
    add_json(parser)
    parser.epilog = "example:\n  etholog duration --by male"


def _pretty(found: "pd.DataFrame", by: str | None) -> "pd.DataFrame":
    shown = found[[by] if by else []].copy()
    shown["actor"] = found["actor"]
    sides = found["qualifier"].astype(object).where(found["qualifier"].notna(), None)
    shown["behaviour"] = [
        code if side is None else f"{code}:{side}" for code, side in zip(found["behaviour"], sides, strict=True)
    ]
    shown[["count", "cut"]] = found[["count", "cut"]]
    shown["total s"] = found["total_s"]
    shown["share"] = [f"{share:.1%}" if share == share else "-" for share in found["share"]]
    shown["median s"], shown["per hour"] = found["median_s"], found["per_hour"]
    return shown


def run(args: argparse.Namespace) -> int:
    """Print the table; 1 where a file could not be read."""
    import sys

    from etholog import season
    from etholog.analysis.duration import duration

    read = season.read(args.folder)
    found = duration(read, args.by)
    if args.json:
        print(as_json({"durations": found}))
    elif not sys.stdout.isatty() or found.empty:
        table(found)
    else:
        table(_pretty(found, args.by))
        print("cut: bouts whose end nobody saw; in the median they count as unfinished. Limits: in a pipe, or --json.")
    say(*read.faults)
    return 1 if read.faults else 0
