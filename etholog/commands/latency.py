"""`etholog latency`: how long until a behaviour, unfinished sessions counted right, compared between groups."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.commands.output import add_json, as_json, limits, say, table

if TYPE_CHECKING:
    import pandas as pd

    from etholog.analysis.compare import Comparison


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("interval", nargs="?", help="a named interval of the ethogram, such as courtship")
    parser.add_argument("--since", action="append", metavar="CODE", help="instead: from this behaviour (or the start)")
    parser.add_argument("--to", action="append", metavar="CODE", help="to this one; insertion:left names one palp")
    parser.add_argument("--by", default="male", metavar="COLUMN", help="compare by this (default: male)")
    parser.add_argument("--within", metavar="COLUMN", help="compare only within each of these, e.g. female")
    parser.add_argument("--unseen", choices=("keep", "censor"), default="keep", help="time in gaps and out of sight")
    parser.add_argument("--competing", action="store_true", help="end at what makes the behaviour impossible")
    parser.add_argument("--permutations", type=int, default=10_000, metavar="N", help="shuffles, where not exact")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--folder", type=Path, default=Path(), help="workspace or folder of sessions (default: here)")
    add_json(parser)
    parser.epilog = "example:\n  etholog latency courtship --by male --within female"


def run(args: argparse.Namespace) -> int:
    """Print the comparison, or each session's latency in a pipe; 1 where a file could not be read."""
    from etholog import season
    from etholog.analysis.compare import compare
    from etholog.analysis.latency import latency

    read = season.read(args.folder)
    if args.interval is None and not args.to and read.ethograms:
        args.interval = next((i.name for kept in read.ethograms.values() for i in kept.interval), None)
    times = latency(read, args.interval, since=args.since, to=args.to, unseen=args.unseen, competing=args.competing)
    found = compare(times, args.by, args.within, args.permutations, args.seed)
    if args.json:
        print(as_json(_everything(times, found)))
    elif sys.stdout.isatty():
        show(times, found)
    else:
        table(times)
    say(*read.faults)
    return 1 if read.faults else 0


def show(times: "pd.DataFrame", found: "Comparison") -> None:
    """Print a comparison for people."""
    about = times.attrs
    groups = found.table
    pretty = groups[["n", "occurred"]].reset_index()
    pretty["median"] = ["not reached" if value != value else f"{value:,.1f}" for value in groups["median_s"]]
    pretty["95 % limits"] = [
        limits(*pair) for pair in zip(groups["median_low_s"], groups["median_high_s"], strict=True)
    ]
    pretty["mean"], pretty["se"] = groups["mean_s"].to_numpy(), groups["mean_se_s"].to_numpy()
    pretty[list(groups.columns[7:])] = groups[list(groups.columns[7:])].to_numpy()
    print(f"\nLatency {about['label']}, in seconds")
    table(pretty)
    print(f"The mean is restricted to {found.horizon_s:,.0f} s, the shortest of the groups' longest times.")
    if found.df:
        print(f"Log-rank chi-squared {found.statistic:.2f}, df {found.df}, p = {found.p:.4f}.")
    print(found.sentence)
    if about["without_since"]:
        print(f"{about['without_since']} more sessions never came to where this latency begins.")
    if about["touched"]:
        print(f"{about['touched']} sessions had a gap or an animal out of sight in it ({about['unseen']}).")
    if len(found.pairs) and found.df:
        print("\nEach two:")
        pairs = found.pairs
        told = pairs[["first", "second", "p", "p_holm"]].copy()
        told["difference"] = pairs["difference_s"]
        ends = zip(pairs["difference_low_s"], pairs["difference_high_s"], strict=True)
        told["95 % limits"] = [limits(low, high) for low, high in ends]
        told["first sooner"] = [f"{share:.0%}" if share == share else "-" for share in pairs["first_sooner"]]
        table(told)


def _everything(times: "pd.DataFrame", found: "Comparison") -> dict[str, object]:
    return {
        **{str(name): value for name, value in times.attrs.items()},
        "by": found.by,
        "within": found.within,
        "groups": found.table.reset_index(),
        "horizon_s": found.horizon_s,
        "statistic": found.statistic,
        "df": found.df,
        "p": found.p,
        "permutation_p": found.permutation_p,
        "permutations": found.permutations,
        "exact": found.exact,
        "smallest_p": found.smallest_p,
        "permutation_error": found.permutation_error,
        "pairs": found.pairs,
        "sentence": found.sentence,
        "sessions": times,
    }
