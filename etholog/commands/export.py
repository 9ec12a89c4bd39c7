"""`etholog export`: the season's tables as CSV with a Frictionless description, and as Parquet or XLSX."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.refusal import Refusal
from etholog.base.text import many, visible
from etholog.commands.output import SESSIONS_TOO, add_folder, goes_with, say

if TYPE_CHECKING:
    from etholog.export.deposit import Deposit


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("to", type=Path, metavar="DIR", help="a folder that is not there yet, or an earlier export's")
    parser.add_argument("--also", action="append", choices=("parquet", "xlsx"), default=[], help="in this form as well")
    parser.add_argument(
        "--by-month",
        action="store_true",
        help="Parquet alone, for an engine: by month, only what changed anew",
    )
    parser.add_argument("--defuse", action="store_true", help="in the CSV, put ' before text that a spreadsheet runs")
    parser.add_argument(
        "--paper",
        action="store_true",
        help="a paper's kit too: figures, methods with sources, a script in R that checks",
    )
    parser.add_argument("--interval", metavar="NAME", help="with --paper: the latency it is about (default: courtship)")
    parser.add_argument(
        "--deposit", metavar="LICENCE",
        help="for a data archive, under this licence (SPDX name, as CC-BY-4.0): with a codebook and Darwin Core; places"
        " and people's names are left out",
    )  # fmt: skip
    parser.add_argument("--creator", action="append", default=[], metavar="NAME", help="with --deposit: who made it")
    parser.add_argument("--people", action="store_true", help="with --deposit: people's names too")
    parser.add_argument(
        "--places", choices=("left-out", "coarse", "full"),
        help="with --deposit: places (default: left-out); coarse: by your places.csv (place, coarse)",
    )  # fmt: skip
    add_folder(parser, SESSIONS_TOO)
    parser.epilog = (
        "examples:\n  etholog export tables --also xlsx\n  etholog export large --by-month\n"
        '  etholog export archive --deposit CC-BY-4.0 --creator "YOUR NAME" --places coarse'
    )


def run(args: argparse.Namespace) -> int:
    """Write the folder and name its files; 1 where a session could not be read."""
    goes_with("--deposit", args.deposit, creator=args.creator, people=args.people, places=args.places)
    goes_with("--paper", args.paper, interval=args.interval)
    if args.by_month:
        return _by_month(args)
    if args.paper and args.deposit:
        raise Refusal("--paper shows names that --deposit leaves out: write two folders")
    from etholog import season
    from etholog.export import folder

    read = season.read(args.folder)
    missing = {form: lack for form in args.also if (lack := folder.lacking(form))}
    forms = [form for form in args.also if form not in missing]
    how = _deposit(args) if args.deposit else None
    for file in folder.write(read, args.to, forms, args.defuse, args.paper, args.interval, how):
        print(visible(str(file)))
    faults = [*read.findings, *read.animals.findings, *missing.values()]
    say(*faults)
    return 1 if faults else 0


def _deposit(args: argparse.Namespace) -> "Deposit":
    from etholog.base.workspace import workspace
    from etholog.export import deposit

    places: deposit.Places = args.places or "left-out"
    told = deposit.coarse(workspace(args.folder).root) if places == "coarse" else {}
    return deposit.Deposit(args.deposit, tuple(args.creator), args.people, places, told)


def _by_month(args: argparse.Namespace) -> int:
    """Write what changed into a season for an engine, and say which months that are."""
    if args.also or args.defuse or args.deposit or args.paper:
        raise Refusal("--by-month writes Parquet alone: leave out --also, --defuse, --paper and --deposit")
    from etholog.season import folder_of, store

    months, unread = store.write(folder_of(args.folder), args.to)
    for month in months:
        print(month)
    say(
        f"{many(len(months), 'month')} written anew into {args.to}." if months else "Nothing has changed since.",
        *unread,
    )
    return 1 if unread else 0
