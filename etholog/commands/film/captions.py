"""`etholog film captions`: write captions, or chapters, of the whole film or of the cut one."""

import argparse
from pathlib import Path

from etholog.base.catalogues import asked
from etholog.base.language import speaking, unchecked
from etholog.commands.film.common import (
    Contents,
    add_choice,
    add_session,
    add_words,
    aligned,
    chosen_cuts,
    words_of,
    write,
)
from etholog.commands.output import add_json, as_json, say, table


def configure(verb: argparse.ArgumentParser) -> None:
    """Give the verb its arguments."""
    add_session(verb)
    verb.add_argument("--chapters", action="store_true", help="the stages as chapters, in place of captions")
    verb.add_argument(
        "--cut", action="store_true", help="for the cut film, by the options below; else for the whole one"
    )
    verb.add_argument(
        "-o",
        "--out",
        action="append",
        type=Path,
        default=[],
        metavar="FILE",
        help="write captions as .vtt or .srt, chapters as .vtt or .ffmeta",
    )
    add_words(verb)
    add_json(verb)
    add_choice(verb)


def run(args: argparse.Namespace) -> int:
    """Print the cues, and write them for players."""
    with speaking(asked(args.language)):
        return _write(args)


def _write(args: argparse.Namespace) -> int:
    import pandas as pd

    from etholog.film import captions, subtitles
    from etholog.film.alignment import error_told
    from etholog.film.cuts import whole

    read, clips = aligned(args.session, args.angle)
    found = chosen_cuts(read, clips, args) if args.cut else whole(clips)
    make = captions.all_chapters if args.chapters else captions.captions
    cues = make(read.fold.bouts, read.ethogram, found, words_of(args, read))
    about = " ".join(filter(None, (error_told(clips), unchecked())))
    contents: Contents = {
        ".vtt": lambda: subtitles.webvtt(cues, found.rate, about),
        **(
            {".ffmeta": lambda: subtitles.ffmetadata(cues, found.rate, about)}
            if args.chapters
            else {".srt": lambda: subtitles.subrip(cues, found.rate)}
        ),
    }
    write(args.out, contents)
    listed = pd.DataFrame(
        [(float(cue.first / found.rate), float(cue.end / found.rate), cue.text) for cue in cues],
        columns=["from_s", "to_s", "text"],
    )
    if args.json:
        print(as_json({"alignment": about, "cues": listed}))
    else:
        table(listed)
    say(about, *(f"written: {file}" for file in args.out))
    return 0
