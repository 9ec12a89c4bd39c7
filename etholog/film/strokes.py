"""Loud strokes in a sound, as of drumming, and bursts of them: how strongly each instant begins. Pure.

Filters and peaks are SciPy's. Which animal drummed, or what else knocked, no sound says: a burst is a place to look.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Floats = NDArray[np.floating[Any]]

RATE = 4000  # samples a second that are listened to
HOPS = 200  # steps a second of the trace
BAND = (80.0, 600.0)  # Hz: strokes on ground and wood; own choice
# All chosen on made signals (tests/bench/film_sound.py prints what they find there); no published source.
AFTER, BEFORE = 3, 8  # steps whose energy is compared
AROUND_S, GRID_S = 30, 10  # of sound that tells how much chance alone rises
LEAST = 3.1  # spreads of chance that a stroke rises by
APART_S = 0.05  # two strokes of one animal
PAUSE_S, FEWEST = 0.45, 3  # within a burst; strokes of one


@dataclass(frozen=True)
class Burst:
    """Strokes that follow each other, in seconds of the sound; `strength` is the median of its strokes'."""

    onset_s: float
    offset_s: float
    strokes: int
    strength: float

    @property
    def rate(self) -> float:
        """Strokes a second, from the first to the last; too low where some were not heard."""
        return (self.strokes - 1) / (self.offset_s - self.onset_s)


def energies(samples: Iterable[NDArray[np.int16]], band: tuple[float, float] = BAND) -> Floats:
    """Return the energy within a band, HOPS a second, of sound that comes in pieces."""
    sos = signal.butter(4, band, "bandpass", fs=RATE, output="sos")
    state = np.zeros((len(sos), 2))
    step = RATE // HOPS
    found: list[Floats] = []
    left = np.zeros(0)
    for piece in samples:
        passed, state = signal.sosfilt(sos, piece / 32768.0, zi=state)
        passed = np.concatenate([left, passed])
        whole = len(passed) // step * step
        found.append(np.square(passed[:whole]).reshape(-1, step).mean(axis=1).astype(np.float32))
        left = passed[whole:]
    return np.concatenate(found) if found else np.zeros(0, np.float32)


def onsets(energy: Floats) -> Floats:
    """Return the onset strength, HOPS a second: how much the energy rises, in spreads of what chance does around it."""
    if len(energy) < 2 * HOPS:
        return np.zeros(len(energy), np.float32)
    total = np.concatenate([[0.0], np.cumsum(energy, dtype=np.float64)])
    at = np.arange(len(energy))
    after = (total[np.minimum(at + AFTER, len(energy))] - total[at]) / AFTER
    before = (total[at] - total[np.maximum(at - BEFORE, 0)]) / BEFORE
    quiet = 1e-10 + 1e-3 * np.median(energy)
    rise = np.log((after + quiet) / (before + quiet))
    rise[:BEFORE] = 0.0
    strength = np.empty(len(rise), np.float32)
    for start in range(0, len(rise), GRID_S * HOPS):
        window = rise[max(0, start - AROUND_S * HOPS) : start + (GRID_S + AROUND_S) * HOPS]
        middle = np.median(window)
        spread = 1.4826 * np.median(np.abs(window - middle))
        part = slice(start, start + GRID_S * HOPS)
        strength[part] = (rise[part] - middle) / max(spread, 0.05)
    return strength


def strokes(strength: Floats, more: float = 1.0) -> tuple[Floats, Floats]:
    """Return when strokes begin, in seconds, and how strong each is."""
    at, told = signal.find_peaks(strength, height=LEAST / more, distance=round(APART_S * HOPS))
    return at / HOPS, told["peak_heights"]


def bursts(times_s: Floats, strengths: Floats) -> list[Burst]:
    """Return what of the strokes comes in bursts."""
    edges = np.flatnonzero(np.diff(times_s) > PAUSE_S) + 1
    parts = zip(np.split(times_s, edges), np.split(strengths, edges), strict=True)
    return [
        Burst(float(own[0]), float(own[-1]), len(own), round(float(np.median(strong)), 2))
        for own, strong in parts
        if len(own) >= FEWEST
    ]
