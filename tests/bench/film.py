"""Measure film: `python -m tests.bench.film`.

The cut list of 10,000 marks on three hours of film, against json.loads of the same session's lines. Rendering
against one bare ffmpeg that makes the same cuts with the same codec, by the clock and by the processor's time.
"""

import json
import random
import resource
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from etholog.film import captions, render
from etholog.film.alignment import Clip
from etholog.film.captions import Words
from etholog.film.cuts import CutList, CutOptions, cut_list
from etholog.film.source import probe
from etholog.session import Session
from tests.bench.load import median_s
from tests.film.making import event, ffmpeg, recorded, state

HOURS, MARKS = 3, 10_000
FILM_S = 600


def busy(folder: Path) -> Session:
    """An evening of three hours in which something is marked about each second."""
    chance = random.Random(1)
    step = HOURS * 3_600_000 // (MARKS // 2)
    marks = []
    for number in range(MARKS // 2):
        t = number * step + chance.randrange(step // 4)
        code = chance.choice(["drumming", "vibration", "walking", "palp_probing", "insertion", "flees"])
        if code == "flees":
            marks += [event(code, t), event("touch", t + step // 3)]
        else:
            marks += state(code, t, t + step // 3)
    return recorded(folder, *marks, end=HOURS * 3_600_000)


def cut_lists(folder: Path) -> None:
    read = busy(folder)
    bouts, kept = read.fold.bouts, read.ethogram
    clip = Clip(folder / "film.mp4", HOURS * 3600.0, Fraction(30000, 1001), 0.0, 0.0, "one sync mark", ((0.0, 0.0),))
    base = median_s(lambda: [json.loads(line) for line in read.path.read_bytes().splitlines()])
    print(f"{read.fold.marks} marks, {HOURS} h of film; json.loads of its lines {base * 1000:.0f} ms")
    for told, options in (
        ("cut list", CutOptions(before_s=0.2, after_s=0.2, join_s=0.1)),
        ("cut list, waits at 8 times", CutOptions(before_s=0.2, after_s=0.2, join_s=0.1, speed=8)),
        ("cut list of at most 20 min", CutOptions(before_s=0.2, after_s=0.2, join_s=0.1, longest_s=1200)),
    ):
        found = cut_list(bouts, kept, [clip], options)
        seconds = median_s(lambda options=options: cut_list(bouts, kept, [clip], options))  # type: ignore[misc]
        print(f"{told}: {len(found.cuts)} cuts, {seconds * 1000:.0f} ms, x {seconds / base:.1f}")
        cues = median_s(lambda found=found: captions.captions(bouts, kept, found, Words()), 3)  # type: ignore[misc]
        print(f"  captions through it: {cues * 1000:.0f} ms, x {cues / base:.1f}")


SOUND = ("-c:a", "aac", "-b:a", "160k")


def bare(film: Path, cuts: CutList, out: Path) -> None:
    """Make the same cuts by one ffmpeg."""
    inputs: list[str] = []
    for cut in cuts.cuts:
        seek, span = cut.first / cuts.rate, (cut.end - cut.first) / cuts.rate
        inputs += ["-ss", f"{float(seek):.6f}", "-t", f"{float(span):.6f}", "-i", str(film)]
    pads = "".join(f"[{n}:v][{n}:a]" for n in range(len(cuts.cuts)))
    picture = ("-c:v", "libx264", "-preset", "fast", "-crf", "20", "-pix_fmt", "yuv420p")
    joined = f"{pads}concat=n={len(cuts.cuts)}:v=1:a=1[v][a]"
    ffmpeg(*inputs, "-filter_complex", joined, "-map", "[v]", "-map", "[a]", *picture, *SOUND, str(out))


def bare_copy(film: Path, cuts: CutList, out: Path) -> None:
    """Copy the same cuts by one ffmpeg, which is not exact: some frames too many come at each joint."""
    listed = "ffconcat version 1.0\n"
    for cut in cuts.cuts:
        first, end = (float(frame / cuts.rate) for frame in (cut.first, cut.end))
        listed += f"file {film.name}\ninpoint {first:.6f}\noutpoint {end:.6f}\n"
    (film.parent / "cuts.txt").write_text(listed)
    ffmpeg("-f", "concat", "-i", str(film.parent / "cuts.txt"), "-c:v", "copy", *SOUND, str(out))


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Return the seconds that passed, and the processor's seconds of all children."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    work()
    passed, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    return passed, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def compared(told: str, ours: tuple[float, float], base: tuple[float, float]) -> None:
    print(f"{told}: {ours[0]:.1f} s, bare ffmpeg {base[0]:.1f} s: x {ours[0] / base[0]:.2f}, ", end="")
    print(f"of the processor x {ours[1] / base[1]:.2f}")


def rendering(folder: Path) -> None:
    film = folder / "film.mp4"
    source_words = ("-f", "lavfi", "-i", f"testsrc2=rate=25:size=1280x720:duration={FILM_S}")
    sound_words = ("-f", "lavfi", "-i", f"sine=duration={FILM_S}")
    ffmpeg(*source_words, *sound_words, "-c:v", "libx264", "-preset", "ultrafast", "-g", "50", str(film))
    source = probe(film)
    clip = Clip(film, source.seconds, source.rate, 0.0, 0.0, "one sync mark", ((0.0, 0.0),))
    for count, length_s in ((3, 20), (20, 3)):
        onsets = [20_000 + number * 27_000 for number in range(count)]
        marks = [mark for t in onsets for mark in state("drumming", t, t + length_s * 1000)]
        read = recorded(folder, *marks, end=FILM_S * 1000, name=f"cuts-{count}")
        cuts = cut_list(read.fold.bouts, read.ethogram, [clip], CutOptions(before_s=0, after_s=0, join_s=1))
        exact_and_quick(folder, film, cuts, f"{count} cuts of {length_s} s")


def exact_and_quick(folder: Path, film: Path, cuts: CutList, told: str) -> None:
    sources = [probe(film)]
    wide = render.at_key_frames(cuts, sources)
    outs = [folder / f"{told[:2].strip()}-{name}.mp4" for name in ("exact", "bare", "quick", "copied")]
    exact, quick = render.RenderJob(cuts, sources, outs[0]), render.RenderJob(wide, sources, outs[2], quick=True)
    ours, base = timed(lambda: render.render(exact, lambda _: None)), timed(lambda: bare(film, cuts, outs[1]))
    compared(f"exact, {told}", ours, base)
    ours, base = timed(lambda: render.render(quick, lambda _: None)), timed(lambda: bare_copy(film, wide, outs[3]))
    compared(f"quick, {told}", ours, base)


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch:
        cut_lists(Path(scratch))
        rendering(Path(scratch))


if __name__ == "__main__":
    main()
