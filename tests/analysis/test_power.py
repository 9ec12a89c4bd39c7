"""What a design can show, against formulas of the literature and against what it must be at the ends."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy.stats import permutation_test, ttest_ind

from etholog.analysis.power import _differ, _welch, power, schoenfeld
from etholog.base.refusal import Refusal


def test_schoenfelds_events() -> None:
    """Schoenfeld 1981, Biometrika 68:316 (from memory): (1.96 + .84)^2 / (p q log^2 HR)."""
    assert schoenfeld(2) == pytest.approx(65.3456592589)
    assert schoenfeld(3) == pytest.approx(26.0123004011)
    assert schoenfeld(2, sessions=4, like=0.2) == pytest.approx(65.3456592589 * 1.6)


@pytest.mark.parametrize(
    ("males", "sessions", "share"), [(5, 2, 0.20), (5, 4, 0.51), (10, 4, 0.78), (20, 3, 0.87)]
)  # simulated: normal, uncensored, repeatability .4
def test_whether_males_differ(males: int, sessions: int, share: float) -> None:
    assert _differ(males, sessions, 0.4) == pytest.approx(share, abs=0.02)
    assert _differ(males, sessions, 0.0) == pytest.approx(0.05)


def test_welchs_t_is_scipys() -> None:
    values = np.random.default_rng(3).normal(size=9)
    labels = np.array([[True] * 4 + [False] * 5, [False, True] * 4 + [True]])
    expected = [abs(ttest_ind(values[own], values[~own], equal_var=False).statistic) for own in labels]
    np.testing.assert_allclose(_welch(values, labels), expected)


def test_no_effect_is_seldom_found_and_a_great_one_often() -> None:
    few = {"median_s": 100.0, "watch_s": 400.0, "males": [8], "sessions": [4], "seasons": 120}
    nothing, great = (power(ratio=ratio, like=[0.3], **few).iloc[0] for ratio in (1.0001, 8.0))
    assert nothing[["within", "between"]].max() <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / 120)
    assert great["within"] > 0.9
    assert great["between"] < great["within"]


def test_what_a_design_can_never_show() -> None:
    row = power(median_s=60, males=[4], sessions=[2], like=[0.1], seasons=2).iloc[0]
    assert row["between_smallest_p"] == pytest.approx(2 / 6)
    assert row["within_smallest_p"] == pytest.approx(2 / 16)
    assert row["between"] == row["within"] == 0


@pytest.mark.parametrize(("males", "least"), [(4, 2 / 6), (5, 1 / 10), (6, 2 / 20), (7, 1 / 35), (8, 2 / 70)])
def test_the_smallest_p_between_kinds_is_that_of_scipys_exact_test(males: int, least: float) -> None:
    """3 against 4 males: 1 of 35 labellings, as no mirror image of it is one."""
    apart = np.arange(1.0, males + 1) ** 2
    few, many = apart[: males // 2], apart[males // 2 :]
    found = permutation_test(
        (few, many), lambda a, b, axis: np.abs(ttest_ind(a, b, axis=axis, equal_var=False).statistic),
        vectorized=True, n_resamples=np.inf, alternative="greater",
    )  # fmt: skip
    every = found.null_distribution
    row = power(median_s=60, males=[males], sessions=[2], like=[0.1], seasons=2).iloc[0]
    assert row["between_smallest_p"] == pytest.approx((every >= every.max() - 1e-9).mean()) == pytest.approx(least)


def test_seven_males_can_show_a_difference_between_kinds() -> None:
    row = power(median_s=100, watch_s=4000, ratio=100, males=[7], sessions=[4], like=[0.1], seasons=40).iloc[0]
    assert row["between"] > 0.5


def test_the_smallest_p_within_males_of_uneven_halves() -> None:
    scores = np.array([[3.0, -1.0, -2.0], [4.0, -1.5, -2.5], [5.0, -2.2, -2.8]])
    every = np.abs([sum(chosen) for chosen in product(*scores)])
    row = power(median_s=60, males=[3], sessions=[3], like=[0.1], seasons=2).iloc[0]
    assert row["within_smallest_p"] == pytest.approx((every >= every.max()).mean()) == pytest.approx(1 / 27)


def test_from_past_sessions_as_many_come_as_came() -> None:
    chance = np.random.default_rng(5)
    seconds = chance.exponential(100, 60)
    times = pd.DataFrame({"latency_s": np.minimum(seconds, 150), "occurred": seconds < 150})
    row = power(times, ratio=1.0001, males=[10], sessions=[6], like=[0.1], seasons=60).iloc[0]
    assert row["events"] / 60 == pytest.approx(times["occurred"].mean(), abs=0.03)


@pytest.mark.parametrize(
    ("words", "given"),
    [
        ("past sessions, or a median", {}),
        ("males 1", {"median_s": 60, "males": [1]}),
        ("repeatability 1", {"median_s": 60, "like": [1]}),
        ("ratio 1", {"median_s": 60, "ratio": 1}),
        ("median -3", {"median_s": -3}),
        ("watching for 0", {"median_s": 60, "watch_s": 0}),
        ("came in none", {"times": pd.DataFrame({"latency_s": [5.0], "occurred": [False]})}),
    ],
)
def test_numbers_that_no_season_has(words: str, given: dict[str, object]) -> None:
    with pytest.raises(Refusal, match=words):
        power(**given)


@pytest.mark.parametrize(("came", "said"), [(0, "none"), (1, "under 4"), (3, "under 4")])
def test_a_season_in_which_it_hardly_came_is_nothing_to_plan_from(came: int, said: str) -> None:
    times = pd.DataFrame({"latency_s": [60.0, 70.0, 80.0, 90.0], "occurred": [True] * came + [False] * (4 - came)})
    with pytest.raises(Refusal, match=f"came in {said} of these sessions: give a median"):
        power(times, males=[4], sessions=[2], like=[0.1], seasons=2)
