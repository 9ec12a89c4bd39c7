"""`etholog film listen`: find bursts of strokes in the sound, and offer them as marks."""

import argparse
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from etholog.base import files
from etholog.base.catalogues import asked
from etholog.base.language import ENGLISH, speaking
from etholog.base.refusal import Refusal
from etholog.base.text import many, nearest, visible
from etholog.commands import recording
from etholog.commands.film.anchors import anchor
from etholog.commands.film.common import (
    add_angle,
    add_session,
    aligned,
    bar,
    check_ending,
    ended_by_signals,
    more_of,
)
from etholog.commands.output import add_json, add_language, as_json, draw, goes_with, say, table

if TYPE_CHECKING:
    from etholog.ethogram import Behaviour
    from etholog.figures import ReproducibleFigure
    from etholog.film.alignment import Clip
    from etholog.film.sound import Heard
    from etholog.film.source import Source
    from etholog.film.strokes import Burst
    from etholog.session import Session

NO_PROOF = "A burst says where to listen, not who it was: steps, handling and what falls knock as well."
COLUMNS = ("file", "from", "to", "at", "seconds", "strokes", "strokes_per_s", "strength")
AROUND_S = 1.5  # played before and after a burst


class Offer(NamedTuple):
    """A burst, the film or recording it is in, and when it is, in milliseconds of the session."""

    clip: "Clip"
    burst: "Burst"
    onset: int
    offset: int


def configure(verb: argparse.ArgumentParser) -> None:
    """Give the verb its arguments."""
    add_session(verb)
    verb.add_argument(
        "--sound", type=Path, metavar="FILE", help="listen to this recording, in place of the films' own sound"
    )
    verb.add_argument(
        "--seen",
        action="append",
        default=[],
        metavar="[MARK=]TIME",
        help="with --sound: sync mark number MARK (1), or a behaviour that is marked once, is heard at TIME of the "
        "recording; given twice, it takes the drift of the clocks out; the session keeps it for the next time",
    )
    verb.add_argument("--band", default="80,600", metavar="LOW,HIGH", help="listen between these, in Hz (80,600)")
    verb.add_argument(
        "--more", type=float, default=1.0, metavar="N", help="above 1 finds more bursts, below 1 fewer (1)"
    )
    add_angle(verb)
    verb.add_argument("--trace", type=Path, metavar="FILE", help="draw the onset strength: .svg, .png or .pdf")
    verb.add_argument(
        "--take",
        metavar="BEHAVIOUR",
        help="offer each burst as a mark of this behaviour: you hear it, and take it or leave it; what the observer "
        "recorded is never changed",
    )
    add_language(verb)
    add_json(verb)


def run(args: argparse.Namespace) -> int:
    """Print the bursts, and mark those that are taken."""
    import pandas as pd

    from etholog.base.clock import fine_face
    from etholog.film import sound
    from etholog.film.captions import moment

    goes_with("--sound", args.sound, seen=args.seen)
    check_ending(args.trace, files.PICTURES)
    goes_with("--trace", args.trace, language=args.language)
    language = asked(args.language) if args.trace else ENGLISH
    more = more_of(args)
    band = _band(args.band)
    read, pairs = _sources(args)
    behaviour = None if args.take is None else _behaviour(read, args.take)
    heard: list[tuple[Clip, Heard]] = []
    for clip, source in pairs:
        with ended_by_signals(), bar() as progress:
            heard.append((clip, sound.listen(source, band, more, progress)))
    offers = [
        Offer(clip, burst, round(clip.session_ms(burst.onset_s)), round(clip.session_ms(burst.offset_s)))
        for clip, one in heard
        for burst in one.bursts
    ]
    rows = [
        {
            "file": clip.path.name,
            "from": fine_face(burst.onset_s),
            "to": fine_face(burst.offset_s),
            "at": moment(onset),
            "seconds": round(burst.offset_s - burst.onset_s, 2),
            "strokes": burst.strokes,
            "strokes_per_s": round(burst.rate, 1),
            "strength": burst.strength,
        }
        for clip, burst, onset, _ in offers
    ]
    listed = pd.DataFrame(rows, columns=list(COLUMNS))
    if args.json:
        print(as_json({"bursts": listed, "note": NO_PROOF}))
    else:
        table(listed)
    say(f"{many(len(offers), 'burst')}. {NO_PROOF} A rate is too low where strokes were not heard.")
    if args.trace is not None:
        with speaking(language):
            draw(_drawn(heard, more), args.trace)
    return 0 if behaviour is None else _offer(read, offers, behaviour)


def _band(words: str) -> tuple[float, float]:
    from etholog.film.strokes import RATE

    found = re.fullmatch(r"(\d{1,4}(?:\.\d+)?),(\d{1,4}(?:\.\d+)?)", words, re.ASCII)
    low, high = (float(found[1]), float(found[2])) if found else (0.0, 0.0)
    if not 10 <= low < high <= RATE * 0.45:
        raise Refusal(f"--band {words}: write two numbers in Hz, 10 to {RATE * 0.45:.0f}, the lower first: 80,600")
    return low, high


def _sources(args: argparse.Namespace) -> "tuple[Session, list[tuple[Clip, Source]]]":
    """Return the session, and each clip or recording with what its file is."""
    from etholog import session
    from etholog.film import alignment, sound
    from etholog.film.evening import Part
    from etholog.film.source import probe

    if args.sound is None:
        read, clips = aligned(args.session, args.angle)
        return read, [(clip, probe(clip.path)) for clip in clips]
    if len(args.session) > 1 or args.session[0].suffix.lower() != ".jsonl":
        raise Refusal("--sound goes with one session, whose marks set its clock")
    read, part = session.read(args.session[0]), Part(sound.recording(args.sound))
    clips = alignment.by_syncs([part], [anchor(read, words, [part]) for words in args.seen]) if args.seen else []
    if clips:
        _keep(read, clips)
    else:
        clips = alignment.moved(read, [part.source], "sound")
    if not clips:
        raise Refusal(f"{args.sound}: say when a sync mark is heard on it: --seen TIME")
    say(alignment.error_told(clips))
    return read, [(clips[0], part.source)]


def _keep(read: "Session", clips: "list[Clip]") -> None:
    """Keep a recording's alignment in the session's journal, where that can be; a line says why not."""
    from etholog.film import alignment
    from etholog.session import FORMAT_1

    if read.header["format"] == FORMAT_1:
        return say("the session does not keep when that was heard: it is of a format that etholog 0.1 reads")
    if not read.fold.closed:
        return say("the session is still open, so it does not keep when that was heard")
    try:
        alignment.keep(read, clips, "sound")
    except Refusal as refusal:
        say(str(refusal))


def _behaviour(read: "Session", code: str) -> "Behaviour":
    known = read.ethogram.by_code
    if read.path.suffix.lower() != ".jsonl":
        raise Refusal("--take goes with a session: a film alone has no marks")
    read.refuse_open()
    if code not in known:
        raise Refusal(f"--take {code}: is no behaviour of this session's ethogram{nearest(code, known)}")
    if known[code].choices:
        raise Refusal(f"--take {code}: needs to be told which one, and no sound tells that; take another behaviour")
    return known[code]


def _offer(read: "Session", offers: Sequence[Offer], behaviour: "Behaviour") -> int:
    """Ask of each burst whether it is to be marked, and append those that are taken."""
    from etholog.film.sound import over_the_observer
    from etholog.recording.opening import reopen

    why = [over_the_observer(read, behaviour, offer.onset, offer.offset) for offer in offers]
    for reason in dict.fromkeys(filter(None, why)):
        say(f"not offered, since {reason}: {many(why.count(reason), 'burst')}")
    open_ones = [offer for offer, reason in zip(offers, why, strict=True) if not reason]
    taken = []
    for number, offer in enumerate(open_ones, 1):
        answer = _asked(offer, behaviour, f"{number} of {len(open_ones)}")
        if answer == "q":
            break
        if answer == "y":
            taken.append(offer)
    if taken:
        amender, _, told = reopen(read.path, "left")
        say(*told)
        for offer in taken:
            words = f"from the sound: {offer.burst.strokes} strokes, {offer.burst.rate:.1f} a second"
            amender.add(behaviour, offer.onset, offer.offset, words)
        if not recording.kept(amender.journal):
            return 1
    say(f"{many(len(taken), 'bout')} of {behaviour.label} added to {read.path}; each has a note that says so")
    return 0


def _asked(offer: Offer, behaviour: "Behaviour", which: str) -> str:
    """Return y, n or q; p plays the burst first."""
    from etholog.film.captions import moment

    _, burst, onset, _ = offer
    told = f"{which}: {moment(onset)}, {burst.strokes} strokes in {burst.offset_s - burst.onset_s:.1f} s"
    words = f"{told}, {burst.rate:.1f} a second. {behaviour.label}? y takes it, n leaves it, p plays it, q ends: "
    while True:
        print(visible(words), end="", file=sys.stderr, flush=True)  # a table alone stands on stdout
        try:
            answer = input().strip().lower()[:1]
        except (EOFError, KeyboardInterrupt):
            return "q"
        if answer == "p":
            _play(offer)
        elif answer in ("y", "n", "q"):
            return answer


def _play(offer: Offer) -> None:
    from etholog.screens.mpv import NO_MPV

    program = shutil.which("mpv")
    if program is None:
        say(NO_MPV)
        return
    start_s = max(0.0, offer.burst.onset_s - AROUND_S)
    length_s = offer.burst.offset_s + AROUND_S - start_s
    words = [program, "--no-terminal", f"--start={start_s:.3f}", f"--length={length_s:.3f}", "--"]
    subprocess.run([*words, str(offer.clip.path.absolute())], stdin=subprocess.DEVNULL, check=False)


def _drawn(heard: "Sequence[tuple[Clip, Heard]]", more: float) -> "ReproducibleFigure":
    import numpy as np
    import pandas as pd

    from etholog import figures
    from etholog.film import sound
    from etholog.film.strokes import LEAST

    parts, bars = [], []
    for clip, one in heard:
        strength = sound.trace(one) * more / LEAST
        at_s = clip.begins / 1000
        parts.append(pd.DataFrame({"film_s": at_s + np.arange(len(strength)) / 4, "strength": strength}))
        bars += [{"onset_s": at_s + b.onset_s, "offset_s": at_s + b.offset_s, "disturbed": False} for b in one.bursts]
    return figures.activity(pd.concat(parts), pd.DataFrame(bars, columns=["onset_s", "offset_s", "disturbed"]))
