"""Films whose every frame tells its number, and sessions that go with them.

The films come from ffmpeg's own test source. The number is burned in twice: as digits, for people, and as sixteen
squares, black or white, in which it is written in binary, so that a test reads it from the pixels of a decoded frame.
"""

import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from etholog import ethogram as ethogram_file
from etholog import session
from etholog.base.journal import Draft, Journal
from etholog.session import Session, drafts
from tests.conftest import need
from tests.make import terrestrial_1

BITS, SQUARE = 16, 16
WIDTH, HEIGHT = BITS * SQUARE, 144
BEGAN = datetime(2026, 3, 5, 21, 56, tzinfo=timezone(timedelta(hours=1)))


def numbered(
    path: Path, seconds: float, rate: str = "25", first: int = 0, sound: bool = True, more: Sequence[str] = ()
) -> Path:
    """Make a film of WIDTH x HEIGHT; its frames carry the numbers from `first` on."""
    path.write_bytes(_numbered(path.suffix, seconds, rate, first, sound, tuple(more)))
    return path


@cache
def _numbered(suffix: str, seconds: float, rate: str, first: int, sound: bool, more: tuple[str, ...]) -> bytes:
    need("ffmpeg")
    path = Path(tempfile.mkdtemp()) / f"film{suffix}"
    squares = [f"drawbox=x=0:y=0:w={WIDTH}:h={SQUARE}:color=black:t=fill"]
    for bit in range(BITS):
        lit = f"gte(mod(n+{first}\\,{2 ** (bit + 1)})\\,{2**bit})"
        squares.append(f"drawbox=x={bit * SQUARE}:y=0:w={SQUARE}:h={SQUARE}:color=white:t=fill:enable='{lit}'")
    digits = f"drawtext=text='%{{eif\\:n+{first}\\:d}}':x=90:y=60:fontsize=40:fontcolor=white:box=1:boxcolor=black"
    tone = ["-f", "lavfi", "-i", f"sine=frequency=440:duration={seconds}"] if sound else []
    ffmpeg(
        "-f", "lavfi", "-i", f"testsrc2=rate={rate}:size={WIDTH}x{HEIGHT}:duration={seconds}", *tone,
        "-vf", ",".join([*squares, digits]), "-pix_fmt", "yuv420p", "-g", "50", *more, f"file:{path}",
    )  # fmt: skip
    made = path.read_bytes()
    shutil.rmtree(path.parent)
    return made


def ffmpeg(*words: str) -> bytes:
    done = subprocess.run(
        ["ffmpeg", "-v", "error", "-nostdin", "-y", *words], capture_output=True, check=False, stdin=subprocess.DEVNULL
    )
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout


def numbers(path: Path) -> list[int]:
    """Decode a film and read the number of each of its frames."""
    raw = ffmpeg(
        "-i", f"file:{path}", "-map", "0:v:0", "-fps_mode", "passthrough",
        "-vf", f"crop={WIDTH}:{SQUARE}:0:0,scale={BITS}:1:flags=area,format=gray", "-f", "rawvideo", "-",
    )  # fmt: skip
    return [sum(2**bit for bit in range(BITS) if raw[at + bit] > 127) for at in range(0, len(raw), BITS)]


def probed(path: Path, *words: str) -> list[str]:
    """Ask ffprobe, which is independent of what we ask of ffmpeg."""
    need("ffprobe")
    done = subprocess.run(
        ["ffprobe", "-v", "error", "-of", "default=nw=1:nk=1", *words, f"file:{path}"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.split("\n")[:-1]


def recorded(
    folder: Path,
    *records: tuple[str, int, dict[str, Any]],
    end: int,
    name: str = "a-session",
    ethogram: str = "terrestrial-1",
) -> Session:
    """Write a closed session of (do, t, members) and read it."""
    kept = terrestrial_1() if ethogram == "terrestrial-1" else ethogram_file.read(ethogram_file.find(ethogram))
    said = dict.fromkeys(("male", "female", "species", "observer", "place"), "")
    header = session.header_of(
        kept, id=name, began=BEGAN.isoformat(), clock="invented", clock_at=0.0, boot="", conditions={},
        source="invented", **said,
    )  # fmt: skip
    journal = Journal.create(folder / f"{name}.jsonl", header)
    for do, t, members in records:
        journal.append(Draft({"do": do, "t": t, **members}))
    journal.append(drafts.close(end))
    assert journal.close()
    return session.read(journal.path)


def state(code: str, onset: int, offset: int, **members: Any) -> list[tuple[str, int, dict[str, Any]]]:
    return [
        ("mark", onset, {"code": code, "edge": "onset", **members}),
        ("mark", offset, {"code": code, "edge": "offset", **members}),
    ]


def event(code: str, t: int, **members: Any) -> tuple[str, int, dict[str, Any]]:
    return ("mark", t, {"code": code, **members})


def frames_per_s(path: Path) -> Fraction:
    return Fraction(probed(path, "-select_streams", "v:0", "-show_entries", "stream=r_frame_rate")[0])
