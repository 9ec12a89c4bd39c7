"""The permutation statistic and its distribution against R's coin 1.4-2, `logrank_test` with mid-ranks."""

from math import comb

import numpy as np
import pandas as pd
import pytest

from etholog.analysis import permutation
from etholog.analysis.survival import scores
from tests.analysis.published import THREE_MALES, remissions


def coded(frame: pd.DataFrame, by: str, within: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Scores, labels and blocks: as coin has it, scores are those of all rows together, whatever the blocks."""
    time, occurred = frame["latency_s"].to_numpy(float), frame["occurred"].to_numpy(bool)
    label, block = (pd.factorize(frame[name], sort=True)[0] for name in (by, within))
    return scores(time, occurred, block * 0), label, block


def statistic(score: np.ndarray, label: np.ndarray, block: np.ndarray) -> float:
    groups = int(label.max()) + 1
    sums = np.bincount(label, weights=score)[None, :]
    return float(permutation._form(sums, *permutation._moments(score, label, block, groups))[0])


def test_two_groups_of_twenty_one() -> None:
    # coin on 6-MP: z 3.90338657436; exact p 2.61200451823e-05, by van de Wiel's splitting of the sample.
    score, label, block = coded(remissions(), "drug", "pair")
    assert np.sqrt(statistic(score, label, block * 0)) == pytest.approx(3.90338657436, abs=5e-12)

    def sums(own: np.ndarray) -> list[np.ndarray]:
        total, size = np.zeros(1), np.zeros(1, dtype=int)
        for one in own:
            total, size = np.concatenate([total, total + one]), np.concatenate([size, size + 1])
        return [np.sort(total[size == many]) for many in range(len(own) + 1)]

    # Scores add up to nothing, so as far on either side is as much in size.
    far = abs(score[label == 0].sum()) - 1e-9
    hits = 0
    for first, second in zip(sums(score[:21]), reversed(sums(score[21:])), strict=True):
        hits += int((len(second) - np.searchsorted(second, far - first)).sum())
        hits += int(np.searchsorted(second, -far - first, side="right").sum())
    assert hits / comb(42, 21) == pytest.approx(2.61200451823e-05, rel=1e-11)


def test_pairs() -> None:
    # coin on 6-MP with the pairs as blocks: z 3.35160173694; p 2.773e-04 from ten million shuffles.
    score, label, block = coded(remissions(), "drug", "pair")
    assert np.sqrt(statistic(score, label, block)) == pytest.approx(3.35160173694, abs=5e-12)
    found = permutation.shuffled(score, label, block, 400_000, 1)
    assert found.p == pytest.approx(2.773e-04, abs=4 * found.error)


@pytest.mark.parametrize(
    ("blocked", "expected", "low", "high"),
    [  # coin: the quadratic statistic, and 99 % limits of p from a million shuffles
        (True, 6.47252698481, 0.00450998, 0.00486275),
        (False, 4.69271595179, 0.07490762, 0.07627041),
    ],
)
def test_three_groups(blocked: bool, expected: float, low: float, high: float) -> None:
    score, label, block = coded(THREE_MALES, "male", "female")
    block = block * blocked
    assert statistic(score, label, block) == pytest.approx(expected, abs=5e-12)
    found = permutation.test(score, label, block, 1, 0)
    assert found.exact
    assert low < found.p < high
