"""`etholog watch`: record a pairing by single keys against a running clock."""

import argparse
import tempfile
from collections.abc import Callable
from pathlib import Path

from etholog.base import files
from etholog.base.catalogues import asked_for_labels
from etholog.base.journal import Scalar
from etholog.base.language import labelling
from etholog.base.refusal import Refusal
from etholog.base.text import visible
from etholog.base.workspace import workspace
from etholog.commands import recording
from etholog.commands.film.common import add_search
from etholog.commands.output import add_folder, say
from etholog.recording.forms import CONDITIONS, ETHOGRAM, PAIR, SETTING
from etholog.recording.keyboard import Keyboard
from etholog.recording.opening import NewSession
from etholog.session.question import Question


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    for asked in (*PAIR, *SETTING):
        metavar = "ID" if asked in PAIR else None
        parser.add_argument(f"--{asked.name}", default="", metavar=metavar, help=asked.what)
    parser.add_argument(
        "--ethogram", default="", metavar="NAME", help="name or file (default: the one that fits their species)"
    )
    add_folder(parser)
    conditions = parser.add_argument_group("conditions")
    for asked in CONDITIONS:
        conditions.add_argument(
            f"--{asked.name.replace('_', '-')}", type=_meant(asked), dest=asked.name, help=asked.what
        )
    film = parser.add_argument_group("from a film, in place of the animals")
    film.add_argument(
        "--film",
        nargs="+",
        type=Path,
        metavar="FILE",
        help="the clock is this film's, or that of the films of one evening; mpv shows them",
    )
    film.add_argument("--of", type=Path, metavar="SESSION", help="a second observer's record of this session")
    film.add_argument(
        "--stretches",
        action="store_true",
        help="search the film and go from stretch to stretch by PgDn; what is skipped counts as a gap",
    )
    add_search(parser)
    recording.add_plain(parser)
    recording.add_look(parser)
    recording.add_phone(parser)
    parser.epilog = (
        "examples:\n  etholog watch --male M-Basalt --female F-Umbra --hand right --theme night\n"
        "  etholog watch --phone --theme night\n"
        "  etholog watch --film film.mp4 --of sessions/20260305-2156-M-Slate-F-Clay.jsonl"
    )


def _meant(asked: Question) -> Callable[[str], Scalar]:
    """Return what makes of an option what the form makes of the same answer."""

    def answer(typed: str) -> Scalar:
        try:
            return asked.answer(typed)
        except ValueError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return answer


def run(args: argparse.Namespace) -> int:
    """Record until the end is keyed, then print the summary."""
    with labelling(asked_for_labels(args.language)):
        return _run(args)


def _run(args: argparse.Namespace) -> int:
    asked = (*PAIR, *SETTING, ETHOGRAM, *CONDITIONS)
    meant = workspace(args.folder)
    args.folder = meant.sessions
    settings = recording.settle(args, meant.root)
    args.observer, args.place = args.observer or settings.observer, args.place or settings.place
    said = {question.name: getattr(args, question.name) for question in asked}
    said = {name: value for name, value in said.items() if value not in (None, "")}
    new = NewSession(args.folder, args.hand, Keyboard.of(args.map), said)
    if "ethogram" in said:
        _ = new.ethogram  # what is wrong with it is told before anything else
    if (args.film is None and args.of is not None) or (args.film is not None and args.plain):
        raise Refusal("--of goes with --film, and --film needs the screen: leave --plain out")
    if args.stretches and args.film is None:
        raise Refusal("--stretches goes with --film")
    recording.check_phone(args)
    if args.phone and args.film is not None:
        raise Refusal("--phone goes with the animals, not with --film")
    if not args.plain:
        recording.need_terminal()
    check_folder(args.folder)
    if not args.plain and args.of is None and (new.named or args.film is not None):
        try:
            recording.choose_ethogram(new, lambda asked: input(visible(asked)))
        except (EOFError, KeyboardInterrupt):
            say("", "nothing was begun")
            return 0
        say(f"{new.pair}: {new.headline}")
    if args.film is not None:
        from etholog.commands.film import watching

        return watching.begin(args, new)
    return recording.begin_plainly(new, args) if args.plain else recording.record(args, new=new)


def check_folder(folder: Path) -> None:
    """Refuse a folder that can't be written, by writing into it."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder, buffering=0) as probe:
            probe.write(b"x")
    except OSError as error:
        raise Refusal(f"{folder}: can't be written ({error.strerror}); {files.remedy(error)} with --folder") from error
