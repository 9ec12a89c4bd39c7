"""What the commands that record share: how the screen looks, the screens, and how a session ends."""

import argparse
import importlib.util
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from etholog import session
from etholog.base import system
from etholog.base.journal import Journal
from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.commands.output import goes_with, say, tell
from etholog.recording import forms, settings
from etholog.recording.amender import Amender
from etholog.recording.arrivals import Arrivals
from etholog.recording.begun import Begun
from etholog.recording.corrector import Answer, Corrector
from etholog.recording.forms import ETHOGRAM, PAIR, SETTING
from etholog.recording.keyboard import KEYBOARDS, Keyboard
from etholog.recording.opening import NewSession, reopen
from etholog.recording.recorder import Recorder
from etholog.recording.settings import Settings
from etholog.recording.taps import LateTaps, phone_file
from etholog.session import summary
from etholog.session.question import Question

if TYPE_CHECKING:
    from etholog.phone.server import Phone
    from etholog.screens.app import PhoneOf
    from etholog.screens.plain import Console
    from etholog.screens.themes import Look
    from etholog.screens.watching import Watching

# Terminals whose fonts hold few box characters; also those that are not told to be UTF-8.
FEW_CHARACTERS = ("linux", "vt100", "vt220", "dumb")


def add_plain(parser: argparse.ArgumentParser) -> None:
    """Give a command its `--plain`."""
    parser.add_argument("--plain", action="store_true", help="line by line, without a screen: for a screen reader")


def add_look(parser: argparse.ArgumentParser) -> None:
    """Give a command the arguments that say how the screen looks and where the keys are."""
    parser.add_argument("--hand", choices=settings.CHOICES["hand"], help="the hand on the keyboard (default: left)")
    parser.add_argument(
        "--map",
        default="",
        metavar="KEYBOARD",
        help=f"a keyboard other than QWERTY: {', '.join(KEYBOARDS)}, or pairs such as 'yz zy', typed and meant",
    )
    parser.add_argument("--theme", choices=settings.CHOICES["theme"], help="colours (default: day)")
    parser.add_argument("--ascii", action="store_true", help="draw with plain characters")
    parser.add_argument("--bell", action="store_true", help="ring for prompts; it may disturb the animals")
    parser.add_argument(
        "--language",
        metavar="LANGUAGE",
        help="of behaviours' labels, where the ethogram has them (default: as your environment says)",
    )


def add_phone(parser: argparse.ArgumentParser) -> None:
    """Give a command the arguments of a phone as the keyboard."""
    phone = parser.add_argument_group("a phone as the keyboard, in the same network; the keys go on working")
    phone.add_argument("--phone", action="store_true", help="show a code; who opens it on a phone has the strip there")
    phone.add_argument(
        "--phone-address",
        default="",
        metavar="ADDRESS",
        help="with --phone: this address of this machine, as 192.168.1.20 or 192.168.1.20:8477",
    )
    phone.add_argument(
        "--phone-certificate",
        type=Path,
        metavar="FILE",
        help="with --phone: encrypt, with the certificate and its key in this PEM file",
    )


def check_phone(args: argparse.Namespace) -> None:
    """Refuse what can't be meant of a phone, before anything is begun."""
    goes_with("--phone", args.phone, phone_address=args.phone_address, phone_certificate=args.phone_certificate)
    if not args.phone:
        return
    if args.plain:
        raise Refusal("--phone needs the screen: leave --plain out")
    from etholog.phone import address

    if args.phone_address:
        address.address_typed(args.phone_address)
    if args.phone_certificate is not None:
        address.encryption(args.phone_certificate)


def settle(args: argparse.Namespace, workspace: Path, file: Path | None = None) -> Settings:
    """Fill in what no option says: how the session was begun, else `etholog.toml`, else what is usual. Returns it."""
    own, findings = settings.read(workspace)
    say(*findings)
    said = Settings(hand=args.hand or "", keyboard=args.map, theme=args.theme or "")
    if file is not None:
        said = said.before(settings.kept(file))
    chosen = said.before(own).before(Settings(hand="left", theme="day"))
    args.hand, args.map, args.theme = chosen.hand, chosen.keyboard, chosen.theme
    return chosen


def look(args: argparse.Namespace) -> "Look":
    """Return what `add_look`'s arguments say of the screen."""
    from etholog.screens.strip import BOXES, PLAIN
    from etholog.screens.themes import THEMES, Look

    few = os.environ.get("TERM", "") in FEW_CHARACTERS or not (sys.stdout.encoding or "").lower().startswith("utf")
    return Look(THEMES[args.theme], PLAIN if args.ascii or few else BOXES, args.bell)


def look_of(workspace: Path) -> "Look":
    """Return how the screens of a workspace look where no option says it."""
    from etholog.screens.themes import THEMES, Look

    return Look(THEMES[settings.read(workspace)[0].theme or "day"])


def need_terminal() -> None:
    """Refuse to open a screen where there is none."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise Refusal("the screen needs a terminal; run it in one, or with --plain where there is that option")


def record(
    args: argparse.Namespace,
    *,
    new: NewSession | None = None,
    recorder: Recorder | None = None,
    pair: str = "",
    strip: "Callable[[Look], Watching] | None" = None,
) -> int:
    """Show the screens until they end, then print what came of it. `strip` makes a screen other than the usual one."""
    from etholog.screens.app import WatchApp
    from etholog.screens.watching import Watching

    dress = look(args)
    watching = Watching(recorder, dress, pair=pair) if recorder is not None else strip(dress) if strip else None
    app = WatchApp(dress, watching=watching, new=new, settings=_settings(args), phone=_phone(args, dress))
    app.run()
    if app.refusal is not None:
        raise app.refusal
    if app.recorder is None:
        say("nothing was begun")
        return app.return_code or 0
    return finish(app.recorder, app.return_code or 0)


def _phone(args: argparse.Namespace, dress: "Look") -> "PhoneOf | None":
    """Return what gives the recorder a phone, where one was asked for, now or when the session was begun."""
    broken_off = getattr(args, "file", None)
    if not getattr(args, "phone", False) and (broken_off is None or not phone_file(broken_off).exists()):
        return None

    def phone(
        recorder: Recorder, pair: str, answered: "Callable[[Answer], None]", before_tap: "Callable[[], None]"
    ) -> "Phone | str":
        if importlib.util.find_spec("aiohttp") is None:
            return "phone: needs one package more: pip install 'etholog[phone]'. The keys go on."
        from etholog.phone import address
        from etholog.phone.server import Phone

        path = recorder.journal.path
        seat = address.kept(path)
        if seat is None or args.phone_address or args.phone_certificate or not address.is_here(seat.host):
            typed = address.address_typed(args.phone_address) if args.phone_address else None
            host, port = typed or (address.own_host(), address.PORT)
            if not host:
                return "phone: no network here. The keys go on."
            seat = address.new_seat(address.Address(host, port, args.phone_certificate))
            address.keep(path, seat)
        about = {"pair": pair, "theme": vars(dress.theme)}
        return Phone(recorder, seat, about, answered, before_tap)

    return phone


def _settings(args: argparse.Namespace) -> Settings:
    return Settings(hand=args.hand, keyboard=args.map, theme=args.theme)


def begin_plainly(new: NewSession, args: argparse.Namespace) -> int:
    """Ask line by line what is not said yet, then record line by line."""
    from etholog.screens.plain import Console, Ended

    with Console(system.Keys()) as console:
        try:
            if not new.named:
                unsaid = [question for question in (*PAIR, *SETTING) if question.name not in new.said]
                new.said |= forms.ask_each(unsaid, console.line)
            choose_ethogram(new, console.line)
            against = [f"Speaks against it: {line}" for line in new.warnings]
            for line in (new.pair, new.headline, *new.asked, *new.before, *against, *new.cautions):
                tell(line)
            console.line("Enter starts the clock, Ctrl-C leaves. ")
        except EOFError:
            say("", "nothing was begun")
            return 0
        except Ended as ended:
            if ended.code == 128 + signal.SIGINT:
                say("", "nothing was begun")
                return 0
            return ended.code
        recorder = new.begin()
        settings.keep(recorder.journal.path, _settings(args))
        return plainly(recorder, console, args.bell)


def choose_ethogram(new: NewSession, ask: forms.Ask) -> None:
    """Ask which ethogram is to be used, where none is known to fit these two and somebody can answer."""
    while not new.fitting.ethogram and sys.stdin.isatty():
        known = tuple(sorted(new.earlier.known(ETHOGRAM.name)))
        which = Question(ETHOGRAM.name, f"{new.fitting.why}; which one?", "choice", known)
        new.said |= forms.ask_each([which], ask)


def plainly(recorder: Recorder, console: "Console", bell: bool = False) -> int:
    """Record line by line, ask how it ended, and print what came of it."""
    from etholog.screens.plain import Ended, Plain

    try:
        closed = Plain(recorder, console, bell).run()
    except Ended as ended:
        return finish(recorder, ended.code)
    return finish(recorder, _ask_plainly(recorder, console) if closed else 0)


def _ask_plainly(of: Corrector, console: "Console") -> int:
    """Ask line by line how it ended; return the exit code."""
    from etholog.screens.plain import Ended, ask_closing

    try:
        ask_closing(of, console.line)
    except EOFError:
        print()
    except Ended as ended:
        return ended.code
    return 0


def ask_again(args: argparse.Namespace, keyboard: Keyboard) -> int:
    """Ask how a closed session ended, with what was typed before that was broken off."""
    from etholog.screens.closing import ClosingApp

    of, _, told = reopen(args.file, args.hand, keyboard)
    say(*told)
    if args.plain:
        from etholog.screens.plain import Console

        with Console(system.Keys()) as console:
            return finish(of, _ask_plainly(of, console))
    app = ClosingApp(of, look(args))
    app.run()
    return finish(of, app.return_code or 0)


def finish(recorder: Recorder | Amender, code: int = 0) -> int:
    """Wait for the disk, then print the summary, or how to go on."""
    try:
        return _told(recorder, code)
    except OSError:
        if not code:
            raise
        return code  # the terminal is gone, and with it whoever could have read


def _told(recorder: Recorder | Amender, code: int) -> int:
    safe = kept(recorder.journal)
    path = recorder.journal.path
    if isinstance(recorder, Recorder) and not recorder.closed:
        say(f"broken off; go on with: etholog resume {path}")
        return code or (0 if safe else 1)
    settings.forget(path)
    if not safe:
        return code or 1
    for line in summary.lines(session.read(path)):
        tell(line)
    if Begun.of_session(path).typed("outcome"):
        say(f"answers were begun; go on with them: etholog resume {path}")
    if late := LateTaps(path).read():
        say(f"{many(len(late), 'tap')} of the phone came after the end; etholog amend {path} offers them")
    say(f"kept in {path}")
    return code


def kept(journal: Journal) -> bool:
    """Wait for the disk, and say where the marks are if not all of them are in the file and on the disk."""
    safe, path = journal.close(), journal.path
    if safe:
        Arrivals(path).forget()
        if journal.rescue is not None:
            say(f"while the disk failed, marks went to {journal.rescue} too; all of them are in {path} now")
        return True
    say(f"{path}: NOT everything is on the disk. {journal.trouble or 'The disk did not answer in time.'}")
    if journal.rescue is not None:
        which = "everything is" if journal.damage is not None else "what it lacks is"
        say(f"{which} in {journal.rescue}; to put it in its place: etholog resume {path} --rescue {journal.rescue}")
    return False
