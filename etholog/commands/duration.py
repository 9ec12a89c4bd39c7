"""`etholog duration`: bouts, totals, shares of the time watched, rates."""

import argparse
from pathlib import Path

from etholog.commands.output import add_json, as_json, say, table


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--by", metavar="COLUMN", help="for each of these, e.g. male")
    parser.add_argument("--folder", type=Path, default=Path(), help="workspace or folder of sessions (default: here)")
    add_json(parser)
    parser.epilog = "example:\n  etholog duration --by male"


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
        table(found.drop(columns=["kind", "median_low_s", "median_high_s", "per_hour_low", "per_hour_high"]))
        print("cut: bouts whose end nobody saw; in the median they count as unfinished. Limits: in a pipe, or --json.")
    say(*read.faults)
    return 1 if read.faults else 0
