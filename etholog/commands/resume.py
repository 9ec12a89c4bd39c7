"""`etholog resume`: go on with a session that was broken off, the time away being a gap."""

import argparse
from pathlib import Path

from etholog import system
from etholog.commands import watch
from etholog.commands.output import say
from etholog.watch.recorder import Recorder, wall_now


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the session's file")
    watch.add_look(parser)
    parser.epilog = "example:\n  etholog resume sessions/20260503-211500-M-Basalt-F-Umbra.jsonl"


def run(args: argparse.Namespace) -> int:
    """Go on recording."""
    watch.need_terminal()
    recorder, told = Recorder.resume(args.file, args.hand, system.now(), wall_now())
    say(*told)
    return watch.record(recorder, args, args.file.stem)
