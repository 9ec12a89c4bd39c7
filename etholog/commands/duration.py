"""`etholog duration`: bouts, totals, shares of the time watched, rates; how near two onsets make one bout; palps."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.refusal import Refusal
from etholog.commands.output import add_json, as_json, limits, paragraph, say, shares, table

if TYPE_CHECKING:
    import pandas as pd

    from etholog.season import Season


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--by", metavar="COLUMN", help="for each of these, e.g. male")
    parser.add_argument("--join", type=float, metavar="S", help="bouts that lie so near are one")
    parser.add_argument("--criterion", metavar="CODE", help="instead: how near two bouts of this should be to be one")
    parser.add_argument("--balance", action="store_true", help="instead: left and right palp in insertions")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--folder", type=Path, default=Path(), help="workspace or folder of sessions (default: here)")
    add_json(parser)
    parser.epilog = "examples:\n  etholog duration --by male\n  etholog duration --criterion drumming"


def run(args: argparse.Namespace) -> int:
    """Print the table; 1 where a file could not be read."""
    if args.join is not None and not args.join >= 0:
        raise Refusal(f"--join {args.join}: must be 0 or more, in seconds")
    from etholog import season

    read = season.read(args.folder)
    if args.criterion is not None:
        _criterion(read, args)
    elif args.balance:
        _balance(read, args)
    else:
        _durations(read, args)
    say(*read.findings)
    return 1 if read.findings else 0


def _durations(read: "Season", args: argparse.Namespace) -> None:
    from etholog.analysis.duration import duration

    found = duration(read, args.by, args.join, args.seed)
    if args.json:
        print(as_json({"drawn": found.attrs["drawn"], "join_s": args.join, "durations": found}))
        return
    if not sys.stdout.isatty() or found.empty:
        table(found)
        return
    table(_pretty(found, args.by))
    paragraph(
        "cut: bouts whose end nobody saw; in the median they count as unfinished. share: of the time watched. per hour:"
        f" while its actor was in sight; the 95 % limits draw whole {found.attrs['drawn']}s. Exact Poisson limits, and"
        " those of share and median: in a pipe, or with --json."
    )


def _pretty(found: "pd.DataFrame", by: str | None) -> "pd.DataFrame":
    shown = found[[by] if by else []].copy()
    sides = found["qualifier"].astype(object).where(found["qualifier"].notna(), None)
    shown["behaviour"] = [
        code if side is None else f"{code}:{side}" for code, side in zip(found["behaviour"], sides, strict=True)
    ]
    shown[["count", "cut"]] = found[["count", "cut"]]
    shown["total s"] = found["total_s"]
    shown["share"] = [f"{share:.1%}" if share == share else "-" for share in found["share"]]
    event = (found["kind"] == "event").tolist()
    shown["median s"] = [
        "-" if is_event else "not reached" if median != median else f"{median:,.1f}"
        for is_event, median in zip(event, found["median_s"], strict=True)
    ]
    shown["per hour"] = found["per_hour"]
    ends = zip(found["per_hour_resampled_low"], found["per_hour_resampled_high"], strict=True)
    shown["limits"] = [limits(*pair, missing="not known") for pair in ends]
    return shown


def _criterion(read: "Season", args: argparse.Namespace) -> None:
    from etholog.analysis.bout import criterion, pauses

    found = criterion(pauses(read, args.criterion))
    if args.json:
        told = {name: getattr(found, name) for name in ("criterion_s", "within", "within_rate", "between")}
        told |= {name: getattr(found, name) for name in ("between_rate", "misassigned", "sentence", "classes")}
        print(as_json({"behaviour": args.criterion, **told}))
        return
    table(found.classes, title=f"Pauses between bouts of {args.criterion}, in classes that hold as many each")
    say(found.sentence)


def _balance(read: "Season", args: argparse.Namespace) -> None:
    from etholog.analysis.balance import balance

    found = balance(read, by=args.by, seed=args.seed)
    if args.json:
        print(as_json({"balance": found}))
        return
    if not sys.stdout.isatty():
        table(found)
        return
    shown = found[[args.by] if args.by else []].copy()
    shown[["left", "right"]] = found[["left", "right"]]
    shown[["left s", "right s"]] = found[["left_s", "right_s"]]
    shown["left share"] = [
        shares(*three) for three in zip(found["left_share"], found["low"], found["high"], strict=True)
    ]
    shown["turns"] = [f"{turns} of {pairs}" for turns, pairs in zip(found["turns"], found["pairs"], strict=True)]
    shown["by chance"] = [shares(value) for value in found["chance"]]
    table(shown, title="Insertions by palp")
    paragraph(
        "left share: of the insertions, with Wilson's 95 % limits, which take each for independent; limits that draw"
        " whole animals: in a pipe, or with --json. turns: how often the next insertion was with the other palp; by"
        " chance: the share that would be if sides came in any order."
    )
