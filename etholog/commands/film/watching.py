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
    from etholog.film.source import Source
    from etholog.screens.themes import Look

LEAD_S = 2.0  # shown before a stretch, so that its beginning is seen


def begin(args: argparse.Namespace, new: NewSession) -> int:
    """Record a session from its film, or a second observer's record of one."""
    from etholog.film.alignment import Clip, plain
    from etholog.film.source import probe

    source = probe(args.film)
    of = session.read(args.of) if args.of is not None else None
    if of is None:
        clip = Clip(source.path, source.seconds, source.rate, 0.0, 0.0, "watching", ())
        kept, began = new.ethogram, source.made.astimezone() if source.made else system.wall_now()
        about = {question.name: new.said.get(question.name, "") for question in (*PAIR, *SETTING)}
        conditions = {q.name: new.said[q.name] for q in CONDITIONS if q.name in new.said}
        more = {**about, "conditions": conditions}
        name = ""
    else:
        clip = _aligned(of, args.film)
        kept, began = of.ethogram, of.began
        more = {question.name: of.header[question.name] for question in (*PAIR, *SETTING)}  # type: ignore[literal-required]
        more |= {"observer": new.said.get("observer", ""), "record_of": of.id}
        name = _free(args.folder, of.id)
    starts = _stretches(args, source, max(0.0, clip.film_s(0.0))) if args.stretches else ()
    with _shown(clip, starts[0] if starts else max(0.0, clip.film_s(0.0))) as (film, clock):
        told = {"clock": "film", "boot": "", "source": f"film {clip.path.name}"[:200]}
        journal = opening.begin(args.folder, kept, began, 0.0, name, **more, **told)
        journal.append(drafts.film([plain(clip, args.folder)]))
        kind = StretchRecorder if starts else FilmRecorder
        recorder = kind(journal, Live(kept), clock, hand=args.hand, began=began, keyboard=new.keyboard)
        pair = f"{more['male'] or 'male'} x {more['female'] or 'female'}"
        return _record(args, recorder, pair, of is None, film, clock, starts)


def resume(args: argparse.Namespace, keyboard: Keyboard) -> int:
    """Go on with a session that was recorded from film, where the last record lies."""
    from etholog.film.alignment import clips_of

    known = session.read(args.file)
    if args.plain:
        raise Refusal(f"{args.file}: was recorded from film, which needs the screen: leave --plain out")
    if known.fold.closed:
        raise Refusal(f"{args.file}: is closed; `etholog amend` corrects it")
    clip = next(iter(clips_of(known)), None)
    if clip is None or not clip.path.is_file():
        raise Refusal(f"{args.file}: its film is no longer where it was; put it back, or end it by `etholog amend`")
    with _shown(clip, max(0.0, clip.film_s(known.fold.end))) as (film, clock):
        journal, _ = Journal.open(args.file)
        live = Live(known.ethogram, known.records)
        recorder = FilmRecorder(journal, live, clock, hand=args.hand, began=known.began, keyboard=keyboard)
        if live.folding.gap is not None:
            recorder.back(system.now())
        second = "record_of" in known.header
        return _record(args, recorder, args.file.stem, not second, film, clock)


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


def _stretches(args: argparse.Namespace, source: "Source", begins_s: float) -> tuple[float, ...]:
    """Return the film seconds at which to begin to watch: somewhat before each stretch, and not before the session.

    Searches the film if that was not done.
    """
    from etholog.film.stretches import found

    held = common.searched(source, args)
    starts: list[float] = []
    end = -1.0
    for stretch in found(held.trace, held.shape, args.more):
        onset = max(begins_s, stretch.onset_s - LEAD_S)
        if onset > end and stretch.offset_s > begins_s:
            starts.append(onset)
        end = stretch.offset_s
    if not starts:
        raise Refusal(f"{source.path}: no stretch was found; --more 2 looks for weaker ones. {STILLNESS}")
    say(*held.findings, STILLNESS)
    return tuple(starts)


@contextlib.contextmanager
def _shown(clip: "Clip", start_s: float) -> Iterator[tuple[Mpv, FilmClock]]:
    """Show a film as long as this lasts."""
    clock = FilmClock(start_s, clip.seconds, clip.session_ms)
    film = Mpv(clip.path, start_s, clock.shown)
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
