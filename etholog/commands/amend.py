"""`etholog amend`: walk along a closed session and put right what film or second thoughts show."""

import argparse
from pathlib import Path

from etholog import session
from etholog.base.text import visible
from etholog.commands import recording
from etholog.commands.output import say
from etholog.recording.keyboard import Keyboard
from etholog.recording.opening import reopen
from etholog.session import summary


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("file", type=Path, metavar="SESSION", help="a closed session's file")
    recording.add_look(parser)
    parser.epilog = "example:\n  etholog amend sessions/20260503-211500-M-Basalt-F-Umbra.jsonl"


def run(args: argparse.Namespace) -> int:
    """Show the strip with a cursor, then print what the session comes to now."""
    recording.need_terminal()
    from etholog.screens.amending import AmendApp

    recording.settle(args, args.file.absolute().parent.parent)
    amender, pair, told = reopen(args.file, args.hand, Keyboard.of(args.map))
    say(*told)
    before = amender.journal.n
    app = AmendApp(amender, recording.look(args), pair)
    app.run()
    added = amender.journal.n - before
    if not recording.kept(amender.journal):
        return app.return_code or 1
    for line in summary.lines(session.read(args.file)):
        print(visible(line))
    say(f"{added} record{'' if added == 1 else 's'} added to {args.file}; what was first typed is still in it")
    return app.return_code or 0
