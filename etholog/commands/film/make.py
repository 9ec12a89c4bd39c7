"""`etholog film make`: cut the film itself."""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.catalogues import asked
from etholog.base.language import speaking, unchecked
from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.commands.film.common import (
    add_choice,
    add_session,
    add_words,
    aligned,
    bar,
    chosen_cuts,
    ended_by_signals,
    words_of,
)
from etholog.commands.output import say

if TYPE_CHECKING:
    from etholog.film.cuts import CutList
    from etholog.film.source import Source


def configure(verb: argparse.ArgumentParser) -> None:
    """Give the verb its arguments."""
    add_session(verb)
    verb.add_argument("-o", "--out", type=Path, required=True, metavar="FILE", help="the film to make, .mp4 or .mkv")
    verb.add_argument(
        "--quick", action="store_true", help="copy pictures and sound, from key frame to key frame: fast, rough"
    )
    verb.add_argument(
        "--burn", action="store_true", help="draw the captions into the pictures; else they can be shut off"
    )
    verb.add_argument("--no-captions", action="store_true", help="no captions at all")
    verb.add_argument("--strip", action="store_true", help="a strip of lanes, and the session's clock, under the film")
    verb.add_argument("--mute", action="store_true", help="no sound: nobody's voice goes on the film")
    add_words(verb)
    add_choice(verb)


def run(args: argparse.Namespace) -> int:
    """Make the film, with a bar on a terminal; an interrupt leaves nothing behind."""
    with speaking(asked(args.language)):
        return _make(args)


def _make(args: argparse.Namespace) -> int:
    from etholog.film import captions, overlay, render
    from etholog.film.alignment import error_told
    from etholog.film.source import probe

    if args.quick and (args.burn or args.strip):
        raise Refusal("pictures that are copied can't be drawn into: leave --quick out, or --burn and --strip")
    read, clips = aligned(args.session, args.angle)
    cuts, words, bouts = chosen_cuts(read, clips, args), words_of(args, read), read.fold.bouts
    sources = [probe(clip.path) for clip in clips]
    for clip, source in zip(clips, sources, strict=True):
        if abs(clip.seconds - source.seconds) > 0.5:
            raise Refusal(f"{clip.path}: is not the film that was aligned (another length); align it anew")
    wanted = cuts
    if args.quick:
        cuts = render.at_key_frames(cuts, sources)
    cues = [] if args.no_captions else captions.captions(bouts, read.ethogram, cuts, words)
    burnt = sorted([*(cues if args.burn else []), *(captions.hurried(cuts) if args.hurry else [])])
    size = render.frame_size(sources[0])
    below, drawn = 0, ""
    if args.strip or burnt:
        paper = overlay.paper(*size, read.ethogram, cuts, bouts)
        below = paper.rows if args.strip else 0
        pair = " \N{MULTIPLICATION SIGN} ".join(filter(None, (read.header["male"], read.header["female"])))
        strip = overlay.strip(paper, cuts, bouts, pair) if args.strip else iter(())
        drawn = overlay.script(size, burnt, cuts.rate, strip, below)
    order = render.RenderJob(
        cuts,
        sources,
        args.out,
        [] if args.burn else cues,
        captions.all_chapters(bouts, read.ethogram, cuts, words),
        drawn,
        below,
        " ".join(filter(None, (error_told(clips), unchecked()))),
        args.mute,
        args.quick,
    )
    if args.quick and order.why_encoded:
        say(f"the sound is encoded, which takes longer: {order.why_encoded}; --mute leaves it out")
    with ended_by_signals(), bar() as progress:
        render.render(order, progress)
    say(f"{args.out}: {cuts.seconds / 60:.1f} min, {_how(wanted, cuts, args.quick, sources)}; {error_told(clips)}")
    return 0


def _how(wanted: "CutList", made: "CutList", quick: bool, sources: "Sequence[Source]") -> str:
    from etholog.film.source import comes_evenly

    number = many(len(made.cuts), "cut")
    if not quick:
        if all(comes_evenly(sources[c.clip], float(c.first / made.rate), float(c.end / made.rate)) for c in made.cuts):
            return f"{number} exact to the frame, re-encoded"
        return f"{number} right to half a frame, since its frames come unevenly; re-encoded"
    more = (made.starts[-1] - wanted.starts[-1]) / made.rate
    return f"{number} copied from key frame to key frame, {float(more):.1f} s more than was chosen"
