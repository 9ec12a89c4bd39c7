"""`etholog transition`: what follows what, and what follows more often than chance."""

import argparse
from pathlib import Path

from etholog.commands.output import add_json, as_json, say, table


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--actor", choices=("male", "female", "pair", "keeper"), help="only what this one does")
    parser.add_argument("--lag", type=int, default=1, metavar="N", help="what comes N behaviours later (default: 1)")
    parser.add_argument("--repeats", action="store_true", help="count a behaviour that follows itself")
    parser.add_argument("--longest-pause", type=float, metavar="S", help="a pause this long breaks the chain")
    parser.add_argument("--folder", type=Path, default=Path(), help="workspace or folder of sessions (default: here)")
    add_json(parser)
    parser.epilog = "example:\n  etholog transition --actor male"


def run(args: argparse.Namespace) -> int:
    """Print each transition that was seen; 1 where a file could not be read."""
    import sys

    from etholog import season
    from etholog.analysis.transition import transition
    from etholog.refusal import Refusal

    if args.lag < 1:
        raise Refusal(f"--lag {args.lag}: must be 1 or more")
    read = season.read(args.folder)
    found = transition(read, actor=args.actor, lag=args.lag, repeats=args.repeats, longest_pause_s=args.longest_pause)
    long = found.long()
    if args.json:
        told = {"x2": found.x2, "g2": found.g2, "df": found.df, "p": found.p, "sentence": found.sentence}
        print(as_json({**told, "transitions": long}))
    else:
        table(long.head(20) if sys.stdout.isatty() else long)
        if sys.stdout.isatty():
            if found.df:
                print(f"X2 {found.x2:.1f}, G2 {found.g2:.1f}, df {found.df}, p = {found.p:.2g}. ", end="")
            print(found.sentence)
            print(
                "residual: adjusted; over 2 is more often than chance, under -2 more rarely. p_holm counts all cells."
            )
    say(*read.faults)
    return 1 if read.faults else 0
