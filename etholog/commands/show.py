"""`etholog show`: a session in plain words, with its strip."""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from etholog.base import journal, rescue
from etholog.base.colours import ACTORS
from etholog.base.refusal import Finding
from etholog.base.text import visible
from etholog.base.workspace import workspace_of
from etholog.commands.output import Part, add_json, as_json, columns_of, finding_data, picture, say, tell
from etholog.screens.fit import padded, shortened

if TYPE_CHECKING:
    from etholog.animals import naming
    from etholog.screens.strip import Glyphs
    from etholog.session import Session


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("files", nargs="+", type=Path, metavar="SESSION", help="a session's file")
    parser.add_argument("--log", action="store_true", help="marks, notes and gaps side by side, in the order of time")
    parser.add_argument("--ascii", action="store_true", help="draw with plain characters")
    add_json(parser)
    parser.epilog = "example:\n  etholog show sessions/20260503-211500-M-Basalt-F-Umbra.jsonl"


def run(args: argparse.Namespace) -> int:
    """Print summary and strip of each session; 1 where a line of a file could not be used."""
    from etholog import session
    from etholog.animals import naming
    from etholog.screens.strip import BOXES, PLAIN
    from etholog.session import log, summary

    findings: list[Finding] = []
    if args.json:
        return _json(args.files)
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
        picture(strip(read, columns_of(sys.stdout), PLAIN if args.ascii else BOXES))
        print()
    say(*findings)
    return 1 if findings else 0


def _json(files: list[Path]) -> int:
    """Print the sessions as a list; a rescue file is no session, and only told of."""
    from etholog import session

    whole = [path for path in files if rescue.ENDING not in path.suffixes[-2:] or rescue.read(path).whole]
    told = [data(session.read(path)) for path in whole]
    print(as_json(told))
    say(*(f"{path}: a rescue file, left out: etholog show {path}" for path in files if path not in whole))
    return 1 if len(whole) < len(files) or any(one["findings"] for one in told) else 0


def data(read: "Session") -> dict[str, Any]:
    """Return what `show` tells of a session for JSON; times are seconds since it began."""
    from etholog.session import log, summary
    from etholog.session.evidence import evidence
    from etholog.session.latency import latency

    fold, header = read.fold, read.header
    rung = evidence(read.ethogram, fold.bouts)
    found = ((one, latency(read.ethogram, fold, one)) for one in read.ethogram.interval)
    return {
        "file": str(read.path),
        "session": read.id,
        "began": read.began.isoformat(),
        "male": header["male"],
        "female": header["female"],
        "ethogram": read.ethogram.name,
        "closed": fold.closed,
        "mistake": read.is_accident,
        "length_s": fold.end / 1000,
        "watched_s": (fold.end - sum(gap.offset - gap.onset for gap in fold.gaps)) / 1000,
        "marks": fold.marks,
        "evidence": {"rung": int(rung), "words": rung.words},
        "latencies": [
            {"interval": one.name, "latency_s": it.ms / 1000, "occurred": it.occurred, "ended_by": it.ended_by}
            for one, it in found
            if it is not None
        ],
        "bouts": [
            {
                "n": bout.n,
                "actor": read.ethogram.by_code[bout.code].actor,
                "behaviour": bout.code,
                "qualifier": bout.qualifier,
                "onset_s": bout.onset / 1000,
                "offset_s": bout.offset / 1000,
                "whole": bout.whole,
                "confident": bout.sure,
            }
            for bout in fold.bouts
        ],
        "gaps": [{"onset_s": gap.onset / 1000, "offset_s": gap.offset / 1000, "why": gap.why} for gap in fold.gaps],
        "log": [{"at_s": one.t / 1000, "kind": one.kind, "text": one.text} for one in log.entries(read)],
        "outcome": fold.outcome,
        "questions": list(summary.questions(read)),
        "findings": [finding_data(one) for one in read.findings],
    }


def _names(read: "Session", called: "naming.Names") -> Iterator[str]:
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


def strip(read: "Session", width: int, glyphs: "Glyphs") -> Iterator[list[Part]]:
    """Yield the lanes in which something was marked, in their actors' colours, the session within `width` columns."""
    from etholog.recording.lanes import Lane
    from etholog.screens.strip import KEY_WIDTH, LABEL_WIDTH, TOTALS_WIDTH, axis, totals, trace
    from etholog.session import log

    fold = read.fold
    columns = max(10, width - KEY_WIDTH - LABEL_WIDTH - TOTALS_WIDTH - 2)
    scale = max(1, -(-(fold.end + 1) // columns))
    for behaviour in read.ethogram.behaviour:
        bouts = [bout for bout in fold.bouts if bout.code == behaviour.code]
        if not bouts:
            continue
        lane = Lane(behaviour, "", bouts, [], sum(bout.offset - bout.onset for bout in bouts))
        label = padded(shortened(visible(behaviour.label), LABEL_WIDTH), LABEL_WIDTH)
        body = trace(lane, (columns - 1) * scale, columns, glyphs, scale)
        actor = behaviour.actor
        yield [
            (f"{actor[0]:<{KEY_WIDTH}}{label}{glyphs.frame}", ""),
            (body, ACTORS[actor]),
            (f"{glyphs.frame}{totals(lane, fold.end)}".rstrip(), ""),
        ]
    yield [(axis((columns - 1) * scale, columns, scale, glyphs, log.signs(read)).rstrip(), "")]
