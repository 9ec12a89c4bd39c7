"""`etholog transition`: what follows what, and what follows more often than chance."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.commands.output import add_json, as_json, say, table

if TYPE_CHECKING:
    from etholog.season import Season


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--actor", choices=("male", "female", "pair", "keeper"), help="only what this one does")
    parser.add_argument("--lag", type=int, default=1, metavar="N", help="what comes N behaviours later (default: 1)")
    parser.add_argument("--repeats", action="store_true", help="count a behaviour that follows itself")
    parser.add_argument("--longest-pause", type=float, metavar="S", help="a pause this long breaks the chain")
    parser.add_argument("--by", metavar="COLUMN", help="test whether these differ, e.g. male")
    parser.add_argument(
        "--follows", nargs=2, metavar=("FIRST", "NEXT"), help="shuffle: does NEXT follow FIRST by chance?"
    )
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
        print(as_json({**told, "tests": _tests(read, args), "transitions": long}))
    else:
        table(long.head(20) if sys.stdout.isatty() else long)
        if sys.stdout.isatty():
            if found.df:
                print(f"X2 {found.x2:.1f}, G2 {found.g2:.1f}, df {found.df}, p = {found.p:.2g}. ", end="")
            print(found.sentence)
            for name, test in _tests(read, args).items():
                print(f"{name}: " + ", ".join(f"{what} {_short(value)}" for what, value in test.items()))
            print(
                "residual: adjusted; over 2 is more often than chance, under -2 more rarely. p_holm counts all cells."
            )
    say(*read.faults)
    return 1 if read.faults else 0


def _tests(read: "Season", args: argparse.Namespace) -> dict[str, dict[str, float]]:
    """Return the tests asked for: `--by` whether groups differ, `--follows` a shuffle within sessions."""
    import numpy as np
    import pandas as pd

    from etholog.analysis import chain
    from etholog.analysis.latency import check_names
    from etholog.analysis.transition import sequences
    from etholog.ethogram import nearest
    from etholog.refusal import Refusal

    names, runs, rows = sequences(read, actor=args.actor, repeats=args.repeats, longest_pause_s=args.longest_pause)
    told: dict[str, dict[str, float]] = {}
    if args.by is not None:
        if args.by not in read.sessions.columns:
            raise Refusal(f"no column {args.by!r}{nearest(args.by, map(str, read.sessions.columns))}")
        group = pd.factorize(read.sessions[args.by].astype(object))[0]
        tables = np.zeros((int(group.max(initial=-1)) + 1, len(names), len(names)))
        for run, row in zip(runs, rows, strict=True):
            if group[row] >= 0:
                np.add.at(tables[group[row]], (run[:-1], run[1:]), 1)
        if len(tables):
            test = chain.homogeneity(list(tables))
            told[f"do they differ by {args.by}"] = {"G2": test.g2, "X2": test.x2, "df": test.df, "p": test.p}
    if args.repeats and names:
        # Where a behaviour can't follow itself, the cells that must be empty would pass for memory.
        test = chain.order(runs, len(names), 1)
        told["does the one before matter too"] = {"G2": test.g2, "X2": test.x2, "df": test.df, "p": test.p}
    if args.follows is not None:
        check_names(read, args.follows)
        if all(name in names for name in args.follows):
            first, after = (names.index(name) for name in args.follows)
            observed, p, error = chain.shuffled(runs, first, after)
            told[f"{args.follows[1]} after {args.follows[0]}"] = {"times": observed, "p": p, "error of p": error}
    return told


def _short(value: float) -> str:
    return "not defined" if value != value else f"{value:.4g}"
