"""The permutation statistic and its distribution against R's coin 1.4-2, `logrank_test` with mid-ranks."""

import itertools
from fractions import Fraction
from math import comb

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from etholog.analysis import permutation, welch
from etholog.analysis.logrank import scores
from tests.analysis.published import THREE_MALES, remissions


def coded(frame: pd.DataFrame, by: str, within: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Scores, labels and blocks: as coin has it, scores are those of all rows together, whatever the blocks."""
    time, occurred = frame["latency_s"].to_numpy(float), frame["occurred"].to_numpy(bool)
    label, block = (pd.factorize(frame[name], sort=True)[0] for name in (by, within))
    return scores(time, occurred, block * 0), label, block


def statistic(score: np.ndarray, label: np.ndarray, block: np.ndarray) -> float:
    ranked = permutation.fixed(score, label, block)
    return float(ranked.values(ranked.kernel(np.arange(len(label)))(label[None, :]))[0, 0])


@pytest.mark.slow
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


@pytest.mark.slow
def test_pairs(monkeypatch: pytest.MonkeyPatch) -> None:
    # coin on 6-MP with the pairs as blocks: z 3.35160173694; p 2.773e-04 from ten million shuffles.
    score, label, block = coded(remissions(), "drug", "pair")
    assert np.sqrt(statistic(score, label, block)) == pytest.approx(3.35160173694, abs=5e-12)
    monkeypatch.setattr(permutation, "_EXACT_WORK", 0)
    found = permutation.test(score, label, block, 400_000, 1)
    assert not found.exact
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


@pytest.mark.parametrize(("males", "sessions"), [(20, 10), (28, 10), (12, 8), (100, 3)])
def test_work_is_bounded_before_it_begins(males: int, sessions: int) -> None:
    # Sessions of many males at three places: each male's labellings are few, but not all of them together.
    generator = np.random.default_rng(4)
    stratum = np.repeat(np.arange(males), sessions)
    score, label = generator.normal(size=len(stratum)), generator.integers(0, 3, size=len(stratum))
    done = 0

    def counted(rows: np.ndarray) -> permutation.Kernel:
        own = plain.kernel(rows)

        def kernel(labels: np.ndarray) -> np.ndarray:
            nonlocal done
            done += labels.size
            return own(labels)

        return kernel

    plain = permutation.fixed(score, label, stratum)
    found = permutation.permute(permutation.Statistic(counted, plain.values, plain.cost), label, stratum, 2_000)
    assert (found.exact, found.labellings) == (False, 2_000)
    assert done * plain.cost < permutation._EXACT_WORK + plain.cost * (2_000 + 1) * len(stratum)


@pytest.mark.slow
def test_a_large_season_is_shuffled_less_often_and_says_so() -> None:
    generator = np.random.default_rng(4)
    label = generator.integers(0, 3, size=20_000)
    found = permutation.test(generator.normal(size=20_000), label, np.zeros(20_000, dtype=int), 10_000, 1)
    assert permutation.SHUFFLES_AT_LEAST == found.labellings < 10_000
    assert found.error > 0


def test_no_p_of_shuffles_is_0(monkeypatch: pytest.MonkeyPatch) -> None:
    """Phipson & Smyth 2010: the observed labelling is one of those that count."""
    monkeypatch.setattr(permutation, "_EXACT_WORK", 0)
    found = permutation.test(np.arange(60.0), np.repeat([0, 1], 30), np.zeros(60, dtype=int), 499)
    assert (found.exact, found.p, found.smallest_p) == (False, 1 / 500, 1 / 500)


def test_one_labelling_of_twenty_is_a_p_of_05_and_can_tell() -> None:
    label = np.repeat([0, 1], [1, 19])
    found = permutation.test(np.arange(20.0) ** 2, label[::-1], label * 0)
    assert (found.p, found.smallest_p, found.usable) == (0.05, 0.05, True)
    every = permutation.labellings(label, label * 0, 20, 0)
    assert len(every) == len(np.unique(every, axis=0)) == permutation.distinct(label, label * 0) == 20


def test_strata_that_look_alike_have_few_sums_together() -> None:
    # 21 pairs: 2 ** 21 labellings, and 22 sums.
    pair = np.array([[0.5], [-0.5]])
    assert permutation._merging([pair] * 21) == sum(2 * (before + 1) for before in range(21))
    assert permutation._merging([pair, np.array([[0.25], [-0.25]])]) == 2 + 2 * 2


def test_the_tails_of_an_exact_p_are_exact() -> None:
    # The largest of 6 v 6, all apart: two of the 924 labellings, and of three such strata 2 of 924 ** 3.
    score, label = np.arange(12.0), np.repeat([0, 1], 6)
    assert permutation.test(score, label, label * 0).p == pytest.approx(2 / 924, rel=1e-12)
    three = permutation.test(np.tile(score, 3), np.tile(label, 3), np.repeat([0, 1, 2], 12))
    assert three.exact
    assert three.p == pytest.approx(2 / 924**3, rel=1e-9)


def squared_t(score: list[int], label: tuple[int, ...]) -> Fraction:
    """Welch's t squared, in fractions; where no group varies, more than any other."""
    groups = [[Fraction(x) for x, own in zip(score, label, strict=True) if own == g] for g in (0, 1)]
    means = [sum(own, Fraction()) / len(own) for own in groups]
    squares = [sum(((x - m) ** 2 for x in own), Fraction()) for own, m in zip(groups, means, strict=True)]
    spread = sum((s / (len(own) - 1) / len(own) for s, own in zip(squares, groups, strict=True)), Fraction())
    away = (means[0] - means[1]) ** 2
    return away / spread if spread else 10**6 * away


@pytest.mark.slow
@pytest.mark.parametrize("unit", [1.0, 1 / 3, 1000.3, 1e-4])
@settings(max_examples=100, deadline=None)
@given(rows=st.lists(st.tuples(st.integers(0, 3), st.integers(0, 1), st.integers(0, 1)), min_size=5, max_size=8))
def test_welchs_p_is_the_share_of_all_labellings_however_alike_a_group_is(
    unit: float, rows: list[tuple[int, int, int]]
) -> None:
    """By going through all of them. Where a group does not vary, rounding once gave the observed one a value of its
    own, and an exact p of 0."""
    score, label, stratum = ([row[at] for row in rows] for at in range(3))
    assume(min(label.count(0), label.count(1)) >= 2)
    places = [[at for at, one in enumerate(stratum) if one == own] for own in sorted(set(stratum))]
    every = []
    for orders in itertools.product(*(set(itertools.permutations([label[at] for at in own])) for own in places)):
        moved = dict(zip(itertools.chain(*places), itertools.chain(*orders), strict=True))
        every.append(squared_t(score, tuple(moved[at] for at in range(len(label)))))
    own = squared_t(score, tuple(label))
    found = permutation.permute(
        welch.statistic(np.array(score) * unit, np.array(label)), np.array(label), np.array(stratum)
    )
    assert found.p == pytest.approx(sum(value >= own for value in every) / len(every))
    assert found.smallest_p == pytest.approx(sum(value == max(every) for value in every) / len(every))
