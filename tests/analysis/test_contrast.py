"""Rates, shares, bout lengths and counts compared between groups."""

from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import etholog
from etholog import Refusal
from etholog.analysis.contrast import compared, dispersion
from etholog.analysis.ratio import of_animals, of_sessions, within_animals
from tests.analysis.test_season_measures import close, season_of

# R's datasets: InsectSprays (Beall 1942, Biometrika 32:243) and warpbreaks (Tukey 1977), six groups each.
INSECTS = [10,7,20,14,14,12,10,23,17,20,14,13,11,17,21,11,16,14,17,17,19,21,7,13,0,1,7,2,3,1,2,1,3,0,1,4,3,5,12,6,4,3,
           5,5,5,5,2,4,3,5,3,5,3,6,1,1,3,2,6,4,11,9,15,22,15,16,13,10,26,26,24,13]  # fmt: skip
WARP = [26,30,54,25,70,52,51,26,67,18,21,29,17,12,18,35,30,36,36,21,24,18,10,43,28,15,26,27,14,29,19,29,31,41,20,44,42,
        26,19,16,39,28,21,39,29,20,21,24,17,13,15,15,16,28]  # fmt: skip


@pytest.mark.parametrize(
    # R's glm(count ~ spray, quasipoisson) and glm(breaks ~ wool * tension, quasipoisson), to the digits at which its
    # iterations stop
    ("counts", "expected"),
    [(INSECTS, 1.50771295065), (WARP, 3.76389047223)],
)
def test_dispersion_is_rs_quasi_poisson(counts: list[int], expected: float) -> None:
    group = np.repeat(np.arange(6), len(counts) // 6)
    found = dispersion(np.array(counts, dtype=float), np.ones(len(counts)), group)
    assert found == pytest.approx(expected, rel=1e-5)


def test_a_ratio_is_one_over_that_of_the_groups_changed_over() -> None:
    above, below = np.array([3, 5, 2, 8, 9, 6, 4, 7.0]), np.array([1, 2, 1, 3, 1, 1, 2, 1.0])
    second = np.repeat([0, 1], 4)
    one, other = of_sessions(above, below, second), of_sessions(above, below, 1 - second)
    np.testing.assert_allclose(one[:3], [1 / other[0], 1 / other[2], 1 / other[1]])
    assert one[0] == pytest.approx((26 / 5) / (18 / 7))
    assert of_sessions(above[1:], below[1:], second[1:])[3] == "under 4 sessions"
    assert of_sessions(np.where(second, above, 0), below, second)[3] == "it came in fewer than two sessions"


def test_all_labellings_of_two_males(tmp_path: Path) -> None:
    # Invented: 8 sessions of two males with one female, touches in 10 s each. Every one of the 70 labellings is gone
    # through here as well.
    counts = [1, 2, 2, 4, 3, 5, 7, 6]
    sessions = [[*[dict(one) for one in touches(count)], close(10_000)] for count in counts]
    season = season_of(tmp_path, *sessions)
    names = np.repeat(["M-1", "M-2"], 4)
    season.sessions["male"] = names
    found = etholog.contrast(season, "touch", by="male", measure="count", within="none")
    x = np.array(counts) - np.mean(counts)

    def welch(first: tuple[int, ...]) -> float:
        a, b = x[list(first)], np.delete(x, list(first))
        return abs(a.mean() - b.mean()) / np.sqrt(a.var(ddof=1) / 4 + b.var(ddof=1) / 4)

    every = [welch(first) for first in combinations(range(8), 4)]
    assert found.p == pytest.approx(np.mean(np.array(every) >= welch((0, 1, 2, 3)) - 1e-9))
    assert (found.permutations, found.exact) == (70, True)
    assert found.table["value"].tolist() == [2.25, 5.25]
    assert found.pairs.loc[0, "ratio"] == pytest.approx(5.25 / 2.25)


def touches(count: int) -> list[dict[str, object]]:
    from tests.analysis.test_season_measures import marks as made

    return made(*((at * 1000, "touch", None) for at in range(count)))


def test_an_event_has_no_duration_to_compare() -> None:
    season = etholog.read("examples/season")
    for measure in ("share", "bout"):
        with pytest.raises(Refusal, match="no duration"):
            etholog.contrast(season, "strike", by="male", measure=measure)  # type: ignore[arg-type]
    whole = etholog.contrast(season, "drumming", by="species")
    assert "Whole males" in whole.sentence
    assert whole.pairs["why"].tolist() == ["2 of 3 animals in each group"]


# Invented: events and hours of 14 sessions of 7 males; a negative mate has no name, so that males alone vary.
EVENTS = np.array([3, 5, 2, 8, 9, 6, 4, 7, 1, 0, 12, 9, 5, 6.0])
HOURS = np.array([1, 2, 1, 3, 1, 1, 2, 1, 1, 2, 2, 1, 1, 2.0])
MALE = np.arange(14) // 2
UNNAMED = np.full(14, -1)


def test_kinds_of_males_are_welchs_t_of_males_own_logarithms() -> None:
    # scipy's ttest_ind with unequal variances, of the seven males' logarithms
    second = (MALE >= 3).astype(int)
    own = np.log((EVENTS.reshape(7, 2).sum(axis=1) + 0.5) / HOURS.reshape(7, 2).sum(axis=1))
    theirs = stats.ttest_ind(own[3:], own[:3], equal_var=False)
    low, high = np.exp(theirs.confidence_interval(0.95))
    found = of_animals(EVENTS, HOURS, MALE, UNNAMED, second, True)
    np.testing.assert_allclose(found[:3], [np.exp(own[3:].mean() - own[:3].mean()), low, high])
    # Females who differ can only widen the limits.
    wider = of_animals(EVENTS, HOURS, MALE, np.arange(14) % 5, second, True)
    assert wider.low < found.low
    assert wider.high > found.high
    assert of_animals(EVENTS, HOURS, MALE, UNNAMED, (MALE >= 5).astype(int), True).why == "2 of 3 animals in each group"
    assert of_animals(np.where(MALE == 0, 0, EVENTS), HOURS, MALE, UNNAMED, second, False).why == "some have none of it"


def test_conditions_are_a_t_of_differences_within_males() -> None:
    # scipy's ttest_rel, of the seven males' logarithms under either condition
    second = np.arange(14) % 2
    rate = np.log((EVENTS + 0.5) / HOURS)
    theirs = stats.ttest_rel(rate[1::2], rate[::2])
    low, high = np.exp(theirs.confidence_interval(0.95))
    found = within_animals(EVENTS, HOURS, MALE, UNNAMED, second, True)
    np.testing.assert_allclose(found[:3], [np.exp((rate[1::2] - rate[::2]).mean()), low, high])
    few = MALE < 3
    assert within_animals(EVENTS[few], HOURS[few], MALE[few], UNNAMED[few], second[few], True).why == (
        "3 of 4 animals under both"
    )


@pytest.mark.parametrize("mates", [1, 2, 3, 4])
def test_limits_of_few_mates_rest_on_them_or_there_are_none(mates: int) -> None:
    """Eight males, each with the same mates, who even out: Welch's t and the paired t, of no more freedom than mates
    leave."""
    male, mate = np.repeat(np.arange(8), 4), np.tile(np.arange(4), 8)
    level = np.exp(np.array([0.1, 0.4, 0.2, 0.7, 0.5, 1.3, 0.6, 0.9]))
    above, below = level[male] * np.where((male + mate) % 2, 1.5, 0.5), np.ones(32)
    logs = np.log(np.bincount(male, above) / 4)
    second = (male >= 4).astype(int)
    found = of_animals(above, below, male, mate % mates, second, counted=False)
    # Under both conditions: the second of two sessions with each mate has e times as much, and of the last male less.
    twice, condition = np.tile(male, 2), np.repeat([0, 1], 32)
    gain = np.where(np.arange(8) == 7, 0.5, 1.0)
    both = np.concatenate([above, above * np.exp(gain[male])])
    own = within_animals(both, np.ones(64), twice, np.tile(mate % mates, 2), condition, counted=False)
    if mates in (2, 3):
        assert found.why == own.why == f"{mates} of 4 mates"
        assert np.isnan([found.low, found.high, own.low, own.high]).all()
        return
    one, other = logs[:4], logs[4:]
    variances = one.var(ddof=1) / 4, other.var(ddof=1) / 4
    df = sum(variances) ** 2 / sum(v**2 / 3 for v in variances)
    half = stats.t.ppf(0.975, df if mates == 1 else min(df, 3)) * np.sqrt(sum(variances))
    middle = other.mean() - one.mean()
    np.testing.assert_allclose(np.log(found[:3]), [middle, middle - half, middle + half])
    half = stats.t.ppf(0.975, 7 if mates == 1 else 3) * gain.std(ddof=1) / np.sqrt(8)
    np.testing.assert_allclose(np.log(own[:3]), [gain.mean(), gain.mean() - half, gain.mean() + half])


def test_old_names_of_columns_are_still_there() -> None:
    season = etholog.read("examples/season")
    pairs = etholog.compare(etholog.latency(season, "courtship"), "male", within="none", horizon_s=900).pairs
    for table, old, new in (
        (etholog.duration(season), "per_hour_resampled_low", "per_hour_low"),
        (etholog.duration(season), "per_hour_resampled_high", "per_hour_high"),
        (etholog.palp_balance(season), "resampled_low", "low"),
        (etholog.palp_balance(season), "resampled_high", "high"),
        (pairs, "difference_resampled_low_s", "difference_low_s"),
        (pairs, "difference_resampled_high_s", "difference_high_s"),
    ):
        assert table[new].notna().any()
        np.testing.assert_array_equal(table[old], table[new])


@pytest.mark.parametrize("within", [None, "none", "observer", "female"])
def test_what_is_assumed_of_females_is_said_as_compare_says_it(within: str | None) -> None:
    season = etholog.read("examples/season")
    compared = etholog.compare(etholog.latency(season, "courtship"), "male", within, permutations=99)
    contrasted = etholog.contrast(season, "drumming", "male", "count", within, permutations=99)
    assert compared.usable and np.isfinite(contrasted.p)
    said = ["assumes that females were met at random" in one.sentence for one in (compared, contrasted)]
    assert said == [contrasted.within != "female"] * 2


def test_of_many_groups_each_two_are_not_set_beside_each_other_and_it_is_said() -> None:
    males = [f"M-{n}" for n in range(26)]
    frame = pd.DataFrame({"male": males * 3, "female": np.repeat(["F-1", "F-2", "F-3"], 26)})
    label, one = np.tile(np.arange(26), 3), np.ones(78)
    contrasted = compared(frame, one, one, label, males, "male", "count", permutations=9)
    times = frame.assign(latency_s=np.arange(78.0), occurred=True)
    for found in (contrasted, etholog.compare(times, "male", permutations=9)):
        assert found.pairs.empty and "26 groups are too many to set each two beside each other" in found.sentence
    few = frame["male"].isin(males[:25])
    assert len(etholog.compare(times[few], "male", permutations=9).pairs) == 300
    rest = compared(frame[few], one[few], one[few], label[few], males[:25], "male", "count", permutations=9)
    assert len(rest.pairs) == 300 and "too many" not in rest.sentence
