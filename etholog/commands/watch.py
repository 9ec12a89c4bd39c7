"""`etholog watch`: record a pairing by single keys against a running clock."""

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from etholog import session, summary, system
from etholog.commands.output import say
from etholog.record import Scalar
from etholog.refusal import Refusal
from etholog.text import visible
from etholog.watch import forms
from etholog.watch.arrivals import Arrivals
from etholog.watch.forms import CONDITIONS, ETHOGRAM, OUTCOME, PAIR, SETTING, Question
from etholog.watch.keyboard import KEYBOARDS, Keyboard
from etholog.watch.opening import NewSession
from etholog.watch.recorder import Recorder

if TYPE_CHECKING:
    from etholog.watch.plain import Console
    from etholog.watch.themes import Look
    from etholog.watch.watching import Watching

# Terminals whose fonts hold few box characters; also those that are not told to be UTF-8.
FEW_CHARACTERS = ("linux", "vt100", "vt220", "dumb")


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("--male", default="", metavar="ID", help="his name or id")
    parser.add_argument("--female", default="", metavar="ID", help="her name or id")
    parser.add_argument("--species", default="", help="their species")
    parser.add_argument("--place", default="", help="where it takes place")
    parser.add_argument("--observer", default="", help="who watches")
    parser.add_argument("--ethogram", default="terrestrial", metavar="NAME", help="name or file (default: terrestrial)")
    parser.add_argument("--folder", type=Path, default=Path("sessions"), help="where it is kept (default: sessions)")
    conditions = parser.add_argument_group("conditions")
    for asked in CONDITIONS:
        conditions.add_argument(
            f"--{asked.name.replace('_', '-')}", type=_meant(asked), dest=asked.name, help=asked.what
        )
    film = parser.add_argument_group("from a film, in place of the animals")
    film.add_argument("--film", type=Path, metavar="FILE", help="the clock is this film's; mpv shows it")
    film.add_argument("--of", type=Path, metavar="SESSION", help="a second observer's record of this session")
    add_plain(parser)
    add_look(parser)
    parser.epilog = (
        "examples:\n  etholog watch --male M-Basalt --female F-Umbra --hand right --theme night\n"
        "  etholog watch --film film.mp4 --of sessions/20260305-2156-M-Slate-F-Clay.jsonl"
    )


def add_look(parser: argparse.ArgumentParser) -> None:
    """Give a command the arguments that say how the screen looks and where the keys are."""
    parser.add_argument("--hand", choices=("left", "right"), default="left", help="the hand on the keyboard")
    parser.add_argument(
        "--map",
        default="",
        metavar="KEYBOARD",
        help=f"a keyboard other than QWERTY: {', '.join(KEYBOARDS)}, or pairs such as 'yz zy', typed and meant",
    )
    parser.add_argument("--theme", choices=("day", "night", "mono"), default="day", help="colours (default: day)")
    parser.add_argument("--ascii", action="store_true", help="draw with plain characters")
    parser.add_argument("--bell", action="store_true", help="ring for prompts; it may disturb the animals")


def _meant(asked: Question) -> Callable[[str], Scalar]:
    """Return what makes of an option what the form makes of the same answer."""

    def answer(typed: str) -> Scalar:
        try:
            return asked.answer(typed)
        except ValueError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return answer


def add_plain(parser: argparse.ArgumentParser) -> None:
    """Give a command its `--plain`."""
    parser.add_argument("--plain", action="store_true", help="line by line, without a screen: for a screen reader")


def look(args: argparse.Namespace) -> "Look":
    """Return what `add_look`'s arguments say of the screen."""
    from etholog.watch.strip import BOXES, PLAIN
    from etholog.watch.themes import THEMES, Look

    few = os.environ.get("TERM", "") in FEW_CHARACTERS or not (sys.stdout.encoding or "").lower().startswith("utf")
    return Look(THEMES[args.theme], PLAIN if args.ascii or few else BOXES, args.bell)


def run(args: argparse.Namespace) -> int:
    """Record until the end is keyed, then print the summary."""
    asked = (*PAIR, *SETTING, ETHOGRAM, *CONDITIONS)
    said = {question.name: getattr(args, question.name) for question in asked}
    said = {name: value for name, value in said.items() if value not in (None, "")}
    new = NewSession(args.folder, args.hand, Keyboard.of(args.map), said)
    _ = new.ethogram  # what is wrong with it is told before anything else
    if (args.film is None and args.of is not None) or (args.film is not None and args.plain):
        raise Refusal("--of goes with --film, and --film needs the screen: leave --plain out")
    if not args.plain:
        need_terminal()
    check_folder(args.folder)
    if args.film is not None:
        from etholog.commands.film import watching

        return watching.begin(args, new)
    return _plainly(new, args.bell) if args.plain else record(args, new=new)


def need_terminal() -> None:
    """Refuse to open a screen where there is none."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise Refusal("the screen needs a terminal; run it in one, or with --plain where there is that option")


def check_folder(folder: Path) -> None:
    """Refuse a folder that can't be written, by writing into it."""
    probe = folder / ".etholog-probe"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.write_bytes(b"x")
        probe.unlink()
    except OSError as error:
        raise Refusal(f"{folder}: can't be written ({error.strerror}); choose another with --folder") from error


def record(
    args: argparse.Namespace,
    *,
    new: NewSession | None = None,
    recorder: Recorder | None = None,
    pair: str = "",
    strip: "Callable[[Look], Watching] | None" = None,
) -> int:
    """Show the screens until they end, then print what came of it. `strip` makes a screen other than the usual one."""
    from etholog.watch.app import WatchApp
    from etholog.watch.arrivals import noting_driver
    from etholog.watch.watching import Watching

    dress = look(args)
    watching = Watching(recorder, dress, pair=pair) if recorder is not None else strip(dress) if strip else None
    app = WatchApp(dress, watching=watching, new=new, driver=noting_driver(lambda key, stamp: app.note(key, stamp)))
    app.run()
    if app.refusal is not None:
        raise app.refusal
    if app.recorder is None:
        say("nothing was begun")
        return app.return_code or 0
    return finish(app.recorder, app.return_code or 0)


def _plainly(new: NewSession, bell: bool) -> int:
    from etholog.watch.plain import Console, Ended

    with system.Keys() as keys:
        console = Console(keys)
        try:
            if not new.named:
                unsaid = [question for question in (*PAIR, *SETTING) if question.name not in new.said]
                new.take(new.said | forms.ask_each(unsaid, console.line))
            for line in (new.pair, new.ethogram.title, *new.ethogram.cautions, *new.before):
                print(visible(line))
            console.line("Enter starts the clock, Ctrl-C leaves. ")
        except (EOFError, KeyboardInterrupt):
            say("", "nothing was begun")
            return 0
        except Ended as ended:
            return 128 + int(ended.args[0])
        return plainly(new.begin(), console, bell)


def plainly(recorder: Recorder, console: "Console", bell: bool = False) -> int:
    """Record line by line, ask how it ended, and print what came of it."""
    from etholog.watch.plain import Ended, Plain

    code = 0
    if Plain(recorder, console, bell).run():
        try:
            told = forms.ask_each(OUTCOME, console.line)
        except (EOFError, KeyboardInterrupt):
            print()
        except Ended as ended:
            print()
            code = 128 + ended.args[0]
        else:
            if told:
                recorder.close_again(told)
    return finish(recorder, code)


def finish(recorder: Recorder, code: int = 0) -> int:
    """Wait for the disk, then print the summary, or how to go on."""
    safe = recorder.journal.close()
    path = recorder.journal.path
    if not safe:
        say(f"{path}: NOT everything is on the disk. {recorder.journal.trouble or 'The disk did not answer in time.'}")
    else:
        Arrivals(path).forget()
    if recorder.journal.rescue is not None:
        say(f"while the disk failed, marks went to {recorder.journal.rescue} too; keep it until you have looked")
    if not recorder.closed:
        say(f"broken off; go on with: etholog resume {path}")
        return code
    for line in summary.lines(session.read(path)):
        print(visible(line))
    say(f"kept in {path}")
    return code or (0 if safe else 1)
