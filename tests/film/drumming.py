"""Sounds of invented drumming whose truth is known: bursts of strokes under noise, from a seed.

A stroke is a tone of 120 to 400 Hz that decays in 6 ms; 4 to 12 come a second, 3 to 11 a burst. The noise is pink, and
swells and sinks; or mains hum of 50 Hz with its overtones on less of it. The ratio is a stroke's greatest power to the
noise's within 80 to 600 Hz.
"""

import wave
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

RATE = 16_000


@dataclass(frozen=True)
class Drummed:
    """One burst: when its strokes begin, in seconds."""

    strokes: tuple[float, ...]

    @property
    def onset(self) -> float:
        return self.strokes[0]

    @property
    def offset(self) -> float:
        return self.strokes[-1]

    @property
    def rate(self) -> float:
        return (len(self.strokes) - 1) / (self.offset - self.onset)


def drummed(
    seed: int, seconds: float, ratio_db: float, noise: str = "pink", count: int = 8
) -> tuple[NDArray[np.int16], list[Drummed]]:
    """Return the sound, RATE samples a second, and its bursts."""
    chance = np.random.default_rng([seed, 11])
    size = int(seconds * RATE)
    t, hertz = np.arange(size) / RATE, np.fft.rfftfreq(size, 1 / RATE)
    spectrum = np.fft.rfft(chance.standard_normal(size))
    spectrum[1:] /= np.sqrt(hertz[1:])
    sound = np.fft.irfft(spectrum, size)
    sound /= sound.std()
    if noise == "hum":
        sound = 0.3 * sound + sum(np.sin(2 * np.pi * 50 * k * t + k) / k for k in (1, 2, 3, 5))
    sound *= 1 + 0.5 * np.sin(2 * np.pi * t / 37)
    within = np.abs(np.fft.rfft(sound)[(hertz > 80) & (hertz < 600)])
    loud = np.sqrt(2 * 2 * np.square(within).sum() / size**2 * 10 ** (ratio_db / 10))
    truth = []
    step = (seconds - 8) / count
    for burst in range(count):
        at = 4 + burst * step + chance.uniform(0, step - 4)
        rate, many = chance.uniform(4, 12), int(chance.integers(3, 12))
        times = np.sort(at + np.arange(many) / rate + chance.normal(0, 0.004, many))
        tone = chance.uniform(120, 400)
        for onset in times:
            first, since = int(onset * RATE), np.arange(int(0.04 * RATE)) / RATE
            stroke = np.exp(-since / 0.006) * np.sin(2 * np.pi * tone * since)
            sound[first : first + len(since)] += loud * chance.uniform(0.8, 1.2) * stroke
        truth.append(Drummed(tuple(times.tolist())))
    return (sound / np.abs(sound).max() * 0.7 * 32767).astype(np.int16), truth


def wav(path: Path, sound: NDArray[np.int16]) -> Path:
    """Write a sound as a WAV file."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(sound.tobytes())
    return path
