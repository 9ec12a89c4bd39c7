"""A film's sound, or a recording made beside it, listened to for bursts of strokes; and what may be marked of them."""

import re
from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from etholog.base.refusal import Refusal
from etholog.ethogram import Behaviour
from etholog.film import ffmpeg
from etholog.film.source import Source
from etholog.film.strokes import HOPS, RATE, Burst, Floats, bursts, energies, onsets, strokes
from etholog.session import Session
from etholog.session.folding import fold

PIECE_S = 20


@dataclass(frozen=True)
class Heard:
    """What was heard: the onset strength, HOPS a second, and the bursts."""

    strength: Floats
    bursts: tuple[Burst, ...]


def recording(path: Path) -> Source:
    """Look at a recording of sound alone. Raises Refusal when it is not one."""
    if not path.is_file():
        raise Refusal(f"{path}: is not there; name a recording of sound")
    _, told = ffmpeg.output_of("-i", ffmpeg.named(path))
    length = re.search(r"^  Duration: (\d+):(\d\d):(\d\d\.\d+)", told, re.M)
    if length is None or ": Audio: " not in told:
        raise Refusal(f"{path}: has no sound that ffmpeg can read; name a recording of sound")
    hours, minutes, seconds = map(float, length.groups())
    return Source(path, hours * 3600 + minutes * 60 + seconds, Fraction(1), True, 0, 0, True, None, 0.0, True)


def listen(source: Source, band: tuple[float, float], more: float, progress: Callable[[float], None]) -> Heard:
    """Return what is heard in a film or a recording. `progress` gets the share done."""
    if not source.sound:
        raise Refusal(f"{source.path}: has no sound; name a recording made beside it: --sound FILE")
    with closing(_samples(source, progress)) as samples:
        strength = onsets(energies(samples, band))
    return Heard(strength, tuple(bursts(*strokes(strength, more))))


def _samples(source: Source, progress: Callable[[float], None]) -> Generator[NDArray[np.int16]]:
    # Silence where the sound begins later than the pictures, or pauses: a sample's place is its time.
    words = ["-vn", "-sn", "-dn", "-i", ffmpeg.named(source.path), "-map", "0:a:0", "-ac", "1"]
    words += ["-af", f"aresample={RATE}:async=1:first_pts=0", "-f", "s16le", "-"]
    done = 0
    with closing(ffmpeg.piped(words, 2 * RATE * PIECE_S)) as pieces:
        for data in pieces:
            done += len(data) // 2
            progress(min(1.0, done / RATE / source.seconds))
            yield np.frombuffer(data, np.int16, len(data) // 2)


def trace(heard: Heard, per_s: int = 4) -> Floats:
    """Return the greatest onset strength in each part of a second."""
    step = HOPS // per_s
    whole = len(heard.strength) // step * step
    greatest: Floats = heard.strength[:whole].reshape(-1, step).max(axis=1, initial=0.0)
    return greatest


def draft_marks(behaviour: Behaviour, onset: int, offset: int) -> list[dict[str, Any]]:
    """Return the marks of a burst, in milliseconds: a state's onset and offset, or an event."""
    if behaviour.kind == "event":
        return [{"do": "mark", "t": onset, "code": behaviour.code}]
    return [
        {"do": "mark", "t": t, "code": behaviour.code, "edge": edge}
        for t, edge in ((onset, "onset"), (offset, "offset"))
    ]


def over_the_observer(read: Session, behaviour: Behaviour, onset: int, offset: int) -> str:
    """Return why a burst is not to be marked, '' where it may be: nothing that the observer recorded changes by it."""
    if onset < 0 or offset > read.fold.end:
        return "outside the session"
    if any(gap.onset < offset and onset < gap.offset for gap in read.fold.gaps):
        return "in a gap, when nobody watched"
    if any(b.code == behaviour.code and b.onset <= offset and onset <= b.offset for b in read.fold.bouts):
        return "marked by the observer already"
    first = len(read.records) + 1
    new: Sequence[Any] = [{"n": first + at, **mark} for at, mark in enumerate(draft_marks(behaviour, onset, offset))]
    then = fold(read.ethogram, [*read.records, *new])
    kept = set(read.fold.bouts) <= set(then.bouts) and len(then.remarks) <= len(read.fold.remarks)
    return "" if kept else "in what the observer marked of the same animal"
