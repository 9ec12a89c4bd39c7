"""`etholog watch`: record a pairing by single keys against a running clock."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from etholog import ethogram, session, summary, system
from etholog.commands.output import say
from etholog.refusal import Refusal
from etholog.text import visible
from etholog.watch import forms
from etholog.watch.keyboard import KEYBOARDS, Keyboard
from etholog.watch.opening import begin
from etholog.watch.recorder import Recorder

if TYPE_CHECKING:
    from etholog.watch.themes import Look

CONDITIONS = {
    "temperature_c": (float, "temperature in degrees Celsius"),
    "humidity_percent": (float, "relative humidity in percent"),
    "light": (str, "the light, in words"),
    "stands_on": (str, "what the enclosure stands on: vibration travels"),
    "female_days_since_moult": (int, "days since her last moult"),
    "female_days_since_meal": (int, "days since her last meal"),
    "male_days_since_moult": (int, "days since his last moult"),
    "male_days_since_meal": (int, "days since his last meal"),
}


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
    for name, (kind, what) in CONDITIONS.items():
        conditions.add_argument(f"--{name.replace('_', '-')}", type=kind, dest=name, help=what)
    add_look(parser)
    parser.epilog = "example:\n  etholog watch --male M-Basalt --female F-Umbra --hand right --theme night"


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


def look(args: argparse.Namespace) -> "Look":
    """Return what `add_look`'s arguments say of the screen."""
    from etholog.watch.strip import BOXES, PLAIN
    from etholog.watch.themes import THEMES, Look

    return Look(THEMES[args.theme], PLAIN if args.ascii else BOXES, args.bell)


def run(args: argparse.Namespace) -> int:
    """Record until the end is keyed, then print the summary."""
    kept = ethogram.read(ethogram.find(args.ethogram, args.folder.parent))
    keyboard = Keyboard.of(args.map)
    need_terminal()
    said = {name: getattr(args, name) for name in ("male", "female", "species", "place", "observer")}
    conditions = {name: getattr(args, name) for name in CONDITIONS if getattr(args, name) is not None}
    # The file is made before anything else, so that a folder that can't be written is known before the clock runs.
    check_folder(args.folder)
    try:
        said = forms.missing(said, input)
        _start(kept)
    except (EOFError, KeyboardInterrupt):
        say("", "nothing was begun")
        return 0
    began, clock_at = system.wall_now(), system.now()
    journal = begin(args.folder, kept, began, clock_at, conditions=conditions, **said)
    return record(
        Recorder(journal, kept, args.hand, began, clock_at, keyboard=keyboard),
        args,
        f"{said['male']} x {said['female']}",
    )


def need_terminal() -> None:
    """Refuse to open a screen where there is none."""
    if not sys.stdin.isatty() or not sys.stdout.isatty():
        raise Refusal("the watch screen needs a terminal; run it in one")


def check_folder(folder: Path) -> None:
    """Refuse a folder that can't be written, by writing into it."""
    probe = folder / ".etholog-probe"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.write_bytes(b"x")
        probe.unlink()
    except OSError as error:
        raise Refusal(f"{folder}: can't be written ({error.strerror}); choose another with --folder") from error


def _start(kept: ethogram.Ethogram) -> None:
    print(f"\n{kept.title}\n")
    for caution in kept.cautions:
        print(f"  * {visible(caution)}")
    input("\nEnter starts the clock, Ctrl-C leaves. ")


def record(recorder: Recorder, args: argparse.Namespace, pair: str) -> int:
    """Show the watch screen until it ends, then print what came of it."""
    from etholog.watch.app import WatchApp
    from etholog.watch.arrivals import Arrivals, noting_driver
    from etholog.watch.watching import Watching

    arrivals = Arrivals(recorder.journal.path)

    def note(key: str, stamp: float) -> None:
        if app.takes_keys:
            arrivals.note(key, recorder.t(system.at_stamp(stamp)))

    app = WatchApp(Watching(recorder, look(args), pair=pair), noting_driver(note))
    ended = app.run()
    if ended:
        _ask_outcome(recorder)
    safe = recorder.journal.close()
    path = recorder.journal.path
    if not safe:
        say(f"{path}: NOT everything is on the disk. {recorder.journal.trouble or 'The disk did not answer in time.'}")
    if safe:
        arrivals.forget()
    if not ended:
        say(f"broken off; go on with: etholog resume {path}")
        return app.return_code or 0
    for line in summary.lines(session.read(path)):
        print(visible(line))
    say(f"kept in {path}")
    return 0 if safe else 1


def _ask_outcome(recorder: Recorder) -> None:
    """Close the session once more, with what the keeper tells of its end; closed it is already."""
    try:
        told = forms.outcome(input)
    except (EOFError, KeyboardInterrupt):
        print()
        return
    if told:
        recorder.close_again(told)
