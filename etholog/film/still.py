"""One picture of a film, as an array."""

import numpy as np
from numpy.typing import NDArray

from etholog.film import ffmpeg
from etholog.film.source import Source

WIDTH = 320


def still(source: Source, film_s: float) -> NDArray[np.uint8] | None:
    """Return the frame at a film second, height x width x 3 (red, green, blue); None where none can be read."""
    width, height = WIDTH, max(2, round(WIDTH * source.height / source.width / 2) * 2)
    words = ["-ss", f"{film_s:.3f}", "-i", ffmpeg.named(source.path), "-map", "0:v:0", "-frames:v", "1"]
    words += ["-vf", f"scale={width}:{height}:flags=area,format=rgb24", "-f", "rawvideo", "-"]
    data = b"".join(ffmpeg.piped(words, 1 << 20))
    if len(data) < width * height * 3:
        return None
    return np.frombuffer(data, np.uint8, width * height * 3).reshape(height, width, 3)
