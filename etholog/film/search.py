"""Search a film for its stretches, and keep its trace in a file beside it, so that the next search costs nothing."""

import hashlib
import json
import zipfile
from collections.abc import Callable, Generator
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from etholog.base import files
from etholog.base.atomic import replacing
from etholog.base.refusal import Refusal
from etholog.film import ffmpeg
from etholog.film.activity import BLOCK, PER_S, WIDTH, Area, Cells, cells, key_seconds, pictures, shape_of
from etholog.film.source import Source
from etholog.film.stretches import AROUND_S, Trace, traces

VERSION = 3  # of the trace: another one searches anew
COLUMNS = ("quick", "slow", "quick_at", "slow_at", "disturbed")
UNREADABLE = (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile)
HOLE_S = 30.0  # between two key frames no camera waits so long


@dataclass(frozen=True)
class Searched:
    """The trace of a film, the rows and columns of its blocks, and what there is to tell of the film itself."""

    trace: Trace
    shape: tuple[int, int]
    findings: tuple[str, ...] = ()


def beside(film: Path) -> Path:
    """Return the file that holds a film's trace."""
    return film.with_name(f"{film.name}.activity.npz")


def search(
    source: Source, area: Area, mask: Path | None, progress: Callable[[float], None], hardware: bool = False
) -> Searched:
    """Return the trace of a film, from the file beside it as far as that goes. `progress` gets the share done.

    What is done is kept every ten minutes of film: a search that was broken off goes on there.
    """
    if mask is not None and not mask.is_file():
        raise Refusal(f"{mask}: is not there; name a picture, white where the film is to be searched")
    height, width = shape_of(source, area)
    shape = height // BLOCK, width // BLOCK
    told = _identity(source, area, mask)
    trace, whole = _kept(source.path, told)
    findings: list[str] = []
    if whole and trace is not None:
        return Searched(trace, shape, tuple(_short(source, trace)))
    kept = None if mask is None else _blocks(mask, source, area)
    keys = key_seconds(source)
    findings += _holes(source, keys)
    known = len(trace) if trace is not None and source.indexed else 0
    parts = [trace] if trace is not None and known else []
    start = max(0, known // PER_S - AROUND_S)

    def counted() -> Generator[Cells]:
        done = start * PER_S
        with closing(pictures(source, area, float(start), hardware)) as grey:
            for chunk in cells(grey):
                done += len(chunk)
                progress(min(1.0, done / (source.seconds * PER_S)))
                yield chunk

    with closing(counted()) as changes:
        for part in traces(changes, np.sort(keys) - start, kept, known - start * PER_S):
            parts.append(part)
            findings += _keep(source.path, told, Trace.joined(parts), shape, whole=False)
    if not parts:
        raise Refusal(f"{source.path}: ffmpeg finds no picture in it; name a film file")
    trace = Trace.joined(parts)
    findings += _keep(source.path, told, trace, shape, whole=True)
    return Searched(trace, shape, tuple(dict.fromkeys([*findings, *_short(source, trace)])))


def known(film: Path) -> Searched | None:
    """Return what a search of a film found, whatever part of the picture it was asked for; searches nothing.

    None where there was none, where it was broken off, or where the film is another one now.
    """
    try:
        with files.opened(beside(film)) as file, np.load(file, allow_pickle=False) as held:
            if not held["whole"] or json.loads(str(held["film"]))[: len(told := _file(film))] != told:
                return None
            rows, columns = held["shape"].tolist()
            return Searched(Trace(*(held[name] for name in COLUMNS)), (rows, columns))
    except UNREADABLE:
        return None


def _holes(source: Source, keys: NDArray[np.float32]) -> list[str]:
    """Say where the film's own clock jumps. Raises Refusal where it goes back: times would mean nothing."""
    steps = np.diff(keys)
    if (back := np.flatnonzero(steps < 0)).size:
        raise Refusal(
            f"{source.path}: its clock jumps back after {keys[back[0]]:.0f} s, so its times mean nothing; "
            "copy it by: ffmpeg -fflags +genpts -i FILM -c copy NEW.mkv"
        )
    return [
        f"{source.path}: its clock jumps from {keys[at]:.0f} s to {keys[at + 1]:.0f} s; nothing was filmed in between, "
        "or the camera's clock was set"
        for at in np.flatnonzero(steps > HOLE_S)[:3]
    ]


def _short(source: Source, trace: Trace) -> list[str]:
    missing = source.seconds - len(trace) / PER_S
    if missing <= 2:
        return []
    return [f"{source.path}: its last {missing:.0f} s can't be read; the film may have been cut off"]


def _identity(source: Source, area: Area, mask: Path | None) -> str:
    """Return what the trace belongs to: the film's size and time, a hash of some of its blocks, and what was asked."""
    drawn = "" if mask is None else hashlib.sha256(files.read(mask)).hexdigest()
    return json.dumps([*_file(source.path), asdict(area), drawn, WIDTH, PER_S], sort_keys=True)


def _file(film: Path) -> list[int | str]:
    """Return the version of the trace, and a film's size, time and digest of some of its blocks."""
    stat = film.stat()
    digest = hashlib.sha256()
    with film.open("rb") as file:
        for at in range(8):
            file.seek(stat.st_size * at // 8)
            digest.update(file.read(65536))
    return [VERSION, stat.st_size, stat.st_mtime_ns, digest.hexdigest()]


def _kept(film: Path, told: str) -> tuple[Trace | None, bool]:
    """Return the trace that lies beside a film, if it is this film's, and whether it goes to its end."""
    try:
        with files.opened(beside(film)) as file, np.load(file, allow_pickle=False) as held:
            if str(held["film"]) != told:
                return None, False
            return Trace(*(held[name] for name in COLUMNS)), bool(held["whole"])
    except UNREADABLE:
        return None, False


def _keep(film: Path, told: str, trace: Trace, shape: tuple[int, int], whole: bool) -> list[str]:
    """Write the trace beside the film; say so where that can't be done."""
    try:
        with replacing(beside(film)) as file:
            columns = {name: getattr(trace, name) for name in COLUMNS}
            np.savez(file, film=np.array(told), whole=whole, shape=np.array(shape), **columns)
    except Refusal:
        return [f"{beside(film)}: can't be written, so the next search of this film begins anew"]
    return []


def _blocks(mask: Path, source: Source, area: Area) -> NDArray[np.bool_]:
    """Return which blocks a mask picture leaves in: those that it shows white, or nearly so."""
    height, width = shape_of(source, area)
    crop = f"crop=iw*{area.width:.5f}:ih*{area.height:.5f}:iw*{area.x:.5f}:ih*{area.y:.5f}"
    scaled = f"{crop},scale={width}:{height}:flags=area,format=gray"
    words = ["-i", ffmpeg.named(mask), "-vf", scaled, "-frames:v", "1", "-f", "rawvideo", "-"]
    data = b"".join(ffmpeg.piped(words, height * width))
    if len(data) < height * width:
        raise Refusal(f"{mask}: is not a picture that ffmpeg can read")
    drawn = np.frombuffer(data, np.uint8, height * width).reshape(height // BLOCK, BLOCK, width // BLOCK, BLOCK)
    kept = np.asarray(drawn.mean(axis=(1, 3)) > 127)
    if not kept.any():
        raise Refusal(f"{mask}: is white nowhere, so there is nothing to search")
    return kept
