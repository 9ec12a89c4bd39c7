"""How much moves in each block of a film's picture, from small grey pictures that ffmpeg sends through a pipe.

A picture is 160 pixels wide, four come each second. Averaging the recorded pixels takes most of a sensor's noise out
and leaves a movement of a few of them. Memory is constant: a chunk of pictures at a time.

A shake whose rate is, for its whole length, a multiple of 2 a second can fall between four pictures a second and stay
unseen; one that varies, as those of animals do, cannot.
"""

import os
from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from etholog.base.refusal import Refusal
from etholog.film import ffmpeg
from etholog.film.source import Source, is_key, packets_of

WIDTH, PER_S = 160, 4
BLOCK = 5  # pixels on a side
CHUNK = 32  # pictures that are worked on together: they fit the processor's cache
DARK = 6.0  # luma added before two pictures are divided, so that noise in the dark does not count as light
SECOND = PER_S  # pictures over which the slow measure averages before it compares

Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Area:
    """A part of the picture: left, top, width and height as shares of it, 0 to 1."""

    x: float = 0.0
    y: float = 0.0
    width: float = 1.0
    height: float = 1.0

    def __post_init__(self) -> None:
        inside = 0 <= self.x < self.x + self.width <= 1.0001 and 0 <= self.y < self.y + self.height <= 1.0001
        if not (inside and self.width >= 0.02 and self.height >= 0.02):
            raise Refusal("an area is x,y,w,h in shares of the picture, from its top left corner: 0.1,0.2,0.5,0.5")


@dataclass(frozen=True)
class Cells:
    """Changes in each block, one row of blocks a picture.

    `fast` is the mean squared change, in luma, since the picture before; `slow` that of the mean of a second since the
    second before. `shift` is the share of the slow change that a movement of the whole picture explains.
    """

    fast: Floats  # pictures x rows x columns
    slow: Floats
    shift: Floats  # pictures

    def __len__(self) -> int:
        return len(self.fast)


def shape_of(source: Source, area: Area) -> tuple[int, int]:
    """Return (height, width) of the small pictures; whole blocks."""
    tall = WIDTH * source.height * area.height / (source.width * area.width)
    return max(2, round(tall / BLOCK)) * BLOCK, WIDTH


def pictures(
    source: Source, area: Area, start_s: float = 0.0, hardware: bool = False, keys: bool = False
) -> Generator[NDArray[np.uint8]]:
    """Yield chunks of small grey pictures from `start_s` on. Raises Refusal when ffmpeg fails before the first.

    `hardware`: what the machine has decodes, and the processor where it has none. `keys`: the key frames alone.
    """
    height, width = shape_of(source, area)
    crop = f"crop=iw*{area.width:.5f}:ih*{area.height:.5f}:iw*{area.x:.5f}:ih*{area.y:.5f}," if area != Area() else ""
    # A thread for each processor, and none for filters whose pictures are so small: ffmpeg's own choice costs more.
    words = ["-filter_threads", "1", "-threads", str(os.cpu_count() or 1)]
    words += [*(("-hwaccel", "auto") if hardware else ()), *(("-skip_frame", "nokey") if keys else ())]
    words += [*(("-ss", f"{start_s:.3f}") if start_s else ()), "-an", "-sn", "-dn", "-i", ffmpeg.named(source.path)]
    # The rate before the scale: five of six pictures then need no scaling.
    rate = f"setpts=N/{PER_S}/TB,fps={PER_S}," if keys else f"fps={PER_S},"
    words += ["-map", "0:v:0", "-vf", f"{crop}{rate}scale={width}:{height}:flags=area,format=gray"]
    with closing(ffmpeg.piped([*words, "-f", "rawvideo", "-"], CHUNK * height * width)) as chunks:
        for data in chunks:
            whole = len(data) // (height * width)
            yield np.frombuffer(data, np.uint8, whole * height * width).reshape(whole, height, width)


def cells(chunks: Iterator[NDArray[np.uint8]]) -> Generator[Cells]:
    """Yield the changes of each chunk. The first pictures of the film have none: they are 0."""
    before: Floats | None = None
    history = 2 * SECOND
    for chunk in chunks:
        new = chunk + np.float32(DARK)
        if before is None:
            before = np.repeat(new[:1], history, axis=0)
        frames = np.concatenate([before, new])
        before = frames[-history:]
        yield _changes(frames, history)


def key_changes(chunks: Iterator[NDArray[np.uint8]]) -> Floats:
    """Return the mean squared change of each block from each picture to the next, pictures x rows x columns."""
    found: list[Floats] = []
    last: Floats | None = None
    for chunk in chunks:
        new = chunk + np.float32(DARK)
        frames = new if last is None else np.concatenate([last, new])
        last = frames[-1:]
        if len(frames) > 1:
            light = _light(frames)
            found.append(_in_blocks(_change(frames[1:], frames[:-1], light[1:] / light[:-1])))
    return np.concatenate(found) if found else np.zeros((0, 0, 0), np.float32)


def _changes(frames: Floats, history: int) -> Cells:
    """Return the changes of the pictures after `history`; DARK is in the frames already."""
    light = _light(frames)
    fast = _change(frames[history:], frames[history - 1 : -1], light[history:] / light[history - 1 : -1])
    means, light = _of_a_second(frames), _of_a_second(light)  # means[i] ends with frames[i + SECOND - 1]
    now, past = slice(history - SECOND + 1, None), slice(history - 2 * SECOND + 1, -SECOND)
    slow = _change(means[now], means[past], light[now] / light[past])
    shift = _shift(slow, means[past])  # before `slow` is squared in place
    return Cells(_in_blocks(fast), _in_blocks(slow), shift)


def _of_a_second(frames: Floats) -> Floats:
    """Return the mean of each SECOND pictures that follow each other: of four, by two additions."""
    pairs = frames[1:] + frames[:-1]
    four: Floats = pairs[2:] + pairs[:-2]
    four /= np.float32(SECOND)
    return four


def _light(frames: Floats) -> Floats:
    """Return the sum of each row's pixels in each column of blocks, pictures x pixel rows x columns."""
    light: Floats = frames[:, :, ::BLOCK] + frames[:, :, 1::BLOCK]
    for at in range(2, BLOCK):
        light += frames[:, :, at::BLOCK]
    return light


def _change(now: Floats, past: Floats, lit: Floats) -> Floats:
    """Return the change of each pixel that is left when each row's change of light is divided out.

    A row's own, since a lamp's flicker runs through the picture in bands; the median of its parts (`lit`), since a
    spider fills few columns.
    """
    middle = lit.shape[2] // 2
    gain = np.partition(lit, middle, axis=2)[:, :, middle]
    padded = np.pad(gain, ((0, 0), (2, 2)), mode="edge")
    smooth: Floats = np.stack([padded[:, at : at + gain.shape[1]] for at in range(5)]).mean(axis=0)
    changed: Floats = past * smooth[:, :, None]
    np.subtract(now, changed, out=changed)
    return changed


def _in_blocks(change: Floats) -> Floats:
    """Return the mean square of each block, and spoil `change`. Rows first: whole rows are added fastest."""
    squares = np.square(change, out=change).reshape(len(change), -1, BLOCK, change.shape[2])
    rows: Floats = squares[:, :, 0] + squares[:, :, 1]
    for at in range(2, BLOCK):
        rows += squares[:, :, at]
    light = _light(rows)
    light /= np.float32(BLOCK * BLOCK)
    return light


def _shift(change: Floats, past: Floats) -> Floats:
    """Return the share of the change that is explained by the whole picture having moved (least squares)."""
    found = np.zeros(len(change), np.float32)
    for at in range(0, len(change), SECOND):
        d, p = change[at, 1:-1, 1:-1].ravel(), past[at]
        gx = (p[1:-1, 2:] - p[1:-1, :-2]).ravel() / 2
        gy = (p[2:, 1:-1] - p[:-2, 1:-1]).ravel() / 2
        xx, yy, xy, bx, by = gx @ gx, gy @ gy, gx @ gy, gx @ d, gy @ d
        det = xx * yy - xy * xy
        total = float(d @ d)
        if det > 1e-3 and total > 1e-3:
            found[at : at + SECOND] = (bx * (yy * bx - xy * by) + by * (xx * by - xy * bx)) / det / total
    return found


def key_seconds(source: Source) -> Floats:
    """Return the film seconds of the key frames, as they follow in the file. Reads the file and decodes nothing."""
    found = []
    # Every packet is listed: where the demuxer itself skips the others (-discard), those of MP4 come with wrong times.
    words = ["-copyts", "-i", ffmpeg.named(source.path), "-map", "0:v:0", "-c", "copy"]
    with closing(ffmpeg.lines([*words, "-f", "framecrc", "-"])) as listed:
        clock = ""
        for line in listed:
            if line.startswith("#tb 0:"):
                clock = line
            elif line.startswith("0,") and is_key(line):
                tick, packets = packets_of(f"{clock}\n{line}")
                found.append(float(packets[0][0] * tick) - source.start)
    return np.array(found, np.float64)
