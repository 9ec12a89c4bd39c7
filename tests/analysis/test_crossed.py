"""Limits of medians, shares and rates over males crossed with females.

The figures of the first two tests were computed by a second program, written apart from this one, from the same
published formulas; the plain forms written out here are a third.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from etholog.analysis import crossed
from etholog.analysis.crossed import crossing
from tests.analysis.published import remissions


def bouts() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Invented: 60 bouts of 6 males with 5 females; every ninth is cut."""
    i = np.arange(60)
    male, female = i % 6, (i // 6 + i % 6) % 5
    time = np.round(10 * np.exp(0.4 * np.sin(2 * male) + 0.2 * np.cos(3 * female) + 0.7 * np.sin(1.7 * i)), 3)
    return time, 7 * i % 9 != 0, male, female


def sessions() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Invented: 24 sessions of 6 males with 7 females: events, and the time watched."""
    i = np.arange(24)
    male, female = i % 6, (i // 6 + 2 * (i % 6)) % 7
    below = np.round(1 + 0.5 * np.sin(1.3 * i), 3)
    above = np.round(4 * below * np.exp(0.5 * np.sin(2 * male) + 0.3 * np.cos(3 * female) + 0.3 * np.sin(2.1 * i)))
    assert above.tolist() == [5, 16, 3, 3, 4, 2, 5, 7, 1, 3, 14, 4, 6, 6, 2, 3, 9, 2, 2, 5, 4, 7, 9, 1]
    return above, below, male, female


def test_the_median_and_its_limits() -> None:
    time, ended, male, female = bouts()
    found = crossed.median(time, ended, crossing(male, female))
    assert (round(found.value, 3), round(found.low, 3), round(found.high, 3)) == (11.216, 7.050, 20.565)
    assert (found.males, found.females, found.why) == (6, 5, "")


def test_the_rate_and_that_of_the_typical_male() -> None:
    above, below, male, female = sessions()
    pooled = crossed.ratio(above, below, male, female, "log")
    assert pooled.value == pytest.approx(123 / 24.062)
    # The plain two-way limits are 2.6796724 to 9.7513574; by leverage they are a little wider.
    who = crossing(male, female)
    variance = crossed._variance(who.sums((above - pooled.value * below) / below.sum()), who)
    half = np.exp(stats.t.ppf(0.975, 5) * np.sqrt(variance) / pooled.value)
    np.testing.assert_allclose([pooled.value / half, pooled.value * half], [2.6796724, 9.7513574], atol=1e-7)
    assert pooled.low < 2.6796724
    assert pooled.high > 9.7513574
    typical = crossed.typical(*sessions())
    np.testing.assert_allclose([typical.value, typical.low, typical.high], [4.5793714, 2.4402946, 8.5934879], atol=6e-8)


def plain_squares(influence: np.ndarray, cluster: np.ndarray) -> float:
    sums = [influence[cluster == one].sum() for one in np.unique(cluster)]
    return len(sums) / (len(sums) - 1) * float(np.square(sums).sum())


def test_a_share_is_the_formula_written_out() -> None:
    above, below, male, female = sessions()
    below = below * 20
    r = above.sum() / below.sum()
    u = (above - r * below) / below.sum()
    one = plain_squares(u, male)
    v = max(one, one + plain_squares(u, female) - plain_squares(u, male * 10 + female))
    half = stats.t.ppf(0.975, 5) * np.sqrt(v) / (r * (1 - r))
    found = crossed.ratio(above, below, male, female, "logit")
    odds = np.log(r / (1 - r)) + np.array([-half, half])
    np.testing.assert_allclose([found.low, found.high], stats.logistic.cdf(odds))


def test_rows_of_one_animal_are_worth_fewer() -> None:
    _, _, male, female = sessions()
    came = male % 3 == 0
    p, n = came.mean(), len(came)
    u = (came - p) / n
    one = plain_squares(u, male)
    v = max(one, one + plain_squares(u, female) - plain_squares(u, male * 10 + female))
    assert crossed.design_effect(came, male, female) == pytest.approx(v / (p * (1 - p) / n))
    # Kish 1965: m rows of each of many animals that are all alike are worth one.
    many = np.arange(4_000)
    whole = crossed.design_effect(many // 4 % 2 == 0, many // 4, np.full(4_000, -1))
    assert whole == pytest.approx(4, rel=0.01)
    assert crossed.design_effect(many % 2 == 0, many, np.full(4_000, -1)) == pytest.approx(1, rel=0.01)
    assert crossed.design_effect(np.ones(4, dtype=bool), np.zeros(4, dtype=int), np.zeros(4, dtype=int)) == 1
    assert crossed.design_effect(many % 4 < 2, many // 4, np.full(4_000, -1)) == 1  # less alike than chance: not more


def test_one_bout_a_male_is_the_published_curve() -> None:
    # 6-MP (Freireich et al. 1963), as R's KMsurv has it: median 23. One bout each, so that weights are alike.
    drug = remissions().query("drug == '6-MP'")
    males = np.arange(len(drug))
    found = crossed.median(drug["latency_s"].to_numpy(), drug["occurred"].to_numpy(), crossing(males, males % 7))
    assert found.value == 23


def test_males_weigh_alike_however_many_bouts_they_have() -> None:
    time = np.array([1.0] * 100 + [10.0, 10.0, 20.0, 30.0, 40.0])
    male = np.array([0] * 100 + [1, 2, 3, 4, 5])
    found = crossed.median(time, np.ones(105, dtype=bool), crossing(male, np.arange(105) % 5))
    assert found.value == 15.0  # half of the males at 10 s or less: the middle of the flat


def test_too_few_animals_have_no_limits_and_the_row_says_why() -> None:
    time, ended, male, female = bouts()
    for males, females, why in (
        (1, 5, "one male"),
        (4, 5, "4 males, and it takes 5"),
        (6, 3, "3 females, and it takes 4"),
    ):
        found = crossed.median(time, ended, crossing(male % males, female % females))
        assert np.isnan([found.low, found.high]).all()
        assert found.why == why
    above, below, male, female = sessions()
    assert crossed.ratio(above, below, male % 3, female, "log").why == "3 males, and it takes 4"
    assert crossed.typical(above, below, male % 3, female).why == "3 males, and it takes 4"
    assert crossed.ratio(above * 0, below, male, female, "log").why == "it never came"
    assert crossed.ratio(below, below, male, female, "logit").why == "it took all the time"


def test_one_female_or_unnamed_ones_leave_the_males_and_say_so() -> None:
    above, below, male, female = sessions()
    one = crossed.ratio(above, below, male, female * 0, "log")
    unnamed = crossed.ratio(above, below, male, np.where(female == 2, -1, female), "log")
    assert one.note == unnamed.note == "for these females only"
    np.testing.assert_allclose([one.low, one.high], [unnamed.low, unnamed.high])
    assert one.low < one.value < one.high
    assert (one.females, unnamed.females) == (1, 0)


def test_each_male_with_his_female_is_told() -> None:
    above, below, male, _ = sessions()
    own = np.where(np.arange(24) < 18, male, (male + 1) % 6)
    assert crossed.ratio(above, below * 20, male, own, "logit").note == "males and females cannot be told apart"
    assert crossed.ratio(above, below * 20, male, (male + np.arange(24) // 6) % 6, "logit").note == ""


@pytest.mark.parametrize(
    ("met", "apart"),
    [
        ("Aa Aa Ab Ac Ba Bb", False),  # half of one's sessions are not more than half
        ("Aa Aa Aa Ab Ba Bb", True),  # one male of two
        ("Aa Aa Aa Ab Ba Bb Ca Cb", False),  # one of three
        ("Aa Aa Aa Ab Ba Bb Ca Db", True),  # who came once says nothing
        ("Aa Ba Cb Db", False),
        ("Aa Aa Ba Ba", False),  # one female alone
    ],
)
def test_when_males_and_females_cannot_be_told_apart(met: str, apart: bool) -> None:
    male, female = (np.array([ord(pair[at]) for pair in met.split()]) for at in (0, 1))
    assert crossed.inseparable(crossing(male, female)) == apart


def test_who_was_not_watched_at_all_is_nobody() -> None:
    above, below, male, female = sessions()
    for of in (lambda *rows: crossed.ratio(*rows, "log"), crossed.typical):
        more = of(np.append(above, 0), np.append(below, 0.0), np.append(male, 9), np.append(female, 9))
        assert more == of(above, below, male, female)


def test_females_that_even_out_do_not_narrow_the_limits() -> None:
    """The larger of the two variances, where the two-way difference would be negative (Cameron, Gelbach & Miller)."""
    male, female = np.repeat(np.arange(6), 4), np.tile(np.arange(4), 6)
    above, below = np.where((male + female) % 2, 3.0, 1.0), np.full(24, 10.0)
    above += male == 0  # females are alike, pairs are not
    found = crossed.ratio(above, below, male, female, "logit")
    value = above.sum() / 240
    males = plain_squares((above - 10 * value) / 240, male)
    half = stats.t.ppf(0.975, 3) * np.sqrt(males) / (value * (1 - value))
    odds = np.log(value / (1 - value)) + np.array([-half, half])
    np.testing.assert_allclose([found.low, found.high], stats.logistic.cdf(odds))


row = st.tuples(st.integers(1, 6), st.booleans(), st.integers(0, 5), st.integers(0, 5))


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(st.lists(row, min_size=1, max_size=40))
def test_limits_hold_the_estimate_and_never_have_width_0(drawn: list[tuple[int, bool, int, int]]) -> None:
    time, ended, male, female = (np.array(column) for column in zip(*drawn, strict=True))
    who = crossing(male, female)
    found = [
        crossed.median(time.astype(float), ended, who),
        crossed.ratio(ended.astype(float), time.astype(float), male, female, "log"),
        crossed.ratio(ended.astype(float), time.astype(float), male, female, "logit"),
        crossed.typical(ended.astype(float), time.astype(float), male, female),
    ]
    for one in found:
        assert bool(one.why) == bool(np.isnan(one.low) and np.isnan(one.high)) or np.isnan(one.value)
        if not np.isnan(one.low):
            assert one.low <= one.value or np.isnan(one.value)
        if not np.isnan(one.high):
            assert one.value <= one.high
            assert one.low < one.high


def test_many_ends_are_searched_as_few_are(monkeypatch: pytest.MonkeyPatch) -> None:
    generator = np.random.default_rng(4)
    male, female = generator.integers(0, 6, 3000), generator.integers(0, 6, 3000)
    time = generator.exponential(np.exp(generator.normal(0, 0.5, 6))[male])
    ended = generator.random(3000) > 0.2
    every = crossed.median(time, ended, crossing(male, female))
    monkeypatch.setattr(crossed, "_CUTS", 400)
    few = crossed.median(time, ended, crossing(male, female))
    assert few.value == every.value
    np.testing.assert_allclose([few.low, few.high], [every.low, every.high], rtol=0.05)
