"""How much of what moves a search of made films finds: `python -m tests.bench.film_search [--films FOLDER]`.

The films come from tests/film/enclosure.py, whose truth is known. Kinds above the line were looked at, with seeds 1 and
2, while the search was made; those below were not. In the same run stand what a user would pick instead: ffmpeg's own
scene score and freeze filter and the mean difference of pictures, each with the one threshold that finds most (chosen
with the truth!) while it removes 90 % of the dead time. All are joined and padded alike. A movement is found when half
of it lies in a stretch; beside it stands the share of dead time removed. Limits of recall are Wilson's, of false
stretches an hour exact (Poisson), at 95 %.
"""

import argparse
import os
import re
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from etholog.film import stretches
from etholog.film.activity import PER_S, Area, pictures
from etholog.film.preview import preview
from etholog.film.search import beside, search
from etholog.film.source import probe
from tests.film.enclosure import APART, TUNED, Scene, film, scene
from tests.film.making import ffmpeg

Spans = list[tuple[float, float]]
REMOVED = 0.9
FREEZE = (0.0003, 0.001, 0.002, 0.0025, 0.003, 0.0035, 0.004, 0.008, 0.016)


@dataclass
class Tally:
    """What one method did on the films of one kind."""

    found: int = 0
    of: int = 0
    kept_s: float = 0.0
    dead_s: float = 0.0
    false: int = 0
    missed: list[str] = field(default_factory=list)

    def told(self) -> str:
        return f"{shared(self.found, self.of)} {1 - self.kept_s / max(self.dead_s, 1):.3f}"

    def add(self, other: "Tally") -> None:
        for name in ("found", "of", "kept_s", "dead_s", "false", "missed"):
            setattr(self, name, getattr(self, name) + getattr(other, name))


def wilson(found: int, of: int) -> tuple[float, float]:
    limits = stats.binomtest(found, of).proportion_ci(method="wilson")
    return limits.low, limits.high


def judged(spans: Spans, truth: Scene) -> Tally:
    """Compare stretches with the truth; nothing within 1 s of a movement or 4 s of a disturbance is dead time."""
    tally = Tally()
    for m in truth.movements:
        covered = sum(max(0.0, min(b, m.offset) - max(a, m.onset)) for a, b in spans)
        tally.of += 1
        tally.found += covered >= m.seconds / 2
        if covered < m.seconds / 2:
            tally.missed.append(f"{m.kind} {m.share:.1%}")
    t = np.arange(0, truth.seconds, 0.05)
    dead = np.ones(len(t), bool)
    excused = [(m.onset - 1, m.offset + 1) for m in truth.movements]
    excused += [(a - 4, b + 4) for a, b in truth.disturbed.values()]
    for a, b in excused:
        dead[(t > a) & (t < b)] = False
    kept = np.zeros(len(t), bool)
    for a, b in spans:
        kept[(t >= a) & (t < b)] = True
    tally.kept_s, tally.dead_s = float((kept & dead).sum() * 0.05), float(dead.sum() * 0.05)
    tally.false = sum(not any(a < d and b > c for c, d in excused) for a, b in spans)
    return tally


def spans_of(flags: NDArray[np.bool_]) -> Spans:
    """Join and pad as the search does."""
    runs = stretches._runs(flags, round(stretches.JOIN_S * PER_S))
    return [(a / PER_S - stretches.PAD_S, b / PER_S + stretches.PAD_S) for a, b in runs]


def best(score: NDArray[np.float64], truth: Scene) -> Tally:
    """Return what the threshold does that finds most and removes enough."""
    tallies = [
        judged(spans_of(score >= level), truth) for level in np.unique(np.quantile(score, np.linspace(0.5, 1, 120)))
    ]
    return most_found(tallies, truth)


def most_found(tallies: list[Tally], truth: Scene) -> Tally:
    enough = [tally for tally in tallies if tally.kept_s <= (1 - REMOVED) * tally.dead_s]
    return max(enough or [judged([], truth)], key=lambda tally: (tally.found, -tally.kept_s))


def mean_difference(path: Path, truth: Scene) -> Tally:
    frames = np.concatenate(list(pictures(probe(path), Area()))).astype(np.int16)
    score = np.abs(np.diff(frames, axis=0)).mean(axis=(1, 2))
    return best(np.concatenate([score[:1], score]), truth)


def filters(path: Path, truth: Scene) -> tuple[Tally, Tally]:
    """Return what ffmpeg's scene score and its freeze filter do, both read from one decoding."""
    with tempfile.TemporaryDirectory() as folder:
        chain = [f"freezedetect=n={n}:d=1,metadata=print:file={at},metadata=delete" for at, n in enumerate(FREEZE)]
        chain.append("select='gte(scene\\,0)',metadata=print:key=lavfi.scene_score:file=scene")
        words = ["ffmpeg", "-v", "error", "-nostdin", "-i", str(path.absolute()), "-an", "-vf", ",".join(chain)]
        subprocess.run([*words, "-f", "null", "-"], cwd=folder, check=True)
        told = {name: (Path(folder) / name).read_text() for name in ("scene", *map(str, range(len(FREEZE))))}
    scores = np.zeros(round(truth.seconds * PER_S))
    for time, value in re.findall(r"pts_time:([\d.]+)\s+lavfi.scene_score=([\d.]+)", told["scene"]):
        at = min(len(scores) - 1, int(float(time) * PER_S))
        scores[at] = max(scores[at], float(value))
    frozen = []
    for number in range(len(FREEZE)):
        flags = np.ones(len(scores), bool)
        starts, ends = (
            [float(t) for t in re.findall(rf"freezedetect.freeze_{edge}=([\d.]+)", told[str(number)])]
            for edge in ("start", "end")
        )
        for a, b in zip(starts, [*ends, truth.seconds], strict=False):
            flags[int(a * PER_S) : int(b * PER_S)] = False
        frozen.append(judged(spans_of(flags), truth))
    return best(scores, truth), most_found(frozen, truth)


def anew(path: Path) -> list[stretches.Stretch]:
    beside(path).unlink(missing_ok=True)
    held = search(probe(path), Area(), None, lambda _: None)
    beside(path).unlink(missing_ok=True)
    return stretches.found(held.trace, held.shape)


def ours(path: Path, truth: Scene) -> Tally:
    found = anew(path)
    whole = judged([(s.onset_s, s.offset_s) for s in found], truth)
    moving = judged([(s.onset_s, s.offset_s) for s in found if s.why != stretches.REASONS[stretches.DISTURBED]], truth)
    moving.kept_s, moving.false = whole.kept_s, whole.false  # a disturbance that was none is false as well
    return moving


def path_of(folder: Path, kind: str, seed: int) -> Path:
    return folder / f"{kind.replace(' ', '-').replace(',', '')}-{seed}.mp4"


def recall(folder: Path, kinds: list[str], seeds: list[int]) -> None:
    print(f"{'film':22}{'search, own threshold':27}{'false an hour':19}", end="")
    print(f"{'mean difference, best':27}{'scene score, best':27}{'freeze filter, best':27}missed by the search")
    whole = Tally()
    for kind in kinds:
        if kind == next(iter(APART)):
            print("-" * 120)
        own, others = Tally(), [Tally(), Tally(), Tally()]
        for seed in seeds:
            path, truth = path_of(folder, kind, seed), scene(kind, seed)
            if not there(path, truth):
                continue
            own.add(ours(path, truth))
            if "--alone" in sys.argv:
                continue
            for tally, new in zip(others, (mean_difference(path, truth), *filters(path, truth)), strict=True):
                tally.add(new)
        if own.of:
            whole.add(own)
            told = "".join(f"{tally.told() if tally.of else '-':27}" for tally in others)
            print(f"{kind:22}{own.told():27}{an_hour(own):19}{told}{', '.join(own.missed)}", flush=True)
    if whole.of:
        print(f"{'all kinds':22}{whole.told():27}{an_hour(whole):19}over {whole.dead_s / 3600:.2f} h of dead time")


def an_hour(tally: Tally) -> str:
    """Return how many false stretches there were in an hour of dead time, with exact limits."""
    hours = tally.dead_s / 3600
    low = stats.chi2.ppf(0.025, 2 * tally.false) / 2 / hours if tally.false else 0.0
    high = stats.chi2.ppf(0.975, 2 * tally.false + 2) / 2 / hours
    return f"{tally.false / hours:.1f} ({low:.1f}-{high:.1f})"


def there(path: Path, truth: Scene) -> bool:
    """Whether the film is there, made now if need be; with --made none is made."""
    if not path.exists() and "--made" not in sys.argv:
        film(path, truth)
    return path.exists()


def previews(folder: Path, kinds: list[str], seeds: list[int]) -> None:
    """Print what a preview by key frames meets: any overlap counts, since it says no more than between which two."""
    print(f"{'film':22}{'walks':22}{'shakes':22}share of the film to look at")
    for kind in kinds:
        met: dict[str, list[bool]] = {"walk": [], "shake": []}
        kept_s = length_s = 0.0
        for seed in seeds:
            path, truth = path_of(folder, kind, seed), scene(kind, seed)
            if not there(path, truth):
                continue
            spans = preview(probe(path), Area())
            for m in truth.movements:
                met[m.kind].append(any(s.onset_s < m.offset and s.offset_s > m.onset for s in spans))
            kept_s += sum(s.offset_s - s.onset_s for s in spans)
            length_s += truth.seconds
        if length_s:
            told = "".join(f"{shared(sum(own), len(own)):22}" for own in met.values())
            print(f"{kind:22}{told}{kept_s / length_s:.2f}", flush=True)


def shared(found: int, of: int) -> str:
    low, high = wilson(found, of)
    return f"{found}/{of} ({low:.2f}-{high:.2f})"


def cpu_s(work: Callable[[], object]) -> float:
    """Return the processor's seconds of this process and its children."""

    def now() -> float:
        return sum(sum(resource.getrusage(who)[:2]) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))

    before = now()
    work()
    return now() - before


MEMORY = """
import resource, sys
from pathlib import Path
from etholog.film.search import Area, search
from etholog.film.source import probe
search(probe(Path(sys.argv[1])), Area(), None, lambda _: None)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024)
"""
COSTS = {"640x360": (60, "700k"), "1920x1080": (20, "5M")}  # seconds of film, bits a second
OVER = 5  # times each is repeated: what starting ffmpeg costs is not to hide what a film costs


def made(path: Path, size: str, rate: int, seconds: int, bits: str) -> Path:
    """Make a film of nothing but noise."""
    if not path.exists():
        noise = f"color=gray:size={size}:rate={rate}:duration={seconds},noise=alls=12:allf=t"
        ffmpeg("-f", "lavfi", "-i", noise, "-c:v", "libx264", "-preset", "veryfast", "-b:v", bits, str(path))
    return path


def cost(folder: Path) -> None:
    """Print the processor's time against a bare decoding of the same film, and the greatest memory."""
    for size, (seconds, bits) in COSTS.items():
        once = made(folder / f"cost-{size}.mp4", size, 25, seconds, bits)
        path, seconds = folder / f"cost-{size}-long.mp4", seconds * OVER
        ffmpeg("-stream_loop", str(OVER - 1), "-i", str(once), "-c", "copy", str(path))
        decode = ("-i", str(path), "-map", "0:v:0", "-f", "null", "-")
        bare, searched = [], []
        for _ in range(3):  # in turn, so that both meet the same load
            bare.append(cpu_s(lambda decode=decode: ffmpeg(*decode)))  # type: ignore[misc]
            searched.append(cpu_s(lambda path=path: anew(path)))  # type: ignore[misc]
        ratio = np.median(searched) / np.median(bare)
        told = f"{size}, 25 a second, {bits}, {seconds} s: x {ratio:.2f} of a bare decoding"
        spread = f"{min(bare):.1f} to {max(bare):.1f} s; a search {min(searched):.1f} to {max(searched):.1f} s"
        print(f"{told} ({spread}; load {os.getloadavg()[0]:.0f})")
    minute = made(folder / "minute.mp4", "320x180", 5, 60, "200k")
    for minutes in (5, 40):
        long = folder / f"long-{minutes}.mp4"
        ffmpeg("-stream_loop", str(minutes - 1), "-i", str(minute), "-c", "copy", str(long))
        done = subprocess.run([sys.executable, "-c", MEMORY, str(long)], capture_output=True, text=True, check=True)
        print(f"{minutes} min of film: at most {done.stdout.strip()} MiB beside ffmpeg's own", flush=True)
        beside(long).unlink(missing_ok=True)
        long.unlink()


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--films", type=Path, help="keep the films here, and take those that are there")
    asked.add_argument("--made", action="store_true", help="only films that are there already")
    asked.add_argument("--alone", action="store_true", help="without the methods to compare with, which take longest")
    asked.add_argument("--seeds", type=int, nargs="+", default=[2, 3])
    asked.add_argument("--kinds", nargs="+", default=[*TUNED, *APART])
    asked.add_argument("--preview", action="store_true", help="a preview by key frames instead")
    asked.add_argument("--cost", action="store_true", help="processor's time and memory instead")
    args = asked.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = args.films or Path(scratch)
        if args.cost:
            cost(folder)
        else:
            (previews if args.preview else recall)(folder, args.kinds, args.seeds)


if __name__ == "__main__":
    main()
