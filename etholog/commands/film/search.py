"""`etholog film search`: find where something moves in films that nobody marked."""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base import files
from etholog.base.catalogues import asked
from etholog.base.language import ENGLISH, speaking
from etholog.base.refusal import Refusal
from etholog.base.text import STILLNESS, many
from etholog.commands.film.common import add_search, area_of, check_ending, evening, more_of, searched
from etholog.commands.output import add_json, add_language, as_json, draw, goes_with, say, table

if TYPE_CHECKING:
    from etholog.figures import ReproducibleFigure
    from etholog.film.evening import Part
    from etholog.film.search import Searched
    from etholog.film.source import Source
    from etholog.film.stretches import Stretch

Seen = tuple["Source", float, "Searched"]  # a film, when it begins on the clock that all share, what was found
COLUMNS = ("film", "from", "to", "at", "seconds", "strength", "where", "x", "y", "why")


def configure(verb: argparse.ArgumentParser) -> None:
    """Give the verb its arguments."""
    verb.add_argument(
        "films", nargs="+", type=Path, metavar="FILM", help="films of one evening; put in order by their own times"
    )
    add_search(verb)
    verb.add_argument(
        "--preview", action="store_true", help="a first look at the key frames alone: quick, and it misses much"
    )
    verb.add_argument(
        "--trace", type=Path, metavar="FILE", help="draw the trace with its stretches: .svg, .png or .pdf"
    )
    verb.add_argument("--sheet", type=Path, metavar="FILE", help="a contact sheet, a picture a stretch: .png or .pdf")
    add_language(verb)
    add_json(verb)


def run(args: argparse.Namespace) -> int:
    """Print the stretches; 1 when something about a film looks odd."""
    import pandas as pd

    from etholog.film import hours, stretches

    check_ending(args.trace, files.PICTURES)
    check_ending(args.sheet, (".png", ".pdf"))
    goes_with("--trace or --sheet", args.trace or args.sheet, language=args.language)
    language = asked(args.language) if args.trace or args.sheet else ENGLISH
    films = evening(args.films)
    if args.preview:
        return _preview(films, args)
    seen = [(part.source, part.at_s, searched(part.source, args)) for part in films]
    found = [stretches.found(held.trace, held.shape, args.more) for _, _, held in seen]
    listed = pd.DataFrame(
        [row for (s, at, _), own in zip(seen, found, strict=True) for row in hours.rows(s.path.name, own, at)],
        columns=list(COLUMNS),
    )
    if args.json:
        print(as_json({"stretches": listed, "note": STILLNESS}))
    else:
        table(listed if len(films) > 1 else listed.drop(columns=["film", "at"]))
    for (source, _, _), own in zip(seen, found, strict=True):
        say(*([source.path.name] if len(films) > 1 else []), *hours.lines(own, source.seconds))
    total = sum(source.seconds for source, _, _ in seen)
    look = sum(stretch.offset_s - stretch.onset_s for own in found for stretch in own)
    say(
        f"{many(len(listed), 'stretch', 'stretches')}: {look / 60:.1f} of {total / 60:.1f} min are worth a "
        f"look. Nothing was deleted. --more {args.more * 1.4:.2g} shows more, --more {args.more / 1.4:.2g} fewer.",
        STILLNESS,
    )
    with speaking(language):
        if args.trace is not None:
            draw(_drawn(seen, found, args.more), args.trace)
        if args.sheet is not None:
            draw(_sheet(seen, found), args.sheet)
    findings = [finding for _, _, held in seen for finding in held.findings]
    say(*findings)
    return 1 if findings else 0


def _preview(films: "Sequence[Part]", args: argparse.Namespace) -> int:
    """Print between which key frames something changed its place."""
    import pandas as pd

    from etholog.film import hours
    from etholog.film.preview import RECALL, preview

    if args.trace or args.sheet or args.mask:
        raise Refusal("a preview has no trace, no sheet and no mask: leave --preview out, or those")
    more = more_of(args)
    found = [preview(part.source, area_of(args.area), more) for part in films]
    rows = [
        row for part, own in zip(films, found, strict=True) for row in hours.rows(part.source.path.name, own, part.at_s)
    ]
    listed = pd.DataFrame(rows, columns=list(COLUMNS)).drop(columns=["why"])
    if args.json:
        print(as_json({"preview": listed, "note": RECALL}))
    else:
        table(listed if len(films) > 1 else listed.drop(columns=["film", "at"]))
    for part, own in zip(films, found, strict=True):
        say(*([part.source.path.name] if len(films) > 1 else []), *hours.lines(own, part.source.seconds))
    say(f"{many(len(listed), 'place')} where the picture changed from one key frame to another. {RECALL}", STILLNESS)
    return 0


def _drawn(seen: Sequence[Seen], found: Sequence[Sequence["Stretch"]], more: float) -> "ReproducibleFigure":
    import pandas as pd

    from etholog import figures
    from etholog.film import hours

    curve = hours.curve([(at, held.trace) for _, at, held in seen], more)
    bars = hours.bars([(at, own) for (_, at, _), own in zip(seen, found, strict=True)])
    return figures.activity(pd.DataFrame(curve), pd.DataFrame(bars))


def _sheet(seen: Sequence[Seen], found: Sequence[Sequence["Stretch"]]) -> "ReproducibleFigure":
    from etholog import figures
    from etholog.figures.activity import MOST, picture_title
    from etholog.film.still import still

    every = [(source, at, s) for (source, at, _), own in zip(seen, found, strict=True) for s in own]
    # The strongest, in the order of the film, where a sheet can't hold all.
    shown = sorted(sorted(every, key=lambda one: -one[2].strength)[:MOST], key=lambda one: one[1] + one[2].onset_s)
    pictures, titles = [], []
    for source, at, stretch in shown:
        picture = still(source, stretch.peak_s)
        if picture is not None:
            pictures.append(picture)
            titles.append(picture_title(at + stretch.onset_s, at + stretch.offset_s, stretch.why))
    return figures.contact_sheet(pictures, titles, len(every))
