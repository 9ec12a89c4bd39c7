"""`etholog agree`: how far two observers' records of one session agree."""

import argparse
import math
import sys
from pathlib import Path

from etholog.commands.output import add_json, as_json, say, table
from etholog.refusal import Refusal


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("first", type=Path, metavar="FIRST", help="one record of the session")
    parser.add_argument("second", type=Path, metavar="SECOND", help="the other")
    parser.add_argument("--tolerance", type=float, default=1.0, metavar="S", help="onsets this near may match (1 s)")
    parser.add_argument("--unit", type=float, default=1.0, metavar="S", help="time unit of kappa (1 s)")
    parser.add_argument("--align", action="store_true", help="take out a constant shift between the two clocks")
    add_json(parser)
    parser.epilog = "example:\n  etholog agree sessions/a.jsonl sessions/a-second.jsonl --tolerance 2"


def run(args: argparse.Namespace) -> int:
    """Print the table of behaviours and kappa; 1 where a line of a file could not be used."""
    if not (args.tolerance >= 0 and args.unit >= 0.001):
        raise Refusal("--tolerance must be 0 or more, and --unit 0.001 or more, in seconds")
    from etholog import season, session
    from etholog.analysis.agreement import agreement

    read = [session.read(path) for path in (args.first, args.second)]
    bouts = [season.of(one.path.parent, [one]).bouts for one in read]
    found = agreement(bouts[0], bouts[1], args.tolerance, args.unit, args.align)
    if args.json:
        told = {"kappa": found.kappa, "matched": found.matched, "shift_s": found.shift_s}
        print(as_json({**told, "behaviours": found.table.reset_index()}))
    elif sys.stdout.isatty():
        table(
            found.table.drop(columns=["low_s", "high_s"]).rename(columns={"difference_s": "longer by s"}).reset_index()
        )
    else:
        table(found.table.reset_index())
    if sys.stdout.isatty() and not args.json:
        kappa = "not defined" if math.isnan(found.kappa) else f"{found.kappa:.3f}"
        print(
            f"{found.matched} onsets matched within {args.tolerance:g} s; kappa over units of {args.unit:g} s: {kappa}."
        )
        if args.align:
            print(f"The second record was put {found.shift_s:+.3f} s earlier first.")
        print("Fewer and rarer codes lower kappa: there is no one value that is good enough.")
    faults = [fault for one in read for fault in one.faults]
    say(*faults)
    return 1 if faults else 0
