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
    verb.add_argument("files", nargs="+", type=Path, metavar="FILE", help="its film; several follow without a pause")
    verb.add_argument(
        "--seen",
        action="append",
        default=[],
        metavar="[N=]TIME",
        help="sync mark number N (1) is seen on the film at TIME, h:mm:ss.sss or seconds; given twice, for two marks, "
        "it takes the drift of the clocks out; not given, the files' own times of creation are taken, which is rough",
    )
    add_json(verb)


def run(args: argparse.Namespace) -> int:
    """Keep the alignment in the session's journal; 1 when something about it looks odd."""
    import pandas as pd

    from etholog.film import alignment
    from etholog.film.source import probe

    read = session.read(args.session)
    if not read.fold.closed:
        raise Refusal(f"{args.session}: is still open; end it first: etholog resume {args.session}")
    anchors = [_anchor(read, words) for words in args.seen]
    if len({t for t, _ in anchors}) < len(anchors):
        raise Refusal("--seen names one sync mark twice; number them: --seen 1=TIME --seen 2=TIME")
    sources = [probe(path) for path in args.files]
    clips = alignment.by_syncs(sources, anchors) if anchors else alignment.by_creation(read, sources)
    alignment.keep(read, clips)
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


def _anchor(read: "Session", words: str) -> tuple[float, float]:
    """Return (session ms, film s) of `N=TIME`."""
    number, _, time = words.rpartition("=")
    syncs = [said.t for said in read.fold.said if said.do == "sync"]
    if number and not (number.isascii() and number.isdecimal()):
        raise Refusal(f"--seen {words}: write it as N=TIME, N being the number of the sync mark")
    which = int(number or 1)
    if not 1 <= which <= len(syncs):
        have = many(len(syncs), "sync mark") if syncs else "no sync marks"
        raise Refusal(f"{read.path}: has {have}, and no number {which}; the key = makes one while you watch")
    return float(syncs[which - 1]), seconds(time, "--seen")
