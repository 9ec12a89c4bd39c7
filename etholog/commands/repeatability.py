"""`etholog repeatability`: do males differ, and how alike are the sessions of one male."""

import argparse
import sys
from typing import TYPE_CHECKING

from etholog.base.refusal import Refusal
from etholog.commands.output import (
    SESSIONS_TOO,
    add_folder,
    add_json,
    add_permutations,
    as_json,
    check_permutations,
    draw,
    picture_file,
    say,
    shares,
    table,
    tell,
)

if TYPE_CHECKING:
    import pandas as pd

    from etholog.analysis.repeatability import Repeatability
    from etholog.season import Season


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("interval", nargs="?", help="a named interval of the ethogram, such as courtship")
    parser.add_argument("--total", metavar="CODE", help="instead: the seconds of this behaviour in each session")
    parser.add_argument(
        "--adjust", nargs="+", default=[], metavar="COLUMN", help="allow for these; order: his nth session"
    )
    parser.add_argument("--draw", type=picture_file, metavar="FILE", help="draw what is expected of each male")
    add_permutations(parser)
    add_folder(parser, SESSIONS_TOO)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog repeatability courtship --adjust temperature_c order\n"
        "  etholog repeatability --total insertion --draw males.svg"
    )


def run(args: argparse.Namespace) -> int:
    """Print the repeatability and what is expected of each male; 1 where a file could not be read."""
    check_permutations(args)
    if bool(args.interval) == bool(args.total):
        raise Refusal("name an interval, such as courtship, or --total CODE: one of the two")
    from etholog import season as season_

    season = season_.read(args.folder)
    found = _found(season, args)
    if args.draw:
        from etholog import figures

        draw(figures.repeatability(found.each, found.population), args.draw)
    if args.json:
        told = vars(found) | {"models": found.models.reset_index(), "each": found.each.reset_index()}
        print(as_json(told))
    elif len(found.each):
        table(_models(found) if sys.stdout.isatty() else found.models.reset_index(), "How repeatable, by each model")
        print()
        hold = "95 of 100" if args.total else "90 to 96 of 100"  # see tests/bench/calibrated/animals.py
        table(
            found.each.reset_index(),
            f"What is expected of each male (by name; limits of his own level, which hold in about {hold})",
        )
    if not args.json:
        tell(found.sentence) if sys.stdout.isatty() else say(found.sentence)
    say(*season.findings)
    return 1 if season.findings else 0


def _found(season: "Season", args: argparse.Namespace) -> "Repeatability":
    from etholog.analysis.duration import asked_of
    from etholog.analysis.latency import check_names, latency, named
    from etholog.analysis.repeatability import mixed, repeatability

    if args.interval:
        times = _ordered(latency(season, args.interval), season)
        return repeatability(times, adjust=args.adjust, permutations=args.permutations, seed=args.seed)
    check_names(season, [args.total])
    bouts = season.bouts[named(season.bouts, [args.total])]
    seconds = bouts.groupby("session", observed=False)["duration_s"].sum()
    rows = _ordered(season.sessions, season)
    rows = rows.assign(total_s=rows["session"].map(seconds).astype(float).fillna(0.0))
    rows = rows[asked_of(season, *args.total.split(":", 1))]
    return mixed(rows, "total_s", adjust=args.adjust, permutations=args.permutations, seed=args.seed)


def _ordered(rows: "pd.DataFrame", season: "Season") -> "pd.DataFrame":
    """Add `order`: which of his sessions in this season it was, from 1."""
    nth = season.sessions.sort_values("began").groupby("male", observed=True).cumcount() + 1
    order = dict(zip(season.sessions["session"].astype(str)[nth.index], nth, strict=True))
    return rows.assign(order=[order[str(session)] for session in rows["session"]])


def _models(found: "Repeatability") -> "pd.DataFrame":
    told = found.models.reset_index()[["model"]]
    limits = zip(found.models["value"], found.models["low"], found.models["high"], strict=True)
    told["repeatability"] = [shares(*three) for three in limits]
    return told
