"""`etholog plan`: who can meet whom now, and a proposal of pairings for the weeks to come."""

import argparse
import math
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.catalogues import asked
from etholog.base.dates import as_of
from etholog.base.language import ENGLISH, current, gettext, speaking
from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.commands.output import (
    add_folder,
    add_json,
    add_language,
    add_today,
    as_json,
    draw,
    goes_with,
    picture_file,
    say,
    table,
    tell,
    write_calendar,
)

if TYPE_CHECKING:
    import pandas as pd

    from etholog import animals as animals_
    from etholog.analysis.plan import Plan
    from etholog.animals.care import Task

YOUNG = "inbreeding of the young"


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
    parser.add_argument("--draw", type=picture_file, metavar="FILE", help="draw it as well, as .svg, .pdf or .png")
    parser.add_argument("--ics", type=Path, metavar="FILE", help="write it as a calendar as well (iCalendar)")
    add_language(parser)
    add_today(parser)
    add_folder(parser)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog plan\n  etholog plan --now\n"
        "  etholog plan --fix M-Slate:F-Clay --forbid M-Slate:F-Rust --ics plan.ics\n"
        '  etholog plan --species "Brachypelma smithi" --form coast --draw plan.pdf'
    )


def run(args: argparse.Namespace) -> int:
    """Print or write the proposal; 1 where a card or a session could not be used."""
    from etholog import animals as animals_
    from etholog import ethogram
    from etholog.analysis.plan import plan

    if not 1 <= args.weeks <= 520 or not 0 <= args.rest <= 365:
        raise Refusal("--weeks takes 1 to 520, --rest 0 to 365")
    goes_with("--ics", args.ics, language=args.language)
    today = as_of(args.today)
    known = animals_.read(args.folder).as_of(today)
    couples = [[_couple(text, known) for text in said] for said in (args.forbid, args.fix)]
    propose = partial(
        plan, known, ethogram.at_hand(args.folder), today, args.weeks, args.species, args.form, args.rest, *couples
    )
    found = propose()
    if args.draw:
        from etholog import figures

        draw(figures.plan(found), args.draw)
    if args.ics:
        with speaking(asked(args.language)):
            told = found if current() == ENGLISH else propose()
            write_calendar(args.ics, _tasks(told.pairs), known)
    if args.json:
        parts = {"pairs": found.pairs, "now": found.now, "animals": found.animals}
        print(as_json({**parts, "group": _measures(found), "sentence": sentence(found)}))
    else:
        shown = found.now if args.now else found.animals if args.group else found.pairs
        if not sys.stdout.isatty():
            table(shown)
        elif args.now:
            table(_named(shown), "Who can meet whom this week")
        elif args.group:
            _show_animals(found)
        else:
            _show_pairs(found)
        if not (args.now or args.group):
            _left_out(found)
        say(sentence(found))
    say(*known.findings)
    return 1 if known.findings else 0


def _couple(text: str, known: "animals_.Animals") -> tuple[str, str]:
    male, _, female = text.partition(":")
    if not male or not female:
        raise Refusal(f"{text!r}: write two names, MALE:FEMALE")
    return known.require(male), known.require(female)


def _named(rows: "pd.DataFrame") -> "pd.DataFrame":
    """Return a table with heads as people read them; where the young's inbreeding is not known, that is said."""
    shown = rows.rename(columns=lambda name: name.replace("_", " "))
    if "inbreeding" in shown:
        shown["inbreeding"] = [_coefficient(value) for value in rows["inbreeding"]]
        shown = shown.rename(columns={"inbreeding": YOUNG})
    return shown


def _show_pairs(found: "Plan") -> None:
    """Print the proposal as a short table, then what speaks for and against each pair."""
    pairs = found.pairs
    title = f"{found.species}{f', {found.form}' if found.form else ''}: "
    if pairs.empty:
        tell(f"{title}no two are free to meet by {found.until}.")
        return
    shown = pairs[["week", "male", "female", "first", "last"]].rename(
        columns={"week": "week of", "first": "from", "last": "until"}
    )
    ends = zip(pairs["inbreeding"], pairs["inbreeding_low"], pairs["inbreeding_high"], strict=True)
    shown[YOUNG] = [_coefficient(*three) for three in ends]
    table(shown, f"{title}proposed, by weeks")
    for row in pairs.to_dict("records"):
        pair = f"{row['male']} with {row['female']}"
        tell(f"{pair}, as you fixed it" if row["fixed"] else pair)
        for head, said in (("for", "speaks_for"), ("against", "against"), ("not known", "unknown")):
            if row[said]:
                tell(f"  {head}: {row[said]}")
        if row["next_best"]:
            tell(f"  next best: {row['next_best']}, {YOUNG} {_coefficient(row['next_best_inbreeding'])}")
    print()


def _show_animals(found: "Plan") -> None:
    """Print when each animal is free, and then why the others are not."""
    rows = found.animals
    shown = rows[["animal", "sex", "free_from", "free_until", "mean_kinship"]].copy()
    shut = rows["why_not"] != ""
    shown["free_from"] = ["not free" if no else day for no, day in zip(shut, rows["free_from"], strict=True)]
    shown["mean_kinship"] = [f"{value:.3f}" for value in rows["mean_kinship"]]
    table(_named(shown), "The animals")
    for name, why in zip(rows["animal"][shut], rows["why_not"][shut], strict=True):
        tell(f"  {name}: {why}")
    print()


def _coefficient(value: float, low: float = math.nan, high: float = math.nan) -> str:
    """Return a coefficient of inbreeding in words, with its range where it has one."""
    if math.isnan(value):
        return "not known"
    return f"{value:.3f}" if math.isnan(low) or low == high else f"{value:.3f} ({low:.3f} to {high:.3f})"


def _left_out(found: "Plan") -> None:
    rest = found.animals[found.animals["why_not"] != ""]
    placed = {*found.pairs["male"], *found.pairs["female"]}
    free = found.animals[(found.animals["why_not"] == "") & ~found.animals["animal"].isin(placed)]
    for name, why in zip(rest["animal"], rest["why_not"], strict=True):
        say(f"  not free: {name}: {why}")
    if len(free):
        say(f"  free, and in no proposed pair: {', '.join(free['animal'])}")


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
    unknown = many(len(of.unknown), "has a parent", "have a parent")
    holes = f" ({unknown} that is not known, taken as unrelated)" if of.unknown else ""
    return (
        f"{many(len(of.mean_kinship), 'living animal')}{holes}: mean kinship {least}{of.mean:.3f}, gene diversity"
        f" {most}{of.gene_diversity:.3f}, founder genome equivalents {most}{of.founder_genomes:.1f} (Lacy 1995)."
        " The proposal pairs the most females; then with the least inbreeding of the young in sum (where nothing tells"
        " whether two are kin, as of two of the group on average); then with the least mean kinship. You decide:"
        " change it by --fix and --forbid. Before each pairing: etholog ready MALE FEMALE."
    )


def _tasks(pairs: "pd.DataFrame") -> "list[Task]":
    from etholog.animals.care import Task

    return [
        Task(
            f"plan/{row['male']}/{row['female']}",
            str(row["female"]),
            gettext(
                "introduce {male}? See etholog ready {male} {female} first", male=row["male"], female=row["female"]
            ),
            row["first"],
            row["last"],
            "; ".join(filter(None, (str(row[side]) for side in ("speaks_for", "against", "unknown")))),
            gettext("your plan"),
        )
        for row in pairs.to_dict("records")
    ]
