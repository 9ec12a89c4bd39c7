"""`etholog export`: the season's tables as CSV with a Frictionless description, and as Parquet or XLSX."""

import argparse
from pathlib import Path

from etholog.base.text import visible
from etholog.commands.output import say


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("to", type=Path, metavar="DIR", help="a folder that is not there yet, or an earlier export's")
    parser.add_argument("--also", action="append", choices=("parquet", "xlsx"), default=[], help="in this form as well")
    parser.add_argument("--defuse", action="store_true", help="in the CSV, put ' before text that a spreadsheet runs")
    parser.add_argument("--folder", type=Path, default=Path(), help="workspace or folder of sessions (default: here)")
    parser.epilog = "example:\n  etholog export tables --also xlsx"


def run(args: argparse.Namespace) -> int:
    """Write the folder and name its files; 1 where a session could not be read."""
    from etholog import season
    from etholog.export import folder

    read = season.read(args.folder)
    missing = {form: lack for form in args.also if (lack := folder.lacking(form))}
    for file in folder.write(read, args.to, [form for form in args.also if form not in missing], args.defuse):
        print(visible(str(file)))
    faults = [*read.findings, *read.animals.findings, *missing.values()]
    say(*faults)
    return 1 if faults else 0
