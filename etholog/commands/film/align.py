"""`etholog film align`: set a film's clock against the session's."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from etholog import session
from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.commands.film.common import seconds
from etholog.commands.output import add_json, as_json, say, table

if TYPE_CHECKING:
    from etholog.session import Session


def configure(verb: argparse.ArgumentParser) -> None:
    """Give the verb its arguments."""
    verb.add_argument("files", nargs="*", type=Path, metavar="FILE", help="its film; several follow without a pause")
    verb.add_argument(
        "--seen",
        action="append",
        default=[],
        metavar="[MARK=]TIME",
        help="sync mark number MARK (1), or a behaviour that is marked once (introduced=0:12.4), is seen on the film "
        "at TIME, h:mm:ss.sss or seconds; given twice, for two marks, it takes the drift of the clocks out; not given, "
        "the files' own times of creation are taken, which is rough",
    )
    verb.add_argument("--forget", action="store_true", help="take the films off the session (none named: all of them)")
    add_json(verb)


def run(args: argparse.Namespace) -> int:
    """Keep the alignment in the session's journal; 1 when something about it looks odd."""
    import pandas as pd

    from etholog.film import alignment
    from etholog.film.source import probe

    read = session.read(args.session)
    if not read.fold.closed:
        raise Refusal(f"{args.session}: is still open; end it first: etholog resume {args.session}")
    if args.forget:
        return _forget(read, args)
    if not args.files:
        raise Refusal("which film? name its file, or several that follow each other without a pause")
    anchors = [_anchor(read, words) for words in args.seen]
    if len({t for t, _ in anchors}) < len(anchors):
        raise Refusal("--seen names one mark twice; give two marks: --seen 1=TIME --seen 2=TIME")
    sources = [probe(path) for path in args.files]
    moved = [] if anchors else alignment.moved(read, sources)
    clips = moved or (alignment.by_syncs(sources, anchors) if anchors else alignment.by_creation(read, sources))
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
    drift = clips[0].ppm
    if len(anchors) > 1:
        say(alignment.drift_told(clips[0]))
    say(alignment.error_told(clips))
    findings = [
        f"{s.path}: its frames come unevenly; it is read as {float(s.rate):g} a second, right to half a frame"
        for s in sources
        if not s.even
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


def _anchor(read: "Session", words: str) -> tuple[float, float]:
    """Return (session ms, film s) of `MARK=TIME`."""
    mark, _, time = words.rpartition("=")
    t = float(_marked(read, mark, words)) if mark and not mark.isdecimal() else _sync(read, mark)
    return t, seconds(time, "--seen")


def _sync(read: "Session", number: str) -> float:
    syncs = [said.t for said in read.fold.said if said.do == "sync"]
    which = int(number or 1) if number.isascii() and len(number) < 9 else 0
    if not 1 <= which <= len(syncs):
        have = many(len(syncs), "sync mark") if syncs else "no sync marks"
        raise Refusal(
            f"{read.path}: has {have}, and no number {number or 1}; the key = makes one while you watch, and a "
            "behaviour that is marked once serves too: --seen introduced=TIME"
        )
    return float(syncs[which - 1])


def _marked(read: "Session", name: str, words: str) -> int:
    """Return when the behaviour began that is marked once, in milliseconds."""
    code, _, qualifier = name.partition(":")
    onsets = [bout.onset for bout in read.fold.bouts if bout.code == code and qualifier in ("", bout.qualifier)]
    if not onsets:
        there = {bout.code for bout in read.fold.bouts}
        once = sorted(code for code in there if sum(bout.code == code for bout in read.fold.bouts) == 1)
        hint = f"marked once are: {', '.join(once)}" if once else "no behaviour is marked once"
        raise Refusal(f"--seen {words}: {name} is not marked in this session; {hint}")
    if len(onsets) > 1:
        raise Refusal(f"--seen {words}: {name} is marked {len(onsets)} times; name one that is there once")
    return onsets[0]
