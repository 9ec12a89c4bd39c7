"""Order and homogeneity of chains against R's numbers and scipy."""

import numpy as np
import pytest

from etholog.analysis.chain import homogeneity, order


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
