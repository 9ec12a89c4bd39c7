"""`etholog ready`: what speaks for and against putting two animals together, each fact with its date."""

import argparse
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from etholog.base.dates import as_of
from etholog.base.refusal import Refusal
from etholog.base.text import percent, visible
from etholog.commands.output import add_folder, add_json, add_today, as_json, say, tell

if TYPE_CHECKING:
    from etholog.animals import Animals
    from etholog.animals.readiness import Fact

HEADINGS = {"against": "SPEAKS AGAINST", "unknown": "NOT KNOWN", "for": "SPEAKS FOR", "note": "TO BEAR IN MIND"}


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("male", help="his id; with no female named: hers, for the facts on pairing her once more")
    parser.add_argument("female", nargs="?", help="her id")
    add_today(parser)
    add_folder(parser)
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog ready M-Basalt F-Umbra      before a pairing\n"
        "  etholog ready F-Umbra               is a second pairing worth the risk?"
    )


def run(args: argparse.Namespace) -> int:
    """Print the facts; there is no verdict, the keeper decides."""
    from etholog import animals as animals_
    from etholog.animals import readiness
    from etholog.ethogram import at_hand

    today = as_of(args.today)
    known = animals_.read(args.folder).as_of(today)
    for name in filter(None, (args.male, args.female)):
        known.require(name)
    kept = at_hand(args.folder)
    if args.female:
        found = readiness.facts(args.male, args.female, known, kept, today)
        she, title = args.female, f"{args.male} to {args.female}"
    else:
        she = args.male
        title = f"{she} once more" if known.pairings_of(she) else she
        if known.sex_of(she) == "male":
            raise Refusal(f"{she} is a male; name the female as well: etholog ready {she} FEMALE")
        found = readiness.once_more(she, known, kept, today)
    found += _second_introductions(known, known.genus_of(she))
    if args.json:
        print(as_json([fact._asdict() for fact in found]))
    else:
        _print(f"{title}, {today}", found, readiness.beware(filter(None, (args.male, args.female)), known))
    say(*known.findings)
    return 1 if known.findings else 0


def _second_introductions(known: "Animals", genus: str) -> "list[Fact]":
    """What came of a male put in once more after a pairing that may have taken, in these sessions."""
    from etholog.animals import readiness
    from etholog.animals.readiness import Fact

    seen = readiness.second_introductions(known, genus)
    if not seen:
        return [Fact("unknown", "no second introduction after a clasp is on record for this genus")]
    from etholog.analysis.share import wilson

    attacks = sum(seen)
    low, high = wilson(attacks, len(seen))
    return [
        Fact(
            "note",
            f"second introductions after a clasp, this genus: she attacked in {attacks} of {len(seen)}"
            f" (95 % limits {percent(low)} to {percent(high)}, Wilson)",
        )
    ]


def _print(title: str, found: "Sequence[Fact]", beware: Iterable[str]) -> None:
    print(visible(title))
    for side, heading in HEADINGS.items():
        some = [fact.text for fact in found if fact.side == side]
        if some:
            print(f"\n{heading}")
            for text in some:
                tell(f"  * {text}")
    print("\nBEWARE")
    for line in beware:
        tell(f"  * {line}")
    print()
    tell("You decide. A female may kill him: catch cup, card and long brush at hand, never fingers; lid ready.")
    tell("Local codes and permits, your vet and your poison centre come first.")
