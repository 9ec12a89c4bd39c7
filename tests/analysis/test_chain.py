"""Order and homogeneity of chains against R's numbers and scipy."""

import numpy as np
import pytest

from etholog.analysis.chain import homogeneity, order
from tests.analysis.published import RAIN


def table(text: str) -> np.ndarray:
    return np.array([[float(x) for x in row.split()] for row in text.split("/")])


def test_three_males_with_an_empty_diagonal() -> None:
    # Invented tables; R: G2 26.25956994, X2 25.91401207 (p .05525), df 16.
    males = [
        table("0 14 3 5/6 0 12 2/3 2 0 10/9 4 1 0"),
        table("0 8 5 4/9 0 6 5/2 6 0 7/5 8 3 0"),
        table("0 16 2 3/4 0 15 1/2 1 0 12/10 2 2 0"),
    ]
    found = homogeneity(males)
    assert found.df == 16
    assert found.g2 == pytest.approx(26.25956994, abs=5e-9)
    assert found.x2 == pytest.approx(25.91401207, abs=5e-9)
    assert found.p == pytest.approx(0.05525, abs=5e-6)


def test_two_chains_of_six_states() -> None:
    # Kullback, Kupperman & Ku 1962, Technometrics 4:573-608, as in R's markovchain::kullback. R, row by row: G2
    # 160.9606003, with df 30 where every transition is possible. The one from the fourth state to the first was seen
    # in neither chain; taken for impossible, as here, it leaves 29, as scipy has it row by row.
    from scipy.stats import chi2_contingency

    one = table("22 11 24 2 2 7/5 23 15 3 42 6/4 21 190 25 20 34/0 2 14 56 14 28/32 15 20 10 56 14/5 22 31 18 13 134")
    other = table("3 6 9 3 0 8/1 9 3 12 27 5/2 9 208 32 5 18/0 14 32 108 40 40/22 14 9 26 224 14/1 5 13 53 13 116")
    found = homogeneity([one, other])
    assert found.g2 == pytest.approx(160.9606003, abs=5e-8)
    rows = [np.stack(pair) for pair in zip(one, other, strict=True)]
    reference = [chi2_contingency(row[:, row.sum(axis=0) > 0], correction=False) for row in rows]
    assert found.x2 == pytest.approx(sum(row.statistic for row in reference))
    assert found.df == sum(row.dof for row in reference) == 29


def seen(codes: np.ndarray) -> np.ndarray:
    counts = np.zeros((3, 3))
    np.add.at(counts, (codes[:-1], codes[1:]), 1)
    return counts


def test_rain_on_alofi_remembers_more_than_a_day_and_stays_the_same() -> None:
    # Computed in R from the tables (markovchain 0.9.1 has other df): order 0 against 1, 1 against 2, the two halves.
    days = np.array(list(RAIN), dtype=int)
    np.testing.assert_array_equal(seen(days), table("362 126 60/136 90 68/50 79 124"))
    none = order([days], 3, 0)
    assert (none.df, none.g2) == (4, pytest.approx(192.0735871, abs=5e-8))
    one = order([days], 3, 1)
    assert (one.df, one.g2, one.x2) == (12, pytest.approx(25.83701991, abs=5e-9), pytest.approx(26.09575165, abs=5e-9))
    assert one.p == pytest.approx(0.01040395, abs=5e-9)
    halves = homogeneity([seen(days[:549]), seen(days[548:])])
    assert (halves.df, halves.g2) == (6, pytest.approx(11.44949685, abs=5e-9))
    assert halves.x2 == pytest.approx(11.32011031, abs=5e-9)


def test_equal_tables_are_homogeneous() -> None:
    same = table("1 2 3/4 5 6/7 8 9")
    found = homogeneity([same, 2 * same])
    assert found.x2 == pytest.approx(0)
    assert found.p == pytest.approx(1)
    assert found.df == 6


def test_a_chain_without_memory_and_one_with() -> None:
    # A de Bruijn-like cycle in which every triple comes equally often has no memory at all: every statistic is 0.
    cycle = [0, 0, 0, 1, 0, 1, 1, 1]
    codes = np.array(cycle * 50 + cycle[:2])
    assert order([codes], 2, 1).g2 == pytest.approx(0, abs=1e-9)
    assert order([codes], 2, 1).df == 2
    assert order([codes], 2, 0).df == 1
    # One that goes on or turns by what came two steps before has second-order memory and no first-order memory.
    second = np.array([0, 0, 1, 1] * 100 + [0, 0])
    assert order([second], 2, 0).x2 == pytest.approx(0, abs=0.1)
    assert order([second], 2, 1).x2 == pytest.approx(len(second) - 2, rel=0.02)


def test_zero_order_is_scipys_table() -> None:
    from scipy.stats import chi2_contingency

    codes = np.random.default_rng(1).integers(0, 3, 400)
    counts = np.zeros((3, 3))
    np.add.at(counts, (codes[:-1], codes[1:]), 1)
    reference = chi2_contingency(counts, correction=False)
    found = order([codes], 3, 0)
    assert (found.x2, found.df, found.p) == (pytest.approx(reference.statistic), 4, pytest.approx(reference.pvalue))
