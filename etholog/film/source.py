"""What a film file is: length, frame rate, size, rotation, sound, when it was made.

Asked of ffmpeg alone, since the one in imageio-ffmpeg comes without ffprobe. Film time counts from the container's
start, as players count it.
"""

import re
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path

from etholog.base.refusal import Refusal
from etholog.film import ffmpeg


@dataclass(frozen=True)
class Source:
    """A film file. `seconds` is exact where the container tells; `rate` is nominal where frames come unevenly.

    `width` and `height` are as people see it: upright, in square pixels. `start` is what the file's own clock shows at
    film time 0; `indexed` whether a key frame can be found by its time.
    """

    path: Path
    seconds: float
    rate: Fraction
    even: bool
    width: int
    height: int
    sound: bool
    made: datetime | None
    start: float
    indexed: bool
    audio: tuple[str, ...] = ()
    """Its sound's codec, samples a second and channels, where it has any."""
    turned: int = 0
    """By how many degrees players turn its pictures, as those of a phone held upright."""
    claimed: float = 0.0
    """How many seconds the file says that it lasts: more than `seconds` where its end is missing."""


_AUDIO = re.compile(r"^ *Stream #0:\d+.*?: Audio: (\w+).*?, (\d+ Hz), ([\w.()]+)", re.M)
_VIDEO = re.compile(r"^ *Stream #0:\d+.*?: Video: .*?\b(\d{2,5})x(\d{2,5})\b.*$", re.M)
REORDERED = 16  # no more pictures can wait to be shown in H.264 and H.265 (max_num_reorder_frames, ITU-T H.264 E.2.1)
NO_PTS = -(2**63)  # of an AVI with H.264 that was copied into it, none is told: it then counts in its own order
_ATTACHED = "(attached pic)"
Packets = tuple[Fraction, list[tuple[int, int, bool]]]


def probe(path: Path) -> Source:
    """Look at a film file. Raises Refusal when it is not one."""
    if not path.is_file():
        raise Refusal(f"{path}: is not there; name a film file")
    _, told = ffmpeg.output_of("-i", ffmpeg.named(path))
    video = next((found for found in _VIDEO.finditer(told) if _ATTACHED not in found[0]), None)
    length = re.search(r"^  Duration: (\d+):(\d\d):(\d\d\.\d+), start: (-?\d+\.\d+)", told, re.M)
    if video is None or length is None:
        raise Refusal(
            f"{path}: is not a film that ffmpeg can read; name a film file, or wait until it is written to its end"
        )
    nominal = re.search(r"([\d.]+)(k?) tbr", video[0])
    mean = re.search(r"([\d.]+) fps", video[0])
    if nominal is None:
        raise Refusal(f"{path}: has no frame rate that ffmpeg can tell; copy it into an mp4 file first")
    rate = exact(float(nominal[1]) * (1000 if nominal[2] else 1))
    even = mean is not None and abs(exact(float(mean[1])) - rate) < rate / 1000
    if rate > 240 and mean is not None:
        rate = exact(round(float(mean[1])))  # the nominal rate of very uneven film is a mere clock tick
    width, height = int(video[1]), int(video[2])
    if stretched := re.search(r"\[SAR (\d+):(\d+) ", video[0]):
        width = round(width * int(stretched[1]) / int(stretched[2])) if int(stretched[1]) else width
    told_turn = re.search(r"rotat\w*\s*(?:of|:)\s*(-?\d+)", told)
    turned = int(told_turn[1]) % 360 if told_turn else 0
    if turned % 180:
        width, height = height, width
    hours, minutes, seconds, start = map(float, length.groups())
    claimed = hours * 3600 + minutes * 60 + seconds
    end = _end(path) or claimed + start
    audio = _AUDIO.search(told)
    made = re.search(r"^ +creation_time +: (\S+)", told, re.M)
    return Source(
        path,
        end - start,
        rate,
        even,
        width,
        height,
        ": Audio: " in told,
        _instant(made[1] if made else ""),
        start,
        _is_indexed(path, told, start, end, float(1 / rate)),
        audio.groups() if audio else (),
        turned,
        claimed,
    )


def exact(rate: float) -> Fraction:
    """Return the frame rate that ffmpeg rounds to two digits: a whole number, or one of those of NTSC (x 1000/1001).

    >>> exact(29.97), exact(25.0), exact(12.5)
    (Fraction(30000, 1001), Fraction(25, 1), Fraction(25, 2))
    """
    whole = round(rate)
    if abs(rate - whole) > 0.004 and abs(rate - whole_ntsc(rate)) < 0.006:
        return Fraction(round(rate * 1001 / 1000) * 1000, 1001)
    return Fraction(rate).limit_denominator(100)


def whole_ntsc(rate: float) -> float:
    """Return the nearest rate of the form n x 1000/1001."""
    return round(rate * 1001 / 1000) * 1000 / 1001


@cache
def key_frames(source: Source) -> list[tuple[float, int]]:
    """Return (film second, number of the packet) of all frames at which a cut without re-encoding can begin, and of
    the film's end. Reads the whole file."""
    tick, packets = _all_packets(source)
    keys = [(float(pts * tick) - source.start, at) for at, (pts, _, key) in enumerate(packets) if key]
    return [*keys, (source.seconds, len(packets))]


def comes_evenly(source: Source, first: float, end: float) -> bool:
    """Return whether its frames come evenly from one film second to another.

    What a container says of its rate need not be true of every stretch: Matroska's is what it was meant to be.
    """
    if not source.even:
        return False
    each = 1 / source.rate
    margin = 2 / float(source.rate)
    from_, until = max(0.0, first - margin), min(end + margin, source.seconds)
    # Where a file broke off, pictures are missing among its last ones: those that come later in it than they are shown.
    whole = source.seconds - float(REORDERED * each)
    if whole > from_ + margin:
        until = min(until, whole)
    if source.indexed:
        tick, packets = _packets(source.path, "-ss", f"{from_:.6f}", "-t", f"{until - from_:.6f}")
    else:  # nothing can be sought in it
        tick, packets = _all_packets(source)
    shown = sorted({pts * tick - Fraction(source.start) for pts, _, _ in packets})
    shown = [at for at in shown if from_ <= at <= until]
    steps = [later - earlier for earlier, later in pairwise(shown)]
    return len(shown) > (until - from_) * source.rate - 2 and all(abs(step - each) <= tick for step in steps)


def _is_indexed(path: Path, told: str, start: float, end: float, frame: float) -> bool:
    """Return whether a key frame can be found by its time, from what ffmpeg `told` of the file. The index of an AVI is
    at its end, so one that was cut off has none."""
    # Of a file that was cut off, ffmpeg complains before it says what kind it is.
    kind = re.search(r"^Input #0, (\w+)", told, re.M)
    if kind is None or kind[1] != "avi":
        return kind is None or kind[1] not in ("mpegts", "mpeg")
    early = min(0.5, (end - start) / 2)  # without an index, what is sought is found far too late
    tick, packets = _packets(path, "-ss", f"{early:.6f}", "-t", "1")
    # Where all are key frames, the nearest is found, which may be the one after.
    return bool(packets) and float(packets[0][0] * tick) - start < early + frame


def _end(path: Path) -> float | None:
    """Return where the last frame ends, by the file's own clock; None when there is none.

    A file that was cut off may say that it is longer than it is: what it holds then counts.
    """
    tick, packets = _packets(path, "-sseof", "-2")
    if not packets:
        tick, packets = _packets(path)
    return float(max(pts + length for pts, length, _ in packets) * tick) if packets else None


@cache
def _all_packets(source: Source) -> Packets:
    """Read the whole file."""
    return _packets(source.path)


def _packets(path: Path, *sought: str) -> Packets:
    listed, _ = ffmpeg.output_of(
        *sought, "-copyts", "-i", ffmpeg.named(path), "-map", "0:v:0", "-c", "copy", "-f", "framecrc", "-"
    )
    return packets_of(listed)


def packets_of(listed: str) -> Packets:
    """Read ffmpeg's framecrc listing: the clock's tick in seconds; (pts, duration, is a key frame) of packets."""
    tick = Fraction(1)
    packets = []
    for line in listed.splitlines():
        if line.startswith("#tb 0:"):
            tick = Fraction(line.split(":", 1)[1].strip())
        elif line.startswith("0,"):
            fields = line.split(",")
            pts = int(fields[2])
            packets.append((int(fields[1]) if pts == NO_PTS else pts, int(fields[3]), is_key(line)))
    return tick, packets


def is_key(line: str) -> bool:
    """Return whether a packet of a framecrc listing begins a key frame; flags are written where they are not its alone.

    >>> is_key("0, 0, 0, 1, 9, 0x1"), is_key("0, 1, 1, 1, 9, 0x1, F=0x0"), is_key("0, 1, 1, 1, 9, 0x1, F=0x10")
    (True, False, False)
    """
    # A film of six hours has half a million packets: a pattern here would be a tenth of a search's own work.
    flags = line.partition("F=0x")[2]
    return not flags or bool(int(flags.partition(",")[0], 16) & 1)


def _instant(text: str) -> datetime | None:
    try:
        made = datetime.fromisoformat(text)
    except ValueError:
        return None
    # Cameras without a clock write the epoch of their container, 1904 or 1970.
    return made if made.tzinfo is not None and made.year > 1990 else None
