"""Running ffmpeg: the system's, else the one that the package imageio-ffmpeg carries. Never through a shell."""

import errno
import os
import shutil
import subprocess
import tempfile
from collections import deque
from collections.abc import Callable, Generator, Sequence
from functools import cache
from pathlib import Path

from etholog.base.refusal import Refusal


@cache
def program() -> str:
    """Return the path of ffmpeg. Raises Refusal when there is none."""
    found = shutil.which("ffmpeg")
    if found is not None:
        return found
    try:
        import imageio_ffmpeg

        return str(imageio_ffmpeg.get_ffmpeg_exe())
    except (ImportError, RuntimeError):
        raise Refusal("there is no ffmpeg here; install it, or run: pip install imageio-ffmpeg") from None


def named(path: Path) -> str:
    """Return a file as ffmpeg's argument, so that `-y.mp4`, `a|b.mp4` or `http:x.mp4` are nothing but files."""
    return f"file:{path.absolute()}"


def output_of(*words: str) -> tuple[str, str]:
    """Run ffmpeg to its end and return what it wrote to stdout and stderr, whatever its exit code."""
    done = subprocess.run(
        [program(), "-hide_banner", "-nostdin", *words],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        errors="replace",
        check=False,
    )
    return done.stdout, done.stderr


# Of the members of ffmpeg's `-progress`, those whose value may begin with a blank.
PROGRESS = ("bitrate", "speed", "fps", "total_size", "drop_frames", "dup_frames", "frame")


def run(words: Sequence[str], progress: Callable[[float], None], cwd: Path) -> None:
    """Run ffmpeg and tell `progress` the seconds written so far.

    Raises OSError where the disk is full, and Refusal with ffmpeg's own words when it fails otherwise.

    Whatever breaks this off (an interrupt as well) ends ffmpeg first.
    """
    child = subprocess.Popen(
        [program(), "-hide_banner", "-nostdin", "-nostats", "-v", "error", "-progress", "pipe:1", *words],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        errors="replace",
        cwd=cwd,
    )
    said: deque[str] = deque(maxlen=5)
    try:
        assert child.stdout is not None
        for line in child.stdout:
            name, _, value = line.strip().partition("=")
            if name == "out_time_us" and value.lstrip("-").isdigit():
                progress(max(0, int(value)) / 1e6)
            elif " " in line.strip() and name not in PROGRESS:  # everything else is a complaint
                said.append(line.strip())
        if child.wait() != 0:
            for number in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
                if any(os.strerror(number) in line for line in said):
                    raise OSError(number, os.strerror(number))
            raise Refusal("ffmpeg failed: " + ("; ".join(said) or f"exit code {child.returncode}"))
    finally:
        if child.poll() is None:
            child.terminate()
            child.wait()


def piped(words: Sequence[str], size: int) -> Generator[bytes]:
    """Yield what ffmpeg writes to stdout, `size` bytes at a time, the last piece shorter.

    Raises Refusal with ffmpeg's own words when nothing comes; a film that breaks off later simply ends there. Closing
    the iterator ends ffmpeg.
    """
    with tempfile.TemporaryFile() as said:
        child = subprocess.Popen(
            [program(), "-hide_banner", "-nostdin", "-nostats", "-v", "error", *words],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=said,
        )
        try:
            assert child.stdout is not None
            came = False
            while data := child.stdout.read(size):
                came = True
                yield data
            if child.wait() != 0 and not came:
                said.seek(0)
                told = said.read(2000).decode("utf-8", "replace").strip().splitlines()
                raise Refusal("ffmpeg failed: " + ("; ".join(told[-3:]) or f"exit code {child.returncode}"))
        finally:
            if child.poll() is None:
                child.kill()  # asked to end, it would first write what is left into a pipe that nobody reads
            child.wait()
            if child.stdout is not None:
                child.stdout.close()


def lines(words: Sequence[str]) -> Generator[str]:
    """Yield the lines that ffmpeg writes to stdout, in constant memory."""
    waiting = b""
    for data in piped(words, 65536):
        *whole, waiting = (waiting + data).split(b"\n")
        for line in whole:
            yield line.decode("utf-8", "replace")
