"""The command line: one file a command, imported only when it is called."""

import argparse
import gc
import importlib
import io
import os
import sys
from collections.abc import Collection, Sequence

from etholog import __version__
from etholog.base.text import nearest, visible

# In the order of a keeper's year: prepare, watch, follow, learn, show.
COMMANDS = {
    "card": "an animal's card: moults, meals, sperm webs, sacs; read it and add to it",
    "ready": "what speaks for and against putting two animals together",
    "plan": "who can meet whom now, and whom to pair with whom in the weeks to come",
    "watch": "record a pairing by single keys against a running clock",
    "resume": "go on with a session that was broken off",
    "amend": "go through a closed session and correct it",
    "show": "a session in plain words, with its strip",
    "due": "what is to be done today, this week, later; as a calendar too",
    "label": "a label for her enclosure, to print",
    "outcome": "which pairings gave sacs, and what the evening was like when they did",
    "latency": "how long until a behaviour, unfinished sessions as censored; compare males",
    "repeatability": "do males differ, and how alike are the sessions of one male",
    "power": "how many males and sessions it takes to see a difference",
    "duration": "bouts, totals and shares of time",
    "transition": "what follows what, and what follows more often than chance",
    "agree": "how far two observers' records of one session agree",
    "report": "one page on a session or a season, for any browser: questions, answers, figures, tables",
    "export": "write the tables as CSV, Parquet or XLSX, each column described",
    "film": "cut hours of film to what matters: align, list the cuts, caption, make",
    "gather": "several keepers' workspaces as one, whose word each line is beside it",
    "check": "read everything in a workspace and say what is wrong",
    "new": "a workspace to begin with, and an ethogram of your own to change",
    "demo": "see it all on an invented season",
    "help": "the words, the keys, the files, the methods and their sources",
    "completion": "let the shell complete commands and options",
}

EPILOGUE = """\
examples:
  etholog demo                                  an invented pairing and season, nothing of yours is touched
  etholog watch --male M-Basalt --female F-Umbra
  etholog latency courtship --by male

`etholog COMMAND --help` tells more of each. Bites, hairs and escapes: local codes, your vet and your poison centre
come first.
"""


def parser_for(called: Collection[str], listed: Collection[str] = COMMANDS) -> argparse.ArgumentParser:
    """Return the parser of the command line; only the commands `called` have their options, as only they are
    imported. Those `listed` are known to it at all."""
    parser = argparse.ArgumentParser(
        prog="etholog",
        description="Log pairings by single keys against a running clock, and learn from them over a season.",
        epilog=EPILOGUE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="store_true", help="print the version")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", dest="command")
    for name in listed:
        what = COMMANDS[name]
        command = commands.add_parser(
            name, help=what, description=what[0].upper() + what[1:] + ".", formatter_class=_Help, allow_abbrev=False
        )
        if name in called:
            module = importlib.import_module(f"etholog.commands.{name}")
            module.configure(command)
            command.set_defaults(run=module.run)
            if hasattr(module, "take_words"):
                command.set_defaults(take_words=module.take_words)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; 0 done, 1 done with findings, 2 bad input, 130 ended by Ctrl-C."""
    try:
        return _main(argv)
    except KeyboardInterrupt:  # also while what it needs is imported
        return 130


def _main(argv: Sequence[str] | None) -> int:
    # Commands are short-lived, so collect garbage rarely: it cost a fifth of the time of `due` over 10,000 cards.
    # What is imported before a first screen is some 80,000 objects, none of them garbage.
    gc.set_threshold(100_000, 20, 20)
    # pydantic would look for plugins in the metadata of every installed package, at each start.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    _open_all_streams()
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # a console that lacks a character ends nothing
    words = list(sys.argv[1:] if argv is None else argv)
    if words and not words[0].startswith("-") and words[0] not in COMMANDS:
        print(visible(f"etholog: no command {words[0]!r}{nearest(words[0], COMMANDS)}"), file=sys.stderr)
        return 2
    named = {word for word in words if not word.startswith("-")}
    if empty := [word for word in words if word.startswith("--") and word.endswith("=--")]:
        # argparse of Python 3.11 takes such a value for none at all, and hands a command an empty list.
        print(visible(f"etholog: {empty[0]}: -- is no value; write one after the ="), file=sys.stderr)
        return 2
    # A command that stands first needs no list of the others: each costs its start a fraction of a millisecond.
    first = set(words[:1]) & COMMANDS.keys()
    parser = parser_for(first, first) if first else parser_for(named)
    args, more = parser.parse_known_args(words)
    if more and not (hasattr(args, "take_words") and args.take_words(args, more)):
        parser.error(f"unrecognized arguments: {' '.join(more)}")
    if args.version:
        print("etholog", __version__)
        return 0
    if args.command is None and not (sys.stdin.isatty() and sys.stdout.isatty()):
        parser.print_help()
        return 0
    try:
        _remark(args)
        done: int = importlib.import_module("etholog.commands.home").run() if args.command is None else args.run(args)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read us (`| head`) has seen enough; Python would complain once more at its exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        # A name that is too long for the system, a folder that vanished: what no command could foresee.
        from etholog.base import files

        where = error.filename or "the system"
        print(visible(f"{where}: {error.strerror or error}; {files.remedy(error)}"), file=sys.stderr)
        return 2
    except UnicodeEncodeError as error:
        print(visible(f"{error.object}: holds what no name or text can carry here; change it"), file=sys.stderr)
        return 2
    except ValueError as refusal:
        from etholog.base.refusal import Refusal  # here, since data classes cost --help a quarter of its time

        if not isinstance(refusal, Refusal):
            raise
        from etholog.commands.output import say

        say(*str(refusal).splitlines())
        return 2
    return done


def _open_all_streams() -> None:
    """Have stdin, stdout and stderr lead somewhere. Of one that was closed (`>&-`) Python has none, and the next file
    that is opened, a journal, would take its number, and with it whatever is written there."""
    if sys.stdin is None or sys.stdout is None or sys.stderr is None:
        while (nowhere := os.open(os.devnull, os.O_RDWR)) <= 2:
            pass
        os.close(nowhere)
        sys.stdin = sys.stdin or open(0, closefd=False)  # noqa: SIM115
        sys.stdout = sys.stdout or open(1, "w", closefd=False)  # noqa: SIM115
        sys.stderr = sys.stderr or open(2, "w", closefd=False)  # noqa: SIM115


def _remark(args: argparse.Namespace) -> None:
    """Say what folder is taken for the workspace, where that is not the one that was named."""
    if getattr(args, "folder", None) is None:
        return
    from pathlib import Path

    from etholog.base.workspace import workspace

    if isinstance(args.folder, Path) and (remark := workspace(args.folder).remark):
        print(visible(remark), file=sys.stderr)


class _Help(argparse.RawDescriptionHelpFormatter):
    """Keeps the examples of a command as they are written."""
