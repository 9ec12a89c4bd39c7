"""What the verbs of `etholog film` share: what to keep, times, files to write."""

import argparse
import contextlib
import re
import signal
import sys
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from etholog import session
from etholog.base.atomic import replacing
from etholog.base.clock import seconds_typed
from etholog.base.language import gettext
from etholog.base.refusal import Refusal
from etholog.base.text import STILLNESS
from etholog.commands.output import add_language, say
from etholog.ethogram import STAGES

if TYPE_CHECKING:
    from etholog.film.activity import Area
    from etholog.film.alignment import Clip
    from etholog.film.captions import Words
    from etholog.film.cuts import CutList, Named
    from etholog.film.evening import Part
    from etholog.film.search import Searched
    from etholog.film.source import Source
    from etholog.session import Session

NO_STRETCH = f"no stretch was found; --more 2 looks for weaker ones. {STILLNESS}"
Contents = Mapping[str, Callable[[], str | bytes]]  # of a file, by its ending


def add_choice(verb: argparse.ArgumentParser) -> None:
    """Give a verb the options that say what to keep."""
    choice = verb.add_argument_group("what to keep")
    choice.add_argument(
        "--keep",
        action="append",
        metavar="NAME",
        help=f"a behaviour's code, code:qualifier, or a stage ({', '.join(STAGES)}); may be given again; without it: "
        "the stages from courtship to separation",
    )
    choice.add_argument("--before", type=float, default=3.0, metavar="S", help="seconds kept before each (3)")
    choice.add_argument("--after", type=float, default=5.0, metavar="S", help="seconds kept after each (5)")
    choice.add_argument("--join", type=float, default=10.0, metavar="S", help="pauses up to this are kept too (10)")
    choice.add_argument("--longest", metavar="TIME", help="keep no more than this in all, copulation first")
    choice.add_argument(
        "--waits", type=int, default=1, metavar="N", help="run through the waits between N times as fast"
    )
    choice.add_argument(
        "--hurry",
        type=int,
        metavar="N",
        help="run through all the rest of the film N times as fast, without sound, and show the time in the picture",
    )
    choice.add_argument(
        "--by",
        choices=("marks", "stretches", "both"),
        help="keep what was marked (marks; so it is where there is a session), what a search of the film finds "
        "(stretches; so it is for a film alone), or both",
    )
    add_angle(choice)
    add_search(verb)


def add_angle(verb: "argparse.ArgumentParser | argparse._ArgumentGroup") -> None:
    """Give a verb its `--angle`."""
    verb.add_argument("--angle", metavar="FILM", help="of two films of the same minutes, take the one of this name")


def add_search(verb: argparse.ArgumentParser) -> None:
    """Give a verb the options that say how to search a film for its stretches."""
    search = verb.add_argument_group("how a film is searched")
    search.add_argument("--area", metavar="X,Y,W,H", help="search this part only: shares of the picture, 0 to 1")
    search.add_argument("--mask", type=Path, metavar="PICTURE", help="search only where this picture is white")
    search.add_argument(
        "--more", type=float, default=1.0, metavar="N", help="above 1 finds more stretches, below 1 fewer (1)"
    )
    search.add_argument(
        "--hardware", action="store_true", help="let the graphics hardware decode, where there is some that can"
    )


def add_words(verb: argparse.ArgumentParser) -> None:
    """Give a verb the option of a language file."""
    verb.add_argument("--words", type=Path, metavar="FILE", help="TOML with sentences of your own")
    add_language(verb)


def seconds(text: str, option: str) -> float:
    """Return a time as it is typed everywhere, h:mm:ss.sss or seconds, as seconds. Raises Refusal for another word."""
    found = seconds_typed(text)
    if found is None:
        raise Refusal(f"{option} {text}: is not a time; write h:mm:ss.sss or seconds")
    return found


def add_session(verb: argparse.ArgumentParser) -> None:
    """Give a verb the session, or the films without one, that it works on."""
    verb.add_argument(
        "session",
        nargs="+",
        type=Path,
        metavar="SESSION",
        help="a session's file, or the films of one evening that nobody marked",
    )


def aligned(paths: Sequence[Path], angle: str | None = None) -> "tuple[Session, list[Clip]]":
    """Read a session and its films, or films that have no session. Raises Refusal when a session has no film.

    A film that was moved is looked for.
    Of films of the same minutes the one of that name is taken, or a line says which.
    """
    from etholog.base.workspace import workspace_of
    from etholog.film.alignment import angles, clips_of, of_angle
    from etholog.film.contents import found_again

    path, *more = paths
    if path.suffix.lower() != ".jsonl" and path.is_file():
        read, clips = _unmarked(paths)
        return read, clips if angle is None else of_angle(clips, angle)
    if more:
        raise Refusal(f"{more[0]}: is one too many; name one session, or nothing but films of one evening")
    read = session.read(path)
    clips = clips_of(read)
    if not clips:
        raise Refusal(f"{path}: has no film yet; say which: etholog film align {path} FILE --seen TIME")
    clips, moved = found_again(clips, workspace_of(path))
    say(*moved)
    if angle is not None:
        return read, of_angle(clips, angle)
    for first, second in angles(clips):
        say(
            f"{first.path.name} and {second.path.name} show the same minutes: {first.path.name} is taken;"
            f" --angle {second.path.name} takes the other"
        )
    return read, clips


def evening(films: Sequence[Path]) -> "list[Part]":
    """Look at films of one evening and put them on one clock."""
    from etholog.film.evening import one_clock
    from etholog.film.source import probe

    if len({film.absolute() for film in films}) < len(films):
        raise Refusal("a film is named twice; name each once")
    return one_clock([probe(film) for film in films])


def _unmarked(films: Sequence[Path]) -> "tuple[Session, list[Clip]]":
    """Return a session without a mark, and its films, whose clock is the session's."""
    from etholog import ethogram
    from etholog.base import system
    from etholog.film.alignment import by_themselves
    from etholog.session import Session

    parts = evening(films)
    source = parts[0].source
    kept = ethogram.read(ethogram.find("terrestrial"))
    began = source.made.astimezone() if source.made else system.wall_now()
    said = dict.fromkeys(("male", "female", "species", "observer", "place"), "")
    header: Any = {
        "n": 0,
        "do": "begin",
        "id": source.path.stem,
        "began": began,
        "source": "",
        "conditions": {},
        **said,
    }
    return Session(source.path, header, kept, []), by_themselves(parts)


def named_parts(clips: "list[Clip]", args: argparse.Namespace) -> "list[Named]":
    """Search the clips and return their stretches on the session's clock, the strongest first."""
    from etholog.film.captions import moment
    from etholog.film.cuts import Named
    from etholog.film.source import probe
    from etholog.film.stretches import found

    parts = []
    for clip in clips:
        held = searched(probe(clip.path), args)
        say(*held.findings)
        for s in found(held.trace, held.shape, args.more):
            onset, offset = clip.session_ms(s.onset_s), clip.session_ms(s.offset_s)
            parts.append((s.strength, Named(onset, offset, f"{gettext(s.why)}, {moment(onset)}")))
    return [named for _, named in sorted(parts, key=lambda part: -part[0])]


def chosen_cuts(read: "Session", clips: "list[Clip]", args: argparse.Namespace) -> "CutList":
    """Return the cut list that the options of `add_choice` ask for. Raises Refusal when nothing would be left."""
    from etholog.film.cuts import KEPT_STAGES, CutOptions, cut_list

    for name in ("before", "after", "join"):
        if not 0 <= getattr(args, name) <= 86_400:
            raise Refusal(f"--{name} must be 0 or more, in seconds")
    if not 1 <= args.waits <= 1000:
        raise Refusal("--waits must be a whole number, 1 (they are cut) to 1000 (so many times as fast)")
    if args.hurry is not None and not 2 <= args.hurry <= 1000:
        raise Refusal("--hurry must be a whole number, 2 to 1000: so many times as fast")
    longest = None if args.longest is None else seconds(args.longest, "--longest")
    by = args.by or ("marks" if read.path.suffix.lower() == ".jsonl" else "stretches")
    keep = () if by == "stretches" else tuple(args.keep or KEPT_STAGES)
    named = [] if by == "marks" else named_parts(clips, args)
    hurry = args.hurry is not None
    options = CutOptions(
        keep, args.before, args.after, args.join, longest, args.hurry if hurry else args.waits, rest=hurry
    )
    found = cut_list(read.fold.bouts, read.ethogram, clips, options, named)
    if named:
        say(STILLNESS)
    if not found.cuts:
        if by == "stretches":
            raise Refusal(f"{read.path}: {NO_STRETCH}")
        raise Refusal(f"{read.path}: nothing of what is to be kept is on its film; see --keep and --longest")
    return found


def words_of(args: argparse.Namespace, read: "Session") -> "Words":
    """Return the sentences of the language file, where one was named."""
    from etholog.film.captions import Words, read_words

    return Words() if args.words is None else read_words(args.words, read.ethogram)


def check_ending(file: Path | None, endings: Collection[str]) -> None:
    """Raise Refusal for a file, where one is named, whose ending is none of these."""
    if file is not None and file.suffix.lower() not in endings:
        raise Refusal(f"{file}: give it one of the endings {', '.join(endings)}")


def write(files: Sequence[Path], contents: Contents) -> None:
    """Write each file, whole or not at all, with what its ending asks for. Raises Refusal, before anything is written,
    for an ending that means nothing."""
    for file in files:
        check_ending(file, contents)
    for file in files:
        content = contents[file.suffix.lower()]()
        with replacing(file) as to:
            to.write(content.encode() if isinstance(content, str) else content)


def area_of(words: str | None) -> "Area":
    """Return the part of the picture that `--area` names."""
    from etholog.film.activity import Area

    if words is None:
        return Area()
    if re.fullmatch(r"\d?(?:\.\d+)?(?:,\d?(?:\.\d+)?){3}", words, re.ASCII) is None or "" in words.split(","):
        raise Refusal(f"--area {words}: write it as x,y,w,h in shares of the picture: 0.1,0.2,0.5,0.5")
    return Area(*map(float, words.split(",")))


def more_of(args: argparse.Namespace) -> float:
    """Return how much is to be found, as `--more` says. Raises Refusal where nobody could want that."""
    more: float = args.more
    if not 0.1 <= more <= 10:
        raise Refusal("--more must be 0.1 to 10; 1 is ordinary")
    return more


def searched(source: "Source", args: argparse.Namespace) -> "Searched":
    """Search a film as the options of `add_search` say, with a bar; what was searched before costs nothing."""
    from etholog.film.search import search

    more_of(args)  # before the search, which takes its time
    with ended_by_signals(), bar() as progress:
        return search(source, area_of(args.area), args.mask, progress, args.hardware)


@contextlib.contextmanager
def ended_by_signals() -> Iterator[None]:
    """Let a TERM or a HUP end us as Ctrl-C does, so that what is half made is taken away."""

    def end(_number: int, _frame: object) -> None:
        raise KeyboardInterrupt

    names = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = [(name, signal.signal(name, end)) for name in names]
    try:
        yield
    finally:
        for name, handler in before:
            signal.signal(name, handler)


@contextlib.contextmanager
def bar() -> Iterator[Callable[[float], None]]:
    """Give what shows the share done, with the time left, on a terminal; nothing where stderr is none."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TimeRemainingColumn

    with Progress(BarColumn(), TaskProgressColumn(), TimeRemainingColumn(), console=Console(stderr=True)) as shown:
        task = shown.add_task("", total=1.0)
        yield lambda share: shown.update(task, completed=share)
