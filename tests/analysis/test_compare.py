"""Comparisons: permutation p against exhaustive enumeration, coin and scipy; degenerate designs in plain words."""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import etholog
from etholog.analysis import permutation
from etholog.analysis.compare import compare
from etholog.analysis.multiplicity import holm
from etholog.analysis.survival import log_rank, scores
from etholog.base.refusal import Refusal
from tests.analysis.published import THREE_MALES, remissions

TWO_GROUPS = pd.DataFrame(  # invented here; answers by R's coin 1.4-2, exact
    {
        "latency_s": [3, 5, 7, 12, 8, 11, 15, 20.0],
        "occurred": [True] * 7 + [False],
        "male": list("AAAABBBB"),
    }
)


def test_exact_p_of_two_groups_of_four() -> None:
    found = compare(TWO_GROUPS, by="male")
    np.testing.assert_allclose((found.statistic, found.p), (2.9693566932, 0.0848555922), rtol=1e-9)
    assert found.exact
    assert found.permutations == 70
    assert found.permutation_p == pytest.approx(8 / 70)  # coin; by chi-squared it would be 10/70


def test_exact_p_within_females() -> None:
    # Exhaustive within-female permutation in R: 6 of 6**4 = 1296 labellings.
    found = compare(THREE_MALES, by="male", within="female")
    assert (found.exact, found.permutations) == (True, 1296)
    assert found.permutation_p == pytest.approx(6 / 1296)
    assert found.smallest_p == pytest.approx(6 / 1296)
    assert found.table["median_s"].tolist() == [210, 240, 119]
    assert found.table["median_low_s"].tolist() == [95, 180, 60]
    assert found.table["median_high_s"].isna().all()


def test_the_exact_distribution_is_the_one_of_enumeration() -> None:
    time, occurred = THREE_MALES["latency_s"].to_numpy(), THREE_MALES["occurred"].to_numpy()
    label, one = np.repeat([0, 1, 2], 4), np.zeros(12, dtype=int)
    score = scores(time, occurred, one)
    found = permutation.test(score, label, one, 1, 0)
    observed = (np.bincount(label, weights=score) ** 2).sum()  # equal groups: u'V^-u ranks as the sum of squares
    hits = total = 0
    for first in itertools.combinations(range(12), 4):
        rest = [i for i in range(12) if i not in first]
        for second in itertools.combinations(rest, 4):
            own = np.full(12, 2)
            own[list(first)], own[list(second)] = 0, 1
            total += 1
            hits += bool((np.bincount(own, weights=score) ** 2).sum() >= observed - 1e-9)
    assert total == found.labellings == 34650
    assert found.p == pytest.approx(hits / total)
    # Ranked by R's chi-squared, which has another variance for each labelling, it would be 3336 of them: another
    # statistic. One variance for all is what makes two groups rank as |O - E|, and sums that can be convolved.
    assert hits == 2616


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 9), st.booleans(), st.booleans()), min_size=3, max_size=9), st.integers(1, 3))
def test_two_groups_convolved_are_two_groups_enumerated(rows: list[tuple[int, bool, bool]], strata: int) -> None:
    time, occurred, second = (np.array(column) for column in zip(*rows, strict=True))
    stratum, label = np.arange(len(rows)) % strata, second.astype(int)
    if len(set(label.tolist())) < 2 or not occurred.any():
        return
    score = scores(time.astype(float), occurred, stratum)
    inside = [np.flatnonzero(stratum == s) for s in range(strata)]
    mean = sum(score[own].mean() * label[own].sum() for own in inside)
    observed = abs(score[label == 1].sum() - mean)
    hits = total = 0
    for chosen in itertools.product(*(itertools.combinations(own, int(label[own].sum())) for own in inside)):
        picked = [i for part in chosen for i in part]
        total += 1
        hits += abs(score[picked].sum() - mean) >= observed - 1e-7
    found = permutation.test(score, label, stratum, 1, 0)
    assert (found.exact, found.labellings) == (True, total)
    assert found.p == pytest.approx(hits / total)


def test_too_many_groups_have_no_table_of_pairs() -> None:
    times = pd.DataFrame(
        {"latency_s": np.arange(82.0) + 1, "occurred": True, "male": [f"M{n // 2}" for n in range(82)]}
    )
    found = compare(times, by="male", permutations=200)
    assert found.pairs.empty
    assert "41 groups are too many" in found.sentence
    assert np.isfinite(found.permutation_p)


def test_two_males_that_share_m_females_cannot_get_below_two_in_two_to_the_m() -> None:
    for m, smallest in ((4, 0.125), (6, 0.03125)):
        times = pd.DataFrame(
            {
                "latency_s": np.arange(2 * m) + 1.0,
                "occurred": True,
                "male": ["A", "B"] * m,
                "female": np.repeat(np.arange(m), 2),
            }
        )
        found = compare(times, by="male", within="female")
        assert found.smallest_p == pytest.approx(smallest)
        assert found.permutation_p == pytest.approx(smallest)


def test_the_sign_test_is_the_exact_p_within_pairs() -> None:
    # 6-MP within pairs: 18 against 3 preferences, two-sided sign test (R).
    found = compare(remissions(), by="drug", within="pair")
    assert found.exact
    assert found.permutation_p == pytest.approx(0.00148963928, rel=1e-8)


def test_shuffles_come_near_the_exact_p_and_are_the_same_for_a_seed() -> None:
    time, occurred = THREE_MALES["latency_s"].to_numpy(), THREE_MALES["occurred"].to_numpy()
    label, stratum = np.repeat([0, 1, 2], 4), np.tile(np.arange(4), 3)
    times = pd.concat([THREE_MALES] * 6, ignore_index=True)
    assert permutation.distinct(label, stratum) == 1296
    one = compare(times, by="male", permutations=2000, seed=3)
    two = compare(times, by="male", permutations=2000, seed=3)
    assert not one.exact
    assert one.permutation_p == two.permutation_p
    assert one.permutation_error > 0
    score = scores(time, occurred, stratum)
    generator = np.random.default_rng(1)
    sums = permutation._random_sums(score, label, stratum, 3, 20_000, generator)
    # The mean of each sum over all labellings is known exactly: the stratum's mean score times the group's share.
    np.testing.assert_allclose(sums.mean(axis=0), 0.0, atol=0.05)


def test_scipys_permutation_test_agrees_within_balanced_blocks() -> None:
    from scipy.stats import permutation_test

    time = THREE_MALES["latency_s"].to_numpy().reshape(3, 4)
    occurred = THREE_MALES["occurred"].to_numpy().reshape(3, 4)
    stratum = np.tile(np.arange(4), 3)
    score = scores(time.reshape(-1), occurred.reshape(-1), stratum).reshape(3, 4)
    reference = permutation_test(
        tuple(score),
        lambda a, b, c: a.sum() ** 2 + b.sum() ** 2 + c.sum() ** 2,
        permutation_type="samples",
        alternative="greater",
        n_resamples=np.inf,
        vectorized=False,
    )
    assert compare(THREE_MALES, by="male", within="female").permutation_p == pytest.approx(reference.pvalue)


def test_holm_on_published_p_values() -> None:
    # R's p.adjust; statsmodels agrees. Benjamini & Hochberg 1995 (from memory): Holm rejects 3 of 15.
    np.testing.assert_allclose(holm(np.array([0.01, 0.04, 0.03, 0.005])), [0.03, 0.06, 0.06, 0.02])
    fifteen = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719]
    adjusted = holm(np.array([*fifteen, 0.6528, 0.7590, 1.0]))
    np.testing.assert_allclose(adjusted[:4], [0.0015, 0.0056, 0.0247, 0.1140], atol=1e-9)
    assert (adjusted < 0.05).sum() == 3


def test_gehans_count_of_ordered_pairs() -> None:
    # Gehan 1965 (from memory), recounted: of 441 pairs 335 have 6-MP longer, 64 placebo longer, 42 undecided.
    pairs = compare(remissions(), by="drug").pairs.iloc[0]
    assert (pairs["first"], pairs["second"]) == ("6-MP", "placebo")
    assert pairs["ordered_pairs"] == 335 + 64
    assert pairs["unordered_pairs"] == 42
    assert pairs["first_sooner"] == pytest.approx(64 / 399)


def test_restricted_mean_difference_on_6_mp() -> None:
    # Horizon 23 weeks, the shorter of the longest times: difference 9.242577, SE 2.0759 (from R's restricted means).
    found = compare(remissions(), by="drug")
    assert found.horizon_s == 23
    pair = found.pairs.iloc[0]
    assert pair["difference_s"] == pytest.approx(9.242577, abs=5e-7)
    assert (pair["difference_high_s"] - pair["difference_s"]) / 1.959964 == pytest.approx(2.0759, abs=1e-4)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"male": ["A"] * 12}, "Only one group"),
        ({"occurred": [False] * 12}, "never occurred"),
    ],
)
def test_nothing_to_compare_is_said_and_no_number_given(change: dict[str, list[object]], words: str) -> None:
    found = compare(THREE_MALES.assign(**change), by="male")
    assert words in found.sentence
    assert np.isnan(found.p)
    assert found.pairs.empty


def test_groups_never_at_risk_together_are_said_to_be_incomparable() -> None:
    times = THREE_MALES.assign(female=THREE_MALES["male"])
    found = compare(times, by="male", within="female")
    assert "can't be compared" in found.sentence
    assert np.isnan(found.p)
    assert np.isnan(found.permutation_p)


def test_a_wrong_column_is_refused_with_the_nearest() -> None:
    with pytest.raises(Refusal, match="did you mean 'male'"):
        compare(THREE_MALES, by="mal")


def test_the_public_name_is_this_one() -> None:
    assert etholog.compare is compare
    assert log_rank.__doc__
