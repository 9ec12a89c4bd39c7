"""`etholog film align`: set a film's clock against the session's."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.refusal import Refusal
from etholog.commands.film.anchors import anchor
from etholog.commands.film.common import evening
from etholog.commands.output import add_json, as_json, say, table

if TYPE_CHECKING:
    from etholog.session import Session

MISSING_S = 2.0  # sound may go on for a while when the pictures have ended; own choice


def configure(verb: argparse.ArgumentParser) -> None:
    """Give the verb its arguments."""
    verb.add_argument("session", type=Path, metavar="SESSION", help="a session's file")
    verb.add_argument(
        "files",
        nargs="*",
        type=Path,
        metavar="FILE",
        help="its film, or the films of its evening: they follow by their own times, else as named without a pause",
    )
    verb.add_argument(
        "--seen",
        action="append",
        default=[],
        metavar="[MARK=][FILE@]TIME",
        help="sync mark number MARK (1), or a behaviour that is marked once (introduced=0:12.4), is seen on the film "
        "at TIME, h:mm:ss.sss or seconds, of FILE, or counted from the beginning of the first film; given twice, for "
        "two marks, it takes the drift of the clocks out; not given, the files' own times of creation are taken, which "
        "is rough",
    )
    verb.add_argument("--forget", action="store_true", help="take the films off the session (none named: all of them)")
    add_json(verb)


def run(args: argparse.Namespace) -> int:
    """Keep the alignment in the session's journal; 1 when something about it looks odd."""
    import pandas as pd

    from etholog import session
    from etholog.film import alignment

    read = session.read(args.session)
    read.refuse_open()
    if args.forget:
        return _forget(read, args)
    if not args.files:
        raise Refusal("which film? name its file, or the files of that evening")
    parts = evening(args.files)
    anchors = [anchor(read, words, parts) for words in args.seen]
    if len({t for t, _ in anchors}) < len(anchors):
        raise Refusal("--seen names one mark twice; give two marks: --seen 1=TIME --seen 2=TIME")
    sources = [part.source for part in parts]
    moved = [] if anchors else alignment.moved(read, sources)
    clips = moved or (alignment.by_syncs(parts, anchors) if anchors else alignment.by_creation(read, parts))
    gone = alignment.replaced(read, clips)
    alignment.keep(read, clips)
    for old in gone:
        stays = ": the same film, whose alignment stays" if moved else ""
        say(f"replaces {old.path.name}, aligned by {old.by}, which began at {old.begins / 1000:.3f} s{stays}")
    for first, second in alignment.angles(alignment.clips_of(session.read(args.session))):
        say(f"{first.path.name} and {second.path.name} show the same minutes; --angle NAME says which to cut")
    rows = pd.DataFrame(alignment.describe(clips))
    if args.json:
        print(as_json({"clips": rows}))
    else:
        table(rows)
    drift = max((clip.ppm for clip in clips), key=abs)
    say(*dict.fromkeys(alignment.drift_told(clip) for clip in clips if clip.by == "sync marks"))
    say(alignment.error_told(clips))
    findings = [
        f"{s.path}: its frames come unevenly; it is read as {float(s.rate):g} a second, right to half a frame"
        for s in sources
        if not s.even
    ]
    findings += [
        f"{s.path}: its pictures end at {s.seconds:.1f} s, and it says that it lasts {s.claimed:.1f} s: "
        "its end may be missing; look at the original"
        for s in sources
        if s.claimed - s.seconds > MISSING_S
    ]
    if abs(drift) > alignment.ODD_PPM:
        findings.append("two clocks seldom differ by so much: look at both times again")
    say(*findings)
    return 1 if findings else 0


def _forget(read: "Session", args: argparse.Namespace) -> int:
    from etholog.film import alignment

    if args.seen:
        raise Refusal("--forget takes films off and aligns none: leave --seen out")
    gone = alignment.forget(read, args.files)
    if args.json:
        print(as_json({"forgotten": [clip.path.name for clip in gone]}))
    names = ", ".join(clip.path.name for clip in gone)
    say(f"taken off: {names}; the files themselves stay, and `etholog film align` aligns them again")
    return 0
