"""`etholog gather`: several keepers' workspaces as one."""

import argparse
import os
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.commands.output import say, tell

if TYPE_CHECKING:
    from etholog import animals as animals_
    from etholog.animals import conflicts


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument(
        "sources", nargs="+", metavar="LABEL=FOLDER",
        help="a keeper's workspace, or a table of entries (.csv), and what the keeper is called here; without LABEL,"
        " its name is",
    )  # fmt: skip
    parser.add_argument("--to", type=Path, required=True, metavar="DIR", help="a new folder, or an earlier gathering")
    parser.add_argument(
        "--join-same-names", action="store_true",
        help="your word that a name without a card means the one animal here that has that name and a card",
    )  # fmt: skip
    parser.add_argument("--places", action="store_true", help="take in places too: shelves, rooms, where one came from")
    parser.add_argument("--people", action="store_true", help="take in people's names too")
    parser.add_argument("--slashes", choices=("day-first", "month-first"), help="how dates such as 3/5/2026 are meant")
    parser.epilog = (
        "examples:\n  etholog gather anna=from-anna bert=from-bert --to group\n"
        "  etholog gather anna=from-anna carla=notebook.csv --to group    again: only what is new\n"
        "  etholog gather anna=from-anna bert=from-bert --to group --join-same-names\n"
        "  etholog check group                                            what they contradict each other in\n"
        "The sources are left as they are. Notes are taken in, without the names that are known:\n"
        "look through them before you hand them on. Locality and form of a line stay, so that lines are not mixed."
    )


def run(args: argparse.Namespace) -> int:
    """Take in what is new, and say what contradicts itself and who may be one; 1 where there is anything to decide."""
    from etholog import animals as animals_
    from etholog.animals import conflicts, gathering, sources

    told = [_labelled(text) for text in args.sources]
    labels = [label for label, _ in told]
    if twice := next((label for label in labels if labels.count(label) > 1), None):
        raise Refusal(f"two sources are called {twice!r}: write LABEL=FOLDER, each with a label of its own")
    if any(os.path.realpath(path) == os.path.realpath(args.to) for _, path in told):
        raise Refusal(f"{args.to}: is a source; name another folder for --to")
    read = [sources.read(label, path, args.slashes) for label, path in told]
    found = gathering.gather(args.to, read, args.places, args.people)
    known = animals_.read(args.to)
    by = gathering.known_by(args.to)
    same = [one for one in conflicts.twins(known, by) if one.named] if args.join_same_names else []
    for label, there, here in found.called:
        if here not in {one.wrong for one in same}:
            tell(f"{there} of {label} is called {here} here: {there} is another's name already")
    joined = _join(known, same) if same else []
    tell(*joined)
    known = animals_.read(args.to) if joined else known
    unclear = [*found.findings, *conflicts.conflicts(known)]
    proposed = [one.finding for one in conflicts.twins(known, by)]
    tell(*map(str, [*unclear, *proposed]))
    say(
        f"{args.to}: {many(found.cards, 'new card')}, {many(found.entries, 'new entry', 'new entries')},"
        f" {many(found.sessions, 'new session')}" + (f", {found.lines} more lines of old ones" if found.lines else "")
    )
    return 1 if unclear or proposed else 0


def _join(known: "animals_.Animals", twins: "Sequence[conflicts.Twins]") -> list[str]:
    """Write that each of these is one animal, a line each that can be taken back, and return what to say of it."""
    from etholog.animals import entering

    today = date.today()
    said = [(one, entering.typed("renamed", [one.right], today.isoformat())) for one in twins]
    proposal = entering.propose(known, [entering.NewEntry(one.wrong, entry) for one, entry in said], today)
    numbers = entering.write(proposal)
    return [
        f"{one.card.names[0]} is {one.entry.words}; if that is wrong: etholog card {one.entry.words!r} undo"
        f" {one.card.names[0]!r}:{n}"
        for one, n in zip(proposal.proposed, numbers, strict=True)
    ]


def _labelled(text: str) -> tuple[str, Path]:
    label, is_there, path = text.partition("=")
    if not is_there:
        label, path = Path(os.path.realpath(text)).name.removesuffix(".csv"), text
    if not label.strip() or not path or len(label) > 60 or not label.isprintable() or set(label) & set("()/\\"):
        raise Refusal(f"{text!r}: write LABEL=FOLDER, such as anna=from-anna")
    return label, Path(path)
