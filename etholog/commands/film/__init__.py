"""`etholog film`: search it, align it with a session, list what to keep, caption it, cut it. One file a verb."""

import argparse
import importlib

VERBS = {
    "search": ("find where something moves in a film that nobody marked", "film.mp4 --sheet sheet.png"),
    "listen": ("find bursts of strokes in the sound, and offer them as marks", "--take drumming"),
    "align": ("set a film's clock against the session's", "film.mp4 --seen 0:12.40"),
    "cuts": ("list what to keep of the film, and what falls away", "--before 3 --after 5 -o cuts.edl"),
    "captions": ("write captions, or chapters", "-o captions.vtt"),
    "make": ("cut the film itself; the source is never touched", "-o out.mp4"),
}
SESSION = "sessions/20260305-2156-M-Slate-F-Clay.jsonl"


WITHOUT_SESSION = ("search",)


def _example(name: str, rest: str) -> str:
    return " ".join(["etholog film", name, *([] if name in WITHOUT_SESSION else [SESSION]), rest])


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its verbs, and each its arguments."""
    verbs = parser.add_subparsers(title="verbs", metavar="VERB", dest="verb", required=True)
    for name, (what, example) in VERBS.items():
        verb = verbs.add_parser(
            name,
            help=what,
            description=what[0].upper() + what[1:] + ".",
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
            epilog=f"example:\n  {_example(name, example)}",
        )
        module = importlib.import_module(f"etholog.commands.film.{name}")
        module.configure(verb)
        verb.set_defaults(does=module.run)
    parser.epilog = "examples:\n" + "\n".join(f"  {_example(name, example)}" for name, (_, example) in VERBS.items())


def run(args: argparse.Namespace) -> int:
    """Do what the verb says."""
    done: int = args.does(args)
    return done
