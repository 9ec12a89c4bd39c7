"""Resampling whole clusters: against exhaustive enumeration and scipy."""

import numpy as np

from etholog.analysis import bootstrap


def test_all_resamples_of_three_males() -> None:
    # Invented: sacs of pairings 3/5, 1/6, 4/4. All 27 resamples of whole males; quantiles of type 7 (R's default):
    # .2495098039 and .9, where Wilson's limits, blind to the males, would be .301 to .752.
    sacs, pairings = np.array([3, 1, 4.0]), np.array([5, 6, 4.0])
    times = bootstrap.draws(3)
    assert len(times) == 27
    ratios = np.sort((times @ sacs) / (times @ pairings))
    told = [1 / 6, *[5 / 17] * 3, *[3 / 8] * 3, *[7 / 16] * 3, *[8 / 15] * 6, *[3 / 5], *[9 / 14] * 3, *[5 / 7] * 3]
    np.testing.assert_allclose(ratios, [*told, *[11 / 13] * 3, 1], rtol=1e-12)
    assert len(np.unique(times, axis=0)) == 10
    found = bootstrap.ratio_limits(sacs, pairings, np.arange(3))
    np.testing.assert_allclose(found, (0.2495098039, 0.9), atol=5e-11)


def test_single_rows_are_scipys_bootstrap() -> None:
    from scipy.stats import bootstrap as scipys

    values = np.random.default_rng(5).gamma(2, 30, size=25)
    reference = scipys((values,), np.mean, n_resamples=20_000, method="percentile", rng=1).confidence_interval
    found = bootstrap.ratio_limits(values, np.ones(25), np.arange(25), resamples=20_000)
    np.testing.assert_allclose(found, (reference.low, reference.high), rtol=0.01)


def test_one_cluster_has_no_limits() -> None:
    assert np.isnan(bootstrap.ratio_limits(np.ones(4), np.ones(4), np.zeros(4, dtype=int))).all()
