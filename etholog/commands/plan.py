"""`etholog plan`: who can meet whom now, and a proposal of pairings for the weeks to come."""

import argparse
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from etholog import animals as animals_
from etholog import ethogram
from etholog.animals.care import Task
from etholog.base.dates import exact_day
from etholog.base.refusal import Refusal
from etholog.base.text import visible
from etholog.commands.output import add_json, as_json, say, table

if TYPE_CHECKING:
    import pandas as pd

    from etholog.analysis.plan import Plan


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--species", default="", help="which one, where there are several")
    parser.add_argument("--form", metavar="WORDS", help="which locality or form; '' for those that have none")
    parser.add_argument("--weeks", type=int, default=26, metavar="N", help="how far to plan (default: 26)")
    parser.add_argument("--rest", type=int, default=14, metavar="DAYS", help="a male's rest between two (default: 14)")
    parser.add_argument(
        "--forbid", action="append", default=[], metavar="MALE:FEMALE", help="not these two; may be repeated"
    )
    parser.add_argument("--fix", action="append", default=[], metavar="MALE:FEMALE", help="these two; may be repeated")
    parser.add_argument("--now", action="store_true", help="the pairs that can meet this week, all of them, instead")
    parser.add_argument("--group", action="store_true", help="the animals instead: when each is free, or why it is not")
    parser.add_argument("--draw", type=Path, metavar="FILE", help="draw it as well, as .svg, .pdf or .png")
    parser.add_argument("--ics", type=Path, metavar="FILE", help="write it as a calendar as well (iCalendar)")
    parser.add_argument("--today", metavar="DATE", help="as if it were that day")
    parser.add_argument("--folder", type=Path, default=Path(), help="the workspace (default: here)")
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog plan\n  etholog plan --now\n"
        "  etholog plan --fix M-Slate:F-Clay --forbid M-Slate:F-Rust --ics plan.ics\n"
        '  etholog plan --species "Brachypelma smithi" --form coast --draw plan.pdf'
    )


def run(args: argparse.Namespace) -> int:
    """Print or write the proposal; 1 where a card or a session could not be used."""
    from etholog.analysis.plan import plan

    if not 1 <= args.weeks <= 520 or not 0 <= args.rest <= 365:
        raise Refusal("--weeks takes 1 to 520, --rest 0 to 365")
    today = exact_day(args.today) if args.today else date.today()
    known = animals_.read(args.folder).as_of(today)
    found = plan(
        known, ethogram.at_hand(args.folder), today, args.weeks, args.species, args.form, args.rest,
        *([_couple(text, known) for text in said] for said in (args.forbid, args.fix)),
    )  # fmt: skip
    if args.draw:
        _draw(found, args.draw)
    if args.ics:
        from etholog.export import calendar

        calendar.write(args.ics, _tasks(found.pairs))
        say(f"{len(found.pairs)} events written to {args.ics}; importing it again updates them, without duplicates")
    if args.json:
        parts = {"pairs": found.pairs, "now": found.now, "animals": found.animals}
        print(as_json({**parts, "group": _measures(found), "sentence": sentence(found)}))
    elif args.now or args.group:
        shown = found.now if args.now else found.animals
        table(shown, "Who can meet whom this week" if args.now else "The animals")
        say(sentence(found))
    else:
        table(found.pairs, f"{found.species}{f', {found.form}' if found.form else ''}: proposed, by weeks")
        _left_out(found)
        say(sentence(found))
    say(*known.findings)
    return 1 if known.findings else 0


def _couple(text: str, known: animals_.Animals) -> tuple[str, str]:
    male, _, female = text.partition(":")
    if not male or not female:
        raise Refusal(f"{text!r}: write two names, MALE:FEMALE")
    return known.require(male), known.require(female)


def _left_out(found: "Plan") -> None:
    rest = found.animals[found.animals["why_not"] != ""]
    placed = {*found.pairs["male"], *found.pairs["female"]}
    free = found.animals[(found.animals["why_not"] == "") & ~found.animals["animal"].isin(placed)]
    for name, why in zip(rest["animal"], rest["why_not"], strict=True):
        say(f"not free: {name}: {why}")
    if len(free):
        say(f"free, and in no proposed pair: {', '.join(free['animal'])}")


def _measures(found: "Plan") -> dict[str, object]:
    of = found.group
    return {
        "animals": len(of.mean_kinship),
        "with_an_unknown_parent": list(of.unknown),
        "mean_kinship": of.mean,
        "gene_diversity": of.gene_diversity,
        "founder_genomes": of.founder_genomes,
    }


def sentence(found: "Plan") -> str:
    """Return what the group's numbers say, and how the proposal came about."""
    of = found.group
    least, most = ("at least ", "at most ") if of.unknown else ("", "")
    holes = f" ({len(of.unknown)} have a parent that is not known, taken as unrelated)" if of.unknown else ""
    return (
        f"{len(of.mean_kinship)} living animals{holes}: mean kinship {least}{of.mean:.3f}, gene diversity"
        f" {most}{of.gene_diversity:.3f}, founder genome equivalents {most}{of.founder_genomes:.1f} (Lacy 1995)."
        " The proposal pairs the most females; then with the least inbreeding of the young in sum (where nothing tells"
        " whether two are kin, as of two of the group on average); then with the least mean kinship. You decide:"
        " change it by --fix and --forbid. Before each pairing: etholog ready MALE FEMALE."
    )


def _tasks(pairs: "pd.DataFrame") -> list[Task]:
    return [
        Task(
            f"plan/{row['male']}/{row['female']}",
            str(row["female"]),
            f"introduce {row['male']}? See etholog ready {row['male']} {row['female']} first",
            row["first"],
            row["last"],
            "; ".join(filter(None, (str(row[side]) for side in ("speaks_for", "against", "unknown")))),
            "your plan",
        )
        for row in pairs.to_dict("records")
    ]


def _draw(found: "Plan", path: Path) -> None:
    from etholog import figures
    from etholog.base.atomic import replacing

    kind = path.suffix[1:].lower()
    if kind not in ("svg", "pdf", "png"):
        raise Refusal(f"{path}: a figure is written as .svg, .pdf or .png")
    with replacing(path) as file:
        file.write(figures.plan(found).content(kind))
    say(visible(f"drawn: {path}"))
