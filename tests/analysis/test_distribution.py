"""Tails and quantiles, compared with scipy's (cephes and Boost behind it)."""

import numpy as np
import pytest
from scipy import special

from etholog.analysis.distribution import LARGE, chi_squared_tail, normal_quantile, normal_tails, t_quantile

DFS = [1, 1.0001, 1.3, 2, 2.5, 3, 4.7, 10, 33.3, 120, LARGE, LARGE + 1e-6, 9999, 1e6, 1e12]


@pytest.mark.parametrize("p", [0.5, 0.6, 0.9, 0.95, 0.975, 0.99])
def test_quantiles_of_students_t_are_scipys(p: float) -> None:
    found = [t_quantile(p, df) for df in DFS]
    # The oldest scipy allowed (1.15) inverts to 2e-11 only; against later ones it is 3e-12.
    np.testing.assert_allclose(found, special.stdtrit(np.array(DFS), p), rtol=1e-10, atol=1e-14)
    np.testing.assert_allclose(normal_quantile(p), special.ndtri(p), rtol=1e-14, atol=1e-15)


@pytest.mark.parametrize("df", [0.0, -1.0, 0.9, np.nan])
def test_without_a_degree_of_freedom_there_is_no_quantile(df: float) -> None:
    assert np.isnan(t_quantile(0.975, df))


@pytest.mark.parametrize("df", [1, 2, 3, 4, 5, 10, 31, 100, 999])
def test_tails_of_chi_squared_are_scipys_to_their_last_digits(df: int) -> None:
    statistics = np.array([0.0, 1e-9, 0.01, 0.5, 3.84, 10.0, 30.0, 100.0, 700.0, 1400.0])
    found = [chi_squared_tail(float(statistic), df) for statistic in statistics]
    np.testing.assert_allclose(found, special.chdtrc(df, statistics), rtol=1e-11)
    assert np.isnan(chi_squared_tail(np.nan, df))
    assert np.isnan(chi_squared_tail(1.0, 0))


def test_both_tails_of_the_normal_are_scipys_far_out_too() -> None:
    z = np.array([[0.0, 1.0, -1.96], [8.0, -20.0, 37.0]])
    np.testing.assert_allclose(normal_tails(z), 2 * special.ndtr(-np.abs(z)), rtol=1e-12)
    assert np.isnan(normal_tails(np.array([np.nan]))).all()
