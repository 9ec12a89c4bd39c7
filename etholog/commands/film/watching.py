"""`etholog watch --film`, and `etholog resume` of such a session: mpv beside the strip."""

import argparse
import contextlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from etholog import session
from etholog.base import system
from etholog.base.journal import Journal
from etholog.base.refusal import Refusal
from etholog.base.text import STILLNESS
from etholog.commands import recording
from etholog.commands.film import common
from etholog.commands.output import say
from etholog.recording import opening
from etholog.recording.film_clock import FilmClock, FilmRecorder, StretchRecorder
from etholog.recording.forms import CONDITIONS, PAIR, SETTING
from etholog.recording.keyboard import Keyboard
from etholog.recording.live import Live
from etholog.recording.opening import NewSession
from etholog.screens.mpv import Mpv
from etholog.session import Session, drafts

if TYPE_CHECKING:
    from etholog.film.alignment import Clip
    from etholog.film.reel import Reel
    from etholog.screens.themes import Look

LEAD_S = 2.0  # shown before a stretch, so that its beginning is seen


def begin(args: argparse.Namespace, new: NewSession) -> int:
    """Record a session from its film, or a second observer's record of one."""
    from etholog.film.alignment import by_themselves, plain
    from etholog.film.reel import reel

    parts = common.evening(args.film)
    source = parts[0].source
    of = session.read(args.of) if args.of is not None else None
    if of is None:
        shown = reel(by_themselves(parts))
        kept, began = new.ethogram, source.made.astimezone() if source.made else system.wall_now()
        about = {question.name: new.said.get(question.name, "") for question in (*PAIR, *SETTING)}
        conditions = {q.name: new.said[q.name] for q in CONDITIONS if q.name in new.said}
        more = {**about, "conditions": conditions}
        name = ""
    else:
        shown = reel([_aligned(of, part.source.path) for part in parts])
        kept, began = of.ethogram, of.began
        more = {question.name: of.header[question.name] for question in (*PAIR, *SETTING)}  # type: ignore[literal-required]
        more |= {"observer": new.said.get("observer", ""), "record_of": of.id}
        name = _free(args.folder, of.id)
    starts = _stretches(args, shown) if args.stretches else ()
    with _playing(shown, starts[0] if starts else shown.reel_s(0.0)) as (film, clock):
        names = ", ".join(clip.path.name for clip in shown.clips)
        told = {"clock": "film", "boot": "", "source": f"film {names}"[:200]}
        journal = opening.begin(args.folder, kept, began, 0.0, name, **more, **told)
        journal.append(drafts.film([plain(clip, args.folder) for clip in shown.clips]))
        kind = StretchRecorder if starts else FilmRecorder
        recorder = kind(journal, Live(kept), clock, hand=args.hand, began=began, keyboard=new.keyboard)
        return _record(args, recorder, opening.pair_of(more), of is None, film, clock, starts)


def resume(args: argparse.Namespace, keyboard: Keyboard) -> int:
    """Go on with a session that was recorded from film, where the last record lies."""
    from etholog.film.alignment import clips_of
    from etholog.film.reel import reel

    known = session.read(args.file)
    if args.plain:
        raise Refusal(f"{args.file}: was recorded from film, which needs the screen: leave --plain out")
    known.refuse_closed()
    clips = clips_of(known)
    if not clips or not all(clip.path.is_file() for clip in clips):
        raise Refusal(f"{args.file}: its film is no longer where it was; put it back, or end it by `etholog amend`")
    shown = reel(clips)
    with _playing(shown, shown.reel_s(known.fold.end)) as (film, clock):
        journal, _ = Journal.open(args.file)
        live = Live(known.ethogram, known.records)
        recorder = FilmRecorder(journal, live, clock, hand=args.hand, began=known.began, keyboard=keyboard)
        if live.folding.gap is not None:
            recorder.back(system.now())
        second = "record_of" in known.header
        return _record(args, recorder, opening.pair_of(known.header), not second, film, clock)


def _record(
    args: argparse.Namespace,
    recorder: FilmRecorder,
    pair: str,
    asks: bool,
    film: Mpv,
    clock: FilmClock,
    stretches: Sequence[float] = (),
) -> int:
    from etholog.screens.film_watching import FilmWatching
    from etholog.screens.stretch_watching import StretchWatching

    def strip(look: "Look") -> FilmWatching:
        if stretches:
            return StretchWatching(recorder, look, pair=pair, asks=asks, film=film, clock=clock, starts=stretches)
        return FilmWatching(recorder, look, pair=pair, asks=asks, film=film, clock=clock)

    return recording.record(args, strip=strip)


def _stretches(args: argparse.Namespace, shown: "Reel") -> tuple[float, ...]:
    """Return the seconds at which to begin to watch: somewhat before each stretch, and not before the session.

    Searches the films if that was not done.
    """
    from etholog.film.source import probe
    from etholog.film.stretches import found

    begins_s = shown.reel_s(0.0)
    starts: list[float] = []
    end = -1.0
    for clip, at_s in zip(shown.clips, shown.starts, strict=False):
        held = common.searched(probe(clip.path), args)
        say(*held.findings)
        for stretch in found(held.trace, held.shape, args.more):
            onset = max(begins_s, at_s + stretch.onset_s - LEAD_S)
            if onset > end and at_s + stretch.offset_s > begins_s:
                starts.append(onset)
            end = at_s + stretch.offset_s
    if not starts:
        names = ", ".join(clip.path.name for clip in shown.clips)
        raise Refusal(f"{names}: {common.NO_STRETCH}")
    say(STILLNESS)
    return tuple(starts)


@contextlib.contextmanager
def _playing(shown: "Reel", start_s: float) -> Iterator[tuple[Mpv, FilmClock]]:
    """Show the films as long as this lasts."""
    clock = FilmClock(start_s, shown.seconds, shown.session_ms, shown.pauses)
    film = Mpv([(clip.path, clip.seconds) for clip in shown.clips], start_s, clock.shown)
    try:
        yield film, clock
    finally:
        film.close()


def _aligned(of: Session, film: Path) -> "Clip":
    from etholog.film.alignment import clips_of

    for clip in clips_of(of):
        if clip.path.is_file() and clip.path.samefile(film):
            return clip
    raise Refusal(f"{film}: is not aligned with that session; first: etholog film align {of.path} {film} --seen TIME")


def _free(folder: Path, first: str) -> str:
    """Return the first name for one more record of a session that no file has."""
    number = 2
    while (folder / f"{first}-{number}.jsonl").exists():
        number += 1
    return f"{first}-{number}"
