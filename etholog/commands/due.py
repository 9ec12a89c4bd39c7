"""`etholog due`: what is to be done for the animals today, this week, later; as a calendar too."""

import argparse
import sys
import textwrap
from collections.abc import Collection, Iterable, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.catalogues import asked
from etholog.base.dates import as_of
from etholog.base.language import ENGLISH, ngettext, speaking
from etholog.base.refusal import Refusal
from etholog.base.text import many, some_of, visible
from etholog.commands.output import (
    WIDEST,
    add_folder,
    add_json,
    add_language,
    add_more,
    add_today,
    as_json,
    columns_of,
    goes_with,
    lead,
    say,
    tell,
    write_calendar,
)

if TYPE_CHECKING:
    from etholog import animals as animals_
    from etholog.animals.care import Task
    from etholog.ethogram import Ethogram

WEEK = timedelta(days=7)
SITTER_DAYS = 14
TORCH = "Opening and shaking can make her eat a sac: look with a torch."


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("animals", nargs="*", metavar="ANIMAL", help="only these (default: all)")
    add_today(parser)
    parser.add_argument("--ahead", type=int, default=60, metavar="DAYS", help="how far to look ahead (default: 60)")
    parser.add_argument("--ics", type=Path, metavar="FILE", help="write it all as a calendar (iCalendar, RFC 5545)")
    parser.add_argument("--sitter", type=Path, metavar="FILE", help="a page (.html) for whoever looks after them")
    parser.add_argument("--days", type=int, metavar="N", help="with --sitter: for how long (default: 14)")
    add_language(parser)
    add_folder(parser)
    add_more(parser)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog due\n  etholog due F-Umbra --ics spiders.ics\n  etholog due --sitter sitter.html"
    )


def run(args: argparse.Namespace) -> int:
    """Print or write what is due; 1 where a card or a session could not be used."""
    from etholog import animals as animals_
    from etholog import ethogram

    goes_with("--sitter", args.sitter, days=args.days is not None)
    goes_with("--sitter or --ics", args.sitter or args.ics, language=args.language)
    if args.ahead < 0:
        raise Refusal("--ahead takes 0 days or more")
    language = asked(args.language) if args.sitter or args.ics else ENGLISH
    today = as_of(args.today)
    known = animals_.read(args.folder).as_of(today)
    wanted = {known.require(name) for name in args.animals}
    kept = ethogram.at_hand(args.folder)
    tasks = _due(known, kept, today, wanted)
    with speaking(language):
        told = tasks if language == ENGLISH else _due(known, kept, today, wanted)
        if args.sitter:
            _page(args, told, known, today)
        if args.ics:
            write_calendar(args.ics, told, known, wanted)
    if args.json:
        print(as_json([vars(task) for task in tasks]))
        say(*sentences(tasks, today))  # its JSON is the bare list that it was in 0.1
    elif not (args.sitter or args.ics):
        lead(sentences(tasks, today))
        _print(tasks, today, args.ahead, full=args.more or not sys.stdout.isatty())
    say(*known.findings)
    return 1 if known.findings else 0


def _due(known: "animals_.Animals", kept: "Sequence[Ethogram]", today: date, wanted: Collection[str]) -> "list[Task]":
    from etholog.animals import care

    return [task for task in care.due(known, kept, today) if not wanted or task.animal in wanted]


def _page(args: argparse.Namespace, tasks: "Sequence[Task]", known: "animals_.Animals", today: date) -> None:
    from etholog.animals import cautions, readiness, sitter
    from etholog.report import sheet

    days = SITTER_DAYS if args.days is None else args.days
    if not 1 <= days <= 62:
        raise Refusal("--days takes 1 to 62")
    names = list(dict.fromkeys(task.animal for task in tasks))
    beware = [line for line in readiness.beware(names, known) if line != cautions.poison_centre(known.folder)]
    told = sitter.sections(tasks, today, days, cautions.poison_centre(known.folder), beware)
    title = ngettext(
        "Looking after the spiders, {n} day from {today}",
        "Looking after the spiders, {n} days from {today}",
        days,
        today=today,
    )
    sheet.write(args.sitter, title, told)
    say(f"written: {args.sitter}; on two or more pages, print it on both sides")


def _span(task: "Task", today: date) -> str:
    if task.last < today:
        return f"OVERDUE since {task.last}"
    if task.first == task.last:
        return f"on {task.first}"
    return f"until {task.last}" if task.first <= today else f"{task.first} to {task.last}"


NOTHING = "Nothing is to be done today."
TODAY = "{things} today, for {animals}."
OVERDUE = "Overdue: {count}; the longest is {what} for {animal}, since {since}."
WEEK_AHEAD = "In the 7 days after it: {things}."
NAMED = 6  # females, in a sentence
SACS = "When a sac comes nobody can say to the day: {females} may lay within what keepers have seen, or not at all."


def sentences(tasks: "Sequence[Task]", today: date) -> list[str]:
    """Return what is to be done today and soon, and what of it is a guess, in plain words."""
    now = [task for task in tasks if task.first <= today]
    soon = [task for task in tasks if today < task.first <= today + WEEK]
    late = sorted((task for task in now if task.last < today), key=lambda task: task.last)
    said = [NOTHING]
    if now:
        said = [TODAY.format(things=many(len(now), "thing is", "things are") + " to be done", animals=_animals(now))]
    if late:
        first = late[0]
        what = first.what.partition(":")[0]
        said.append(OVERDUE.format(count=len(late), what=f"'{what}'", animal=first.animal, since=first.last))
    if soon:
        said.append(WEEK_AHEAD.format(things=many(len(soon), "thing")))
    waiting = [task.animal for task in tasks if task.kind == "sac"]
    if waiting:
        said.append(SACS.format(females=some_of(list(dict.fromkeys(waiting)), NAMED)))
    return said


def _animals(tasks: "Iterable[Task]") -> str:
    return many(len({task.animal for task in tasks}), "animal")


def _print(tasks: "Iterable[Task]", today: date, ahead: int, full: bool) -> None:
    parts: dict[str, list[Task]] = {"TODAY": [], "THIS WEEK": [], "LATER": []}
    for task in tasks:
        if task.first <= today:
            parts["TODAY"].append(task)
        elif task.first <= today + WEEK:
            parts["THIS WEEK"].append(task)
        elif (task.first - today).days <= ahead:
            parts["LATER"].append(task)
    lines: list[str] = []
    for name, some in parts.items():
        lines.append(name if some else f"{name}: nothing")
        for task in some:
            span = _span(task, today)
            again = f", every {task.every} days" if task.every else ""
            if not full:
                lines += _folded(task, f"{span}{again}")
                continue
            lines.append(f"  {task.animal:<12} {task.what}")
            lines.append(f"  {'':<12} {span}{again}. {task.why} [{task.source}]")
    if full:
        tell(*lines, "", f"Windows are habits of keepers, no promise. {TORCH}")
        return
    print("\n".join(lines))
    tell("Why, and whose the windows are: --more. They are habits of keepers, no promise.", TORCH)


def _folded(task: "Task", when: str) -> list[str]:
    """Return a task as people read it, within the terminal's width."""
    room = max(40, min(WIDEST, columns_of(sys.stdout)))
    head = visible(f"  {task.animal:<12} ")
    return textwrap.wrap(visible(f"{task.what}, {when}"), room, initial_indent=head, subsequent_indent=" " * 15)
