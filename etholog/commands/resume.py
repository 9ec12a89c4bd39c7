"""`etholog resume`: go on with a session that was broken off, the time away being a gap."""

import argparse
from pathlib import Path

from etholog import session
from etholog.base import system
from etholog.base.clock import clock_face
from etholog.base.text import visible
from etholog.commands import recording
from etholog.commands.output import say
from etholog.recording.arrivals import Arrival, Arrivals
from etholog.recording.keyboard import Keyboard
from etholog.recording.opening import resume


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the session's file")
    recording.add_plain(parser)
    recording.add_look(parser)
    parser.epilog = "example:\n  etholog resume sessions/20260503-211500-M-Basalt-F-Umbra.jsonl"


def run(args: argparse.Namespace) -> int:
    """Go on recording."""
    if not args.plain:
        recording.need_terminal()
    keyboard = Keyboard.of(args.map)
    if session.read(args.file).header["clock"] == "film":
        from etholog.commands.film import watching

        return watching.resume(args, keyboard)
    missed = _offered_back(args.file)
    recorder, told = resume(args.file, args.hand, system.now(), system.wall_now(), missed, keyboard)
    say(*told)
    if args.plain:
        from etholog.screens.plain import Console

        with system.Keys() as keys:
            return recording.plainly(recorder, Console(keys), args.bell)
    return recording.record(args, recorder=recorder, pair=args.file.stem)


def _offered_back(file: Path) -> list[Arrival]:
    """Ask whether keys that arrived and never reached the journal shall be taken in now."""
    missed = Arrivals(file).unhandled(session.read(file).fold.end)
    if not missed:
        return []
    shown = ", ".join(f"{arrival.key} at {clock_face(arrival.t)}" for arrival in missed[:20])
    print(f"{len(missed)} keys were pressed and never handled: {visible(shown)}")
    return missed if input("Enter takes them in, n leaves them out. ").strip().lower() != "n" else []
