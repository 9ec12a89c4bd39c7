"""Resampling whole clusters: against exhaustive enumeration, scipy, and the curves that the weights stand for."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etholog.analysis import bootstrap
from etholog.analysis.compare import compare
from etholog.analysis.pairs import sooner_later
from etholog.analysis.survival import restricted_mean
from tests.analysis.published import THREE_MALES, remissions


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


def test_clusters_are_drawn_whole_and_within_their_group() -> None:
    cluster, group = np.array([0, 0, 1, 2, 2, 3]), np.array([0, 0, 0, 1, 1, 1])
    drawn = np.concatenate(list(bootstrap.weights(cluster, group, 500, 1)))
    assert (drawn[:, 0] == drawn[:, 1]).all()
    assert (drawn[:, 3] == drawn[:, 4]).all()
    assert (drawn[:, 0] + drawn[:, 2] == 2).all()  # two clusters of the first group, two drawn
    crossing = np.concatenate(list(bootstrap.weights(np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1]), 500, 1)))
    assert (crossing[:, 0] == crossing[:, 1]).all()
    assert (crossing[:, 0] + crossing[:, 2] == 2).all()


rows = st.lists(st.tuples(st.integers(1, 9), st.booleans(), st.integers(0, 3)), min_size=1, max_size=12)


@settings(max_examples=100, deadline=None)
@given(rows)
def test_a_weighted_mean_is_the_mean_of_the_repeated_rows(drawn: list[tuple[int, bool, int]]) -> None:
    time, occurred, weight = (np.array(column) for column in zip(*drawn, strict=True))
    found = bootstrap.restricted_means(time.astype(float), occurred, weight[None, :].astype(float), 7.0)[0]
    if not weight.sum():
        assert np.isnan(found)
    else:
        again, _ = restricted_mean(np.repeat(time, weight).astype(float), np.repeat(occurred, weight), 7.0)
        assert found == pytest.approx(again)


@settings(max_examples=100, deadline=None)
@given(rows, rows)
def test_ordered_pairs_are_those_counted_one_by_one(
    first: list[tuple[int, bool, int]], second: list[tuple[int, bool, int]]
) -> None:
    sooner = later = 0
    for (ta, ea, _), (tb, eb, _) in product(first, second):
        sooner += ea and (ta < tb or (ta == tb and not eb))
        later += eb and (tb < ta or (ta == tb and not ea))
    (ta, ea, _), (tb, eb, _) = ([np.array(c) for c in zip(*side, strict=True)] for side in (first, second))
    assert sooner_later(ta.astype(float), ea, tb.astype(float), eb) == (sooner, later)


def test_limits_by_single_sessions_come_near_greenwoods() -> None:
    pair = compare(remissions(), by="drug").pairs.iloc[0]
    for end in ("low", "high"):
        assert pair[f"difference_resampled_{end}_s"] == pytest.approx(pair[f"difference_{end}_s"], abs=0.5)
    assert pair["first_sooner_low"] < pair["first_sooner"] < pair["first_sooner_high"]


def test_whole_males_are_drawn_where_groups_are_not_males() -> None:
    times = THREE_MALES.assign(species=["one"] * 8 + ["other"] * 4)
    found = compare(times, by="species")
    assert found.clusters == "male"
    assert "draw from only 3" in found.sentence
    assert "3 males and 4 females" in found.sentence
    assert compare(times, by="male").clusters == "session"
    # The other species is one male: drawn whole he is always the same, and only the two of the first vary.
    pair = found.pairs.iloc[0]
    means = [restricted_mean(*(p.to_numpy() for p in (part["latency_s"], part["occurred"])), found.horizon_s)[0]
             for part in (times[:4], times[4:8], times[8:])]  # fmt: skip
    np.testing.assert_allclose(pair["difference_resampled_low_s"], min(means[:2]) - means[2])
    np.testing.assert_allclose(pair["difference_resampled_high_s"], max(means[:2]) - means[2])
