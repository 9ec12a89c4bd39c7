"""`etholog film cuts`: list what to keep of the film, and what falls away."""

import argparse
import sys
from pathlib import Path

from etholog.base.text import many, some_of
from etholog.commands.film.common import add_choice, add_session, aligned, chosen_cuts, write
from etholog.commands.output import add_json, as_json, say, table

SHOWN = 3  # behaviours of a cut


def configure(verb: argparse.ArgumentParser) -> None:
    """Give the verb its arguments."""
    add_session(verb)
    add_choice(verb)
    verb.add_argument(
        "-o", "--out", action="append", type=Path, default=[], metavar="FILE", help="write it as .edl, .otio or .json"
    )
    add_json(verb)


def run(args: argparse.Namespace) -> int:
    """Print the cut list, and write it for other programs."""
    import pandas as pd

    from etholog.film import editlist
    from etholog.film.alignment import error_told
    from etholog.film.tally import rows, tally

    read, clips = aligned(args.session, args.angle)
    found = chosen_cuts(read, clips, args)
    bouts = read.fold.bouts
    write(
        args.out,
        {
            ".edl": lambda: editlist.edl(found, read.id),
            ".otio": lambda: editlist.as_otio(found, read.id, bouts, read.ethogram),
            ".json": lambda: editlist.as_json(found, read.id),
        },
    )
    told = pd.DataFrame(tally(found, bouts, read.ethogram))
    if args.json:
        print(as_json({**editlist.plain(found, read.id), "behaviours": told}))
    else:
        listed = pd.DataFrame(rows(found, bouts))
        if sys.stdout.isatty():
            listed["shows"] = [some_of(shows.split(", "), SHOWN) for shows in listed["shows"]]
        table(listed)
        if sys.stdout.isatty():
            table(told.round(1), "What is kept, and what falls away")
    total = sum(clip.seconds for clip in clips)
    number = many(len(found.cuts), "cut")
    say(f"kept {found.seconds / 60:.1f} of {total / 60:.1f} min, in {number}; {error_told(clips)}")
    if found.lost_ms >= 1000:
        say(f"{found.lost_ms / 1000:.0f} s of what is wanted are not on the film")
    say(*(f"written: {file}" for file in args.out))
    return 0
