"""`etholog show`: a session in plain words, with its strip."""

import argparse
import shutil
from collections.abc import Iterator
from pathlib import Path

from etholog import session
from etholog.animals import naming
from etholog.base import journal, rescue
from etholog.base.colours import ACTORS
from etholog.base.refusal import Finding
from etholog.base.text import visible
from etholog.base.workspace import workspace_of
from etholog.commands.output import Part, picture, say, tell
from etholog.screens.fit import shortened
from etholog.screens.strip import BOXES, KEY_WIDTH, LABEL_WIDTH, PLAIN, TOTALS_WIDTH, Glyphs, Lane, axis, totals, trace
from etholog.session import Session, log, summary


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("files", nargs="+", type=Path, metavar="SESSION", help="a session's file")
    parser.add_argument("--log", action="store_true", help="marks, notes and gaps side by side, in the order of time")
    parser.add_argument("--ascii", action="store_true", help="draw with plain characters")
    parser.epilog = "example:\n  etholog show sessions/20260503-211500-M-Basalt-F-Umbra.jsonl"


def run(args: argparse.Namespace) -> int:
    """Print summary and strip of each session; 1 where a line of a file could not be used."""
    findings: list[Finding] = []
    called = {root: naming.names(root) for root in {workspace_of(path) for path in args.files}}
    for path in args.files:
        if rescue.ENDING in path.suffixes[-2:] and not rescued(path):
            continue
        read = session.read(path)
        findings += read.findings
        for line in summary.lines(read):
            tell(line)
        for line in _names(read, called[workspace_of(path)]):
            tell(line)
        print()
        if args.log:
            for entry in log.entries(read):
                tell(f"  {log.line(entry)}")
            print()
            continue
        picture(strip(read, shutil.get_terminal_size().columns, PLAIN if args.ascii else BOXES))
        print()
    say(*findings)
    return 1 if findings else 0


def _names(read: Session, called: naming.Names) -> Iterator[str]:
    """Yield what an animal of the session is called now, where a card says so."""
    for name in (read.header["male"], read.header["female"]):
        if name in called.now:
            yield f"  {name} is called {called.of(name)} now, as a card says"


def rescued(path: Path) -> bool:
    """Say what a rescue file is; True where it is a whole session of its own, which can be shown."""
    one = rescue.read(path)
    whose = "a session that it does not name (version 0.1 wrote it)"
    if 0 in one.bodies:
        about = journal.decoded(one.bodies[0])
        pair = f" ({about['male']} x {about['female']})" if "male" in about else ""
        whose = f"{about.get('id', 'a journal')}{pair}"
    print(visible(f"{path}: a rescue file. It holds {one.told()} of {whose}, which its own file did not take."))
    if path.name.endswith(rescue.TAKEN):
        print("They were taken in; nobody needs this file any more.")
    else:
        print(visible(f"To take them in: etholog resume SESSION.jsonl --rescue {path}"))
    print()
    return one.whole


def strip(read: Session, width: int, glyphs: Glyphs) -> Iterator[list[Part]]:
    """Yield the lanes in which something was marked, in their actors' colours, the session within `width` columns."""
    fold = read.fold
    columns = max(10, width - KEY_WIDTH - LABEL_WIDTH - TOTALS_WIDTH - 2)
    scale = max(1, -(-(fold.end + 1) // columns))
    for behaviour in read.ethogram.behaviour:
        bouts = [bout for bout in fold.bouts if bout.code == behaviour.code]
        if not bouts:
            continue
        lane = Lane(behaviour, "", bouts, [], sum(bout.offset - bout.onset for bout in bouts))
        label = shortened(visible(behaviour.label), LABEL_WIDTH).ljust(LABEL_WIDTH)
        body = trace(lane, (columns - 1) * scale, columns, glyphs, scale)
        actor = behaviour.actor
        yield [
            (f"{actor[0]:<{KEY_WIDTH}}{label}{glyphs.frame}", ""),
            (body, ACTORS[actor]),
            (f"{glyphs.frame}{totals(lane, fold.end)}".rstrip(), ""),
        ]
    yield [(axis((columns - 1) * scale, columns, scale, glyphs, log.signs(read)).rstrip(), "")]
