"""Measure `plan` for groups of 300 and 3,000 animals, time by the wall and on the processor, and memory, against one
inverse of a matrix of that size, with the load of the machine: `python -m tests.bench.group [ANIMALS ...]`."""

import os
import random
import resource
import sys
import time
from datetime import date
from pathlib import Path

import numpy as np

from etholog.analysis.kin import kin
from etholog.analysis.plan import plan
from etholog.animals import Animals
from etholog.animals.card import Card, Entry
from etholog.animals.pedigree import Parents
from etholog.base.dates import Day
from etholog.ethogram import at_hand

TODAY = date(2026, 3, 1)


def group(count: int) -> Animals:
    """Return a made group: six generations, one in ten of an unsure sire."""
    chance = random.Random(1)
    cards: dict[str, Card] = {}
    size = count // 6
    for n in range(count):
        generation = min(n // size, 5)
        her = n % 2 == 0
        told = [("sex", "2020", "female" if her else "male"), ("species", "2020", "Brachypelma smithi")]
        told.append(("moult", "2025-12-01", "" if her else "last"))
        if generation:
            before = [*range((generation - 1) * size, generation * size)]
            dam = chance.choice([one for one in before if one % 2 == 0])
            sires = chance.sample([one for one in before if one % 2], 2 if chance.random() < 0.1 else 1)
            told += [("dam", "2020", f"A-{dam}"), ("sire", "2020", " or ".join(f"A-{one}" for one in sires))]
        entries = tuple(Entry(i, kind, Day.parse(on), words=words) for i, (kind, on, words) in enumerate(told, 1))
        cards[f"A-{n}"] = Card(Path(f"A-{n}.jsonl"), f"A-{n}", entries, names=(f"A-{n}",))
    return Animals(Path(), cards)


def seconds(do: object) -> tuple[float, float]:
    """Return how long it takes, by the wall and on the processor."""
    began, used = time.perf_counter(), time.process_time()
    do()  # type: ignore[operator]
    return time.perf_counter() - began, time.process_time() - used


def main() -> None:
    for count in [int(word) for word in sys.argv[1:]] or [300, 3000]:
        known = group(count)
        matrix = np.eye(count) + np.random.default_rng(1).random((count, count)) / count
        base = seconds(lambda matrix=matrix: np.linalg.inv(matrix))
        parents: dict[str, Parents] = known.parents
        table = seconds(lambda known=known, parents=parents: kin([*known.cards], parents))
        whole = seconds(lambda known=known: plan(known, at_hand(Path()), TODAY))
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{count:,} animals, by the wall (on the processor): kinship table {table[0]:.2f} ({table[1]:.2f}) s,"
            f" x{table[1] / base[1]:.0f} of one inverse of its size; plan {whole[0]:.2f} ({whole[1]:.2f}) s,"
            f" x{whole[1] / base[1]:.0f}; peak so far {peak:.0f} MiB; load {os.getloadavg()[0]:.1f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
