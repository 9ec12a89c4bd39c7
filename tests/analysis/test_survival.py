"""Curve, median, restricted mean and log-rank against published data, R's printed digits, statsmodels and scipy."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from etholog.analysis.logrank import chi_squared, log_rank, scores, statistic
from etholog.analysis.survival import common_horizon, jackknife, kaplan_meier, known_to, quantile, restricted_mean
from tests.analysis.published import (
    ASTROCYTOMA,
    CONCEPTION,
    GLIOBLASTOMA,
    MAINTAINED,
    NOT_MAINTAINED,
    PLACEBO,
    SIX_MP,
    THREE_MALES,
    censored,
    lung,
    remissions,
)

# R 4.2.2, survival 3.5-3, survfit(conf.type = "log-log"): time, at risk, events, share, se, low, high.
R_SIX_MP = """
6 21 3 0.857142857143 0.0763603548 0.6197179553 0.9515517476
7 17 1 0.806722689076 0.0869352852 0.5631465646 0.9228090192
10 15 1 0.752941176471 0.0963496530 0.5031995108 0.8893618352
13 12 1 0.690196078431 0.1068147078 0.4316102225 0.8490659633
16 11 1 0.627450980392 0.1140538653 0.3675108560 0.8049121895
22 7 1 0.537815126050 0.1282337517 0.2677789368 0.7467907176
23 6 1 0.448179271709 0.1345914568 0.1880520060 0.6801426285
"""


def test_the_curve_of_6_mp_is_rs_to_its_digits() -> None:
    curve = kaplan_meier(*censored(SIX_MP)).reset_index()
    expected = np.array([[float(x) for x in line.split()] for line in R_SIX_MP.strip().splitlines()])
    np.testing.assert_allclose(curve.to_numpy(), expected, atol=6e-11)


def test_the_curve_is_scipys() -> None:
    from scipy.stats import CensoredData, ecdf

    time, occurred = censored(SIX_MP)
    reference = ecdf(CensoredData(uncensored=time[occurred], right=time[~occurred])).sf
    curve = kaplan_meier(time, occurred)
    np.testing.assert_allclose(curve["share"], reference.evaluate(curve.index.to_numpy()), rtol=1e-12)
    limits = reference.confidence_interval(method="log-log")
    np.testing.assert_allclose(curve["low"], limits.low.evaluate(curve.index.to_numpy()), rtol=1e-9)
    np.testing.assert_allclose(curve["high"], limits.high.evaluate(curve.index.to_numpy()), rtol=1e-9)


def test_quartiles_with_log_log_limits_are_rs() -> None:
    six, placebo = kaplan_meier(*censored(SIX_MP)), kaplan_meier(*censored(PLACEBO))
    assert quantile(six, 0.25) == (13, 6, 22)
    median, low, high = quantile(six)
    assert (median, low) == (23, 13)
    assert np.isnan(high)  # not reached
    assert np.isnan(quantile(six, 0.75)[0])
    assert quantile(placebo) == (8, 4, 11)
    assert [quantile(placebo, q)[0] for q in (0.25, 0.75)] == [4, 12]


def test_months_to_conception() -> None:
    # Bland & Altman 1998, BMJ 317:1572 (data partly from memory; shares and limits computed with R's survival).
    curve = kaplan_meier(*censored(CONCEPTION))
    expected = [0.842105, 0.710526, 0.628543, 0.542832, 0.482517, 0.361888, 0.301573, 0.226180, 0.150787]
    assert list(curve.index) == [1, 2, 3, 4, 6, 9, 10, 13, 16]
    np.testing.assert_allclose(curve["share"], expected, atol=5e-7)
    assert quantile(curve) == (6, 3, 10)


@pytest.mark.parametrize(
    ("text", "horizon", "mean", "se"),
    [  # R: print(survfit(...), rmean = horizon)
        (SIX_MP, 35, 23.287394958, 2.827467623),
        (PLACEBO, 35, 8.6666667, 1.37739),
        (SIX_MP, 23, 17.909243697, 1.553189978),
        (SIX_MP, 20, 16.116526611, 1.251560196),
        (PLACEBO, 20, 8.428571429, 1.268082683),
    ],
)
def test_restricted_means_are_rs(text: str, horizon: float, mean: float, se: float) -> None:
    found = restricted_mean(*censored(text), horizon)
    np.testing.assert_allclose(found, (mean, se), rtol=1e-6)


def groups(frame: object, by: str, within: str | None) -> tuple[np.ndarray, ...]:
    import pandas as pd

    assert isinstance(frame, pd.DataFrame)
    stratum = pd.factorize(frame[within])[0] if within else np.zeros(len(frame), dtype=int)
    return (
        frame["latency_s"].to_numpy(float),
        frame["occurred"].to_numpy(bool),
        pd.factorize(frame[by], sort=True)[0],
        stratum,
    )


def test_log_rank_on_6_mp() -> None:
    # R, statsmodels and scipy agree: O, E, V, chi-squared, p.
    test = log_rank(*groups(remissions(), "drug", None))
    np.testing.assert_allclose(test.observed, [9, 21])
    np.testing.assert_allclose(test.expected, [19.25050095, 10.74949905], atol=5e-9)
    np.testing.assert_allclose(test.variance[0, 0], 6.256960574, atol=5e-10)
    np.testing.assert_allclose(test.statistic, 16.792940989, atol=5e-10)
    np.testing.assert_allclose(test.p, 4.168809109e-05, rtol=1e-9)


def test_log_rank_within_pairs_on_6_mp() -> None:
    test = log_rank(*groups(remissions(), "drug", "pair"))
    np.testing.assert_allclose(test.expected, [16.5, 13.5])
    np.testing.assert_allclose(test.statistic, 10.714285714, atol=5e-10)
    np.testing.assert_allclose(test.p, 0.001063114917, rtol=1e-9)


def test_the_variance_form_on_glioma_and_not_the_hand_form() -> None:
    # Bland & Altman 2004, BMJ 328:1073 (data from memory): the note's hand method gives 6.88, the variance form 7.4966.
    time, occurred = (np.concatenate(x) for x in zip(censored(ASTROCYTOMA), censored(GLIOBLASTOMA), strict=True))
    group = np.repeat([0, 1], [20, 31])
    test = log_rank(time, occurred, group, group * 0)
    np.testing.assert_allclose(test.observed, [14, 28])
    np.testing.assert_allclose(test.expected, [22.481156943, 19.518843057], atol=5e-10)
    by_hand = ((test.observed - test.expected) ** 2 / test.expected).sum()
    np.testing.assert_allclose(by_hand, 6.884727581, atol=5e-10)
    np.testing.assert_allclose(test.statistic, 7.496594169, atol=5e-10)
    np.testing.assert_allclose(test.p, 0.006182, atol=5e-7)


def test_leukaemia_with_and_without_maintenance() -> None:
    # R's survival on its aml: medians 31 and 23, log-log limits 13 to not reached and 5 to 33, means up to 45 weeks.
    kept, not_kept = censored(MAINTAINED), censored(NOT_MAINTAINED)
    np.testing.assert_equal(quantile(kaplan_meier(*kept)), (31, 13, np.nan))
    assert quantile(kaplan_meier(*not_kept)) == (23, 5, 33)
    np.testing.assert_allclose(restricted_mean(*kept, 45), (30.7386, 4.11409), rtol=2e-6)
    np.testing.assert_allclose(restricted_mean(*not_kept, 45), (22.7083, 4.18094), rtol=2e-6)
    time, occurred = (np.concatenate(x) for x in zip(kept, not_kept, strict=True))
    test = log_rank(time, occurred, np.repeat([0, 1], [11, 12]), np.zeros(23, dtype=int))
    np.testing.assert_allclose((test.statistic, test.p), (3.3963886989776, 0.0653393220405), rtol=1e-11)


def test_lung_cancer_by_sex_and_within_hospitals() -> None:
    # R's survival 3.5-3 on its lung: median 310, log-log limits 284 and 361; means up to 1,022 days; log-rank tests.
    patients = lung()
    assert (len(patients), patients["occurred"].sum(), patients["latency_s"].sum()) == (228, 165, 69593)
    time, occurred, sex, one = groups(patients, "sex", None)
    assert quantile(kaplan_meier(time, occurred)) == (310, 284, 361)
    assert [quantile(kaplan_meier(time[sex == g], occurred[sex == g])) for g in (0, 1)] == [
        (270, 210, 306),
        (426, 345, 524),
    ]
    for group, expected in enumerate([(326.08411, 22.911563), (460.64731, 34.689846)]):
        found = restricted_mean(time[sex == group], occurred[sex == group], 1022)
        np.testing.assert_allclose(found, expected, rtol=3e-8)
    plain = log_rank(time, occurred, sex, one)
    np.testing.assert_allclose(plain.expected, [91.581739, 73.418261], atol=5e-7)
    np.testing.assert_allclose((plain.statistic, plain.p), (10.3267419549, 0.00131116452), rtol=5e-10)
    within = log_rank(*groups(patients.dropna(subset="inst"), "sex", "inst"))  # of one the hospital is not known
    np.testing.assert_allclose((within.statistic, within.p), (8.5244673633, 0.00350403287), rtol=2e-9)
    np.testing.assert_allclose(within.variance, 34.2038692071 * np.array([[1, -1], [-1, 1]]), rtol=2e-12)


def test_two_groups_of_four() -> None:
    # Invented; R: O 4 and 3, E 2.0452380952 and 4.9547619048, U 1.9547619048, V 1.2868424036.
    time, occurred = censored("3 5 7 12 8 11 15 20+")
    test = log_rank(time, occurred, np.repeat([0, 1], 4), np.zeros(8, dtype=int))
    np.testing.assert_allclose(test.observed, [4, 3])
    np.testing.assert_allclose(test.expected, [2.0452380952, 4.9547619048], atol=5e-11)
    np.testing.assert_allclose(test.observed[0] - test.expected[0], 1.9547619048, atol=5e-11)
    np.testing.assert_allclose(test.variance[0, 0], 1.2868424036, atol=5e-11)
    np.testing.assert_allclose((test.statistic, test.p), (2.9693566932, 0.0848555922), atol=6e-11)


def test_groups_that_end_together_can_still_be_tested() -> None:
    # R's survdiff: 2.882352941, p .0895550744 (one group censored twice at 5, the other ends at 1 and 2).
    test = log_rank(*censored("5+ 5+ 1 2"), np.array([0, 0, 1, 1]), np.zeros(4, dtype=int))
    np.testing.assert_allclose((test.statistic, test.p), (2.882352941, 0.0895550744), atol=6e-10)


def test_one_session_has_a_median_and_no_limits() -> None:
    median, low, high = quantile(kaplan_meier(*censored("5")))
    assert median == 5
    assert np.isnan([low, high]).all()


def test_three_groups_with_and_without_strata() -> None:
    # Invented data; R's survdiff.
    plain = log_rank(*groups(THREE_MALES, "male", None))
    np.testing.assert_allclose(plain.expected, [3.53268, 4.87951, 1.58781], atol=5e-6)
    np.testing.assert_allclose((plain.statistic, plain.p), (5.9825845654, 0.0502224931), rtol=1e-9)
    within = log_rank(*groups(THREE_MALES, "male", "female"))
    np.testing.assert_allclose(within.expected, [10 / 3, 16 / 3, 4 / 3], atol=1e-9)
    np.testing.assert_allclose((within.statistic, within.p), (10.4, 0.0055165644), rtol=1e-8)


def test_a_group_that_ends_before_the_first_event_is_left_out_of_the_test() -> None:
    # R drops it (chi-squared 2.88, df 1, p .09); statsmodels raises there.
    time = np.array([1, 2, 3, 4, 5, 6.0])
    occurred = np.array([False, False, True, True, True, True])
    test = log_rank(time, occurred, np.repeat([0, 1, 2], 2), np.zeros(6, dtype=int))
    assert test.df == 1
    np.testing.assert_allclose((test.statistic, test.p), (2.88, 0.09), atol=0.005)


def test_no_event_gives_no_number() -> None:
    test = log_rank(np.array([1.0, 2.0]), np.array([False, False]), np.array([0, 1]), np.array([0, 0]))
    assert test.df == 0
    assert np.isnan(test.p)
    assert kaplan_meier(np.array([1.0]), np.array([False])).empty


samples = st.lists(
    st.tuples(st.integers(1, 12), st.booleans(), st.integers(0, 2), st.integers(0, 2)), min_size=6, max_size=40
)


@settings(max_examples=60, deadline=None)
@given(samples)
def test_log_rank_is_statsmodels_wherever_that_can_compute_it(rows: list[tuple[int, bool, int, int]]) -> None:
    from statsmodels.duration.survfunc import survdiff

    time, occurred, group, stratum = (np.array(column) for column in zip(*rows, strict=True))
    _, group = np.unique(group, return_inverse=True)
    if len(np.unique(group)) < 2:
        return
    ours = log_rank(time.astype(float), occurred, group, stratum)
    try:
        chi2, p = survdiff(time.astype(float), occurred.astype(int), group, strata=stratum)
    except (np.linalg.LinAlgError, ValueError, IndexError):
        return
    if ours.df < len(np.unique(group)) - 1:
        return
    np.testing.assert_allclose((ours.statistic, ours.p), (chi2, p), rtol=1e-6, atol=1e-9)


@settings(max_examples=60, deadline=None)
@given(samples)
def test_scores_add_up_to_observed_minus_expected(rows: list[tuple[int, bool, int, int]]) -> None:
    time, occurred, group, stratum = (np.array(column) for column in zip(*rows, strict=True))
    test = log_rank(time.astype(float), occurred, group, stratum)
    sums = np.bincount(group, weights=scores(time.astype(float), occurred, stratum), minlength=len(test.observed))
    np.testing.assert_allclose(sums, test.observed - test.expected, atol=1e-9)


def test_where_nothing_varied_there_is_no_standard_error() -> None:
    time, occurred = np.array([50.0, 60.0, 70.0]), np.array([True, True, False])
    mean, se = restricted_mean(time, occurred, 40)  # before the first event: all the same, and not for certain
    assert mean == 40
    assert np.isnan(se)
    assert np.isnan(restricted_mean(np.array([5.0]), np.array([True]), 40)[1])


def test_the_horizon_is_the_least_last_time_that_is_censored() -> None:
    six, placebo = censored(SIX_MP), censored(PLACEBO)
    assert common_horizon([six, placebo]) == 35  # placebo ended with an event at 23: known for ever
    assert common_horizon([placebo, censored("3 7")]) == 23  # all end with an event: the latest of them
    assert common_horizon([six, censored("3 7 9+")]) == 9
    assert common_horizon([censored("3 7 7+"), six]) == 7  # one had it at 7, the other did not
    assert known_to(*placebo, 99)
    assert known_to(*six, 35)
    assert not known_to(*six, 36)
    assert not known_to(*censored("3 7 7+"), 8)  # one of the last two goes on without it


def test_the_jackknife_leaves_out_each_in_turn() -> None:
    time = np.array([62.569, 141.251, 108.591, 152.964, 1600.0])
    variance = jackknife(time, np.array([True, True, True, True, False]), 900)
    mean, _ = restricted_mean(time, np.array([True, True, True, True, False]), 900)
    one_out = [restricted_mean(np.delete(time, i), np.delete([True] * 4 + [False], i), 900)[0] for i in range(5)]
    assert variance == pytest.approx(np.var(5 * mean - 4 * np.array(one_out), ddof=1) / 5)


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(samples)
def test_many_labellings_at_once_are_each_a_log_rank_test(rows: list[tuple[int, bool, int, int]]) -> None:
    time, occurred, group, stratum = (np.array(column) for column in zip(*rows, strict=True))
    k = int(group.max()) + 1
    if k < 2:
        return
    labels = np.random.default_rng(1).permuted(np.tile(group, (5, 1)), axis=1)
    ranked = statistic(time.astype(float), occurred, stratum, k)
    values = ranked.values(ranked.kernel(np.arange(len(time)))(labels))
    for own, value in zip(labels, values, strict=True):
        test = log_rank(time.astype(float), occurred, own, stratum)
        u = test.observed - test.expected
        pseudo = float(u @ np.linalg.pinv(test.variance, rcond=1e-9, hermitian=True) @ u)
        assert value[0] == pytest.approx(pseudo, abs=1e-6)
        assert np.linalg.matrix_rank(test.variance, tol=1e-9) == (test.df or 0)


def test_elimination_is_the_pseudo_inverse() -> None:
    half = np.array([[1.0, -1, 0, 0], [0, 1, -1, 0], [0, 0, 0, 0]])
    v, u = half @ half.T, np.array([1.0, -2, 0])
    found, rank = chi_squared(u[None], v[None])
    assert found[0] == pytest.approx(u @ np.linalg.pinv(v) @ u)
    assert rank[0] == 2
