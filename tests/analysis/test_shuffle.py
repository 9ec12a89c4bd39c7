"""Shuffles within sequences against exhaustive enumeration."""

import itertools
from math import factorial

import numpy as np
import pytest

from etholog.analysis import shuffle

LETTERS = "DPIR"
NO_REPEATS = np.eye(4, dtype=bool)
ANY = np.zeros((4, 4), dtype=bool)


def coded(sequence: str) -> np.ndarray:
    return np.array([LETTERS.index(letter) for letter in sequence])


def enumerated(sequence: str, repeats: bool) -> dict[int, int]:
    """How many distinct orders have how many P right after D."""
    orders = set(itertools.permutations(sequence))
    counts: dict[int, int] = {}
    for order in orders:
        if repeats or all(a != b for a, b in itertools.pairwise(order)):
            times = "".join(order).count("DP")
            counts[times] = counts.get(times, 0) + 1
    return counts


@pytest.mark.parametrize(
    ("sequence", "repeats", "counts"),
    [  # invented sequences, all orders counted
        ("DPIDPIDPR", True, {0: 1200, 1: 2700, 2: 1080, 3: 60}),
        ("DPIDPIDPR", False, {0: 46, 1: 378, 2: 372, 3: 40}),
        ("DPDPDPIR", True, {0: 200, 1: 600, 2: 300, 3: 20}),
    ],
)
def test_shuffles_come_near_the_exhaustive_share(sequence: str, repeats: bool, counts: dict[int, int]) -> None:
    assert enumerated(sequence, repeats) == counts
    share = counts[3] / sum(counts.values())
    shuffles = 20_000
    found = shuffle.within([coded(sequence)], 4, ANY if repeats else NO_REPEATS, shuffles, seed=2)
    assert found.counts[0, 1] == 3
    assert abs(found.more[0, 1] - share) < 4 * np.sqrt(share / shuffles)
    mean = sum(times * many for times, many in counts.items()) / sum(counts.values())
    assert found.mean[0, 1] == pytest.approx(mean, abs=0.02)


def test_without_repeats_every_order_comes_as_often() -> None:
    orders = {o for o in itertools.permutations([0, 1, 0, 1, 2]) if all(a != b for a, b in itertools.pairwise(o))}
    drawn = shuffle._without(np.array([0, 1, 0, 1, 2]), np.eye(4, dtype=bool), 24_000, np.random.default_rng(4))
    seen, times = np.unique(drawn, axis=0, return_counts=True)
    assert {tuple(order) for order in seen.tolist()} == orders
    assert len(orders) == 12 < factorial(5)
    assert np.abs(times - 2000).max() < 5 * np.sqrt(2000)


def test_what_cannot_follow_does_so_in_no_shuffle() -> None:
    # D is never followed by I, nor anything by itself: all such orders of an invented sequence, counted.
    barred = NO_REPEATS.copy()
    barred[LETTERS.index("D"), LETTERS.index("I")] = True
    sequence = "DPIDPRIDP"
    kept = {
        order
        for order in set(itertools.permutations(sequence))
        if not any(a == b or a + b == "DI" for a, b in itertools.pairwise(order))
    }
    times = np.array(["".join(order).count("DP") for order in kept])
    found = shuffle.within([coded(sequence)], 4, barred, 20_000, seed=3)
    # The mean counts the sequence itself as one more.
    assert found.mean[barred].max() == 0
    assert found.mean[0, 1] == pytest.approx(times.mean(), abs=0.02)
    share = float((times >= 3).mean())
    assert abs(found.more[0, 1] - share) < 4 * np.sqrt(share / 20_000)


def test_sequences_are_shuffled_apart() -> None:
    # Each sequence holds only one of the two: no shuffle within them can bring them together.
    found = shuffle.within([np.zeros(5, dtype=int), np.ones(5, dtype=int)], 2, ANY[:2, :2], 200)
    assert found.more[0, 1] == 1.0
    assert found.p_whole == 1.0


def test_p_is_two_sided_and_the_same_for_a_seed() -> None:
    run = coded("DPDPDPDPDPIRIRIRIR")
    one, two = (shuffle.within([run], 4, ANY, 999, seed=7) for _ in range(2))
    assert (one.p == two.p).all()
    assert one.p[0, 1] < 0.05  # more often
    assert one.p[0, 2] > one.p[0, 1]
    assert one.p_whole < 0.01
    assert one.p.max() <= 1
