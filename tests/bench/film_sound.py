"""How many bursts of made drumming are heard: `python -m tests.bench.film_sound`.

The sounds come from tests/film/drumming.py. LEAST was chosen on seeds 1 to 4; those here were not looked at. Precision
and recall are of single strokes (within 30 ms) and of bursts; limits are Wilson's at 95 %. Handling and steps are not
among the noises: on real recordings expect more false bursts. No openly licensed recording of spiders comes with a
package, so none was heard.
"""

import argparse

import numpy as np
from scipy import signal, stats

from etholog.film.strokes import RATE, bursts, energies, onsets, strokes
from tests.film.drumming import RATE as MADE
from tests.film.drumming import drummed

SECONDS = 150.0


def share(hits: int, of: int) -> str:
    if not of:
        return "-"
    limits = stats.binomtest(hits, of).proportion_ci(method="wilson")
    return f"{hits / of:.2f} ({limits.low:.2f}-{limits.high:.2f})"


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--seeds", type=int, nargs="+", default=[11, 12, 13, 14])
    asked.add_argument("--more", type=float, default=1.0)
    args = asked.parse_args()
    heads = "".join(f"{head:20}" for head in ("strokes: precision", "recall", "bursts: precision", "recall"))
    print(f"{'noise':6}{'dB':>4}  {heads}rate heard/true")
    for noise in ("pink", "hum"):
        for ratio in (20, 15, 12, 9, 6):
            line(noise, ratio, args.seeds, args.more)


def line(noise: str, ratio: int, seeds: list[int], more: float) -> None:
    counts, rates = np.zeros(8, int), []
    for seed in seeds:
        sound, truth = drummed(seed, SECONDS, ratio, noise)
        slow = signal.resample_poly(sound.astype(float), RATE, MADE)
        at, strong = strokes(onsets(energies([slow])), more)
        heard = bursts(at, strong)
        true = np.array([stroke for drum in truth for stroke in drum.strokes])
        right = [any(b.onset_s < d.offset + 0.2 and b.offset_s > d.onset - 0.2 for d in truth) for b in heard]
        pairs = [(d, b) for d in truth for b in heard if b.onset_s < d.offset + 0.2 and b.offset_s > d.onset - 0.2]
        found = {id(d) for d, _ in pairs}
        counts += [
            sum(bool(np.abs(true - t).min() < 0.03) for t in at), len(at),
            sum(bool(np.abs(at - t).min(initial=9.0) < 0.03) for t in true), len(true),
            sum(right), len(heard), len(found), len(truth),
        ]  # fmt: skip
        rates += [b.rate / d.rate for d, b in pairs]
    told = [share(int(a), int(b)) for a, b in counts.reshape(4, 2)]
    middle = f"{np.median(rates):.2f}" if rates else "-"
    print(f"{noise:6}{ratio:>4}  " + "".join(f"{text:20}" for text in told) + middle, flush=True)


if __name__ == "__main__":
    main()
