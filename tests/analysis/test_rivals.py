"""Gray's test and the cause-specific log-rank, against cmprsk and survival; the level of the permuted p."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from etholog import season
from etholog.analysis import logrank
from etholog.analysis.compare import compare
from etholog.analysis.latency import latency
from etholog.analysis.rivals import gray, rivals
from etholog.base.refusal import Refusal
from tests.analysis.published import published

TIME = np.array([5, 8, 12, 12, 15, 20, 22, 25, 30, 31, 3, 6, 7, 9, 12, 14, 18, 21, 26, 40.0])
CAUSE = np.array([1, 2, 1, 0, 1, 2, 1, 0, 1, 0, 2, 1, 1, 2, 1, 1, 0, 1, 2, 1])
TWO = np.repeat([0, 1], 10)
THREE = np.tile([0, 1, 2, 0], 5)


def other(cause: np.ndarray) -> np.ndarray:
    return np.where(cause == 0, 0, 3 - cause)


# Invented; R 4.2.2, cmprsk 2.2-11: cuminc(TIME, CAUSE, group)$Tests, one line for each cause.
@pytest.mark.parametrize(
    ("group", "first", "second"),
    [(TWO, 0.021292999307, 0.204448577789), (THREE, 2.87844165537, 5.45389077604)],
)
def test_gray_is_cmprsks(group: np.ndarray, first: float, second: float) -> None:
    assert gray(TIME, CAUSE, group) == pytest.approx(first, rel=1e-9)
    assert gray(TIME, other(CAUSE), group) == pytest.approx(second, rel=1e-9)


def test_gray_within_strata_is_cmprsks() -> None:
    """cuminc(TIME, CAUSE, group of two, strata = "x" and "y" in turn)$Tests."""
    strata = np.tile([0, 1], 10)
    assert gray(TIME, CAUSE, TWO, strata) == pytest.approx(0.137456631323, rel=1e-9)
    assert gray(TIME, other(CAUSE), TWO, strata) == pytest.approx(0.257646850045, rel=1e-9)


def test_liver_patients() -> None:
    """survival::pbc, all 418: cuminc(time, status, sex)$Tests; 1 a transplant, 2 died."""
    rows = published("pbc_ends")
    time, cause, sex = (rows[name].to_numpy() for name in ("time", "status", "sex"))
    group = pd.factorize(sex, sort=True)[0]
    assert gray(time.astype(float), cause, group) == pytest.approx(0.0196838523952, rel=1e-9)
    assert gray(time.astype(float), other(cause), group) == pytest.approx(2.5334224343454, rel=1e-9)


def test_without_a_rival_gray_is_close_to_the_log_rank() -> None:
    cause = (CAUSE > 0).astype(int)
    zero = np.zeros(20, dtype=int)
    assert gray(TIME, cause, TWO) == pytest.approx(logrank.log_rank(TIME, cause > 0, TWO, zero).statistic, rel=0.15)


def sessions(chance: np.random.Generator) -> pd.DataFrame:
    male = np.repeat(np.arange(8), 4)
    time = np.round(chance.exponential(100, 32) * np.exp(0.8 * chance.normal(size=8))[male] + 1, 1)
    end = chance.choice(["occurred", "strike", "watching ended"], 32, p=[0.5, 0.3, 0.2])
    return pd.DataFrame(
        {
            "latency_s": time, "occurred": end == "occurred", "ended_by": end, "male": male,
            "kind": np.where(male < 4, "a", "b"),
        }
    )  # fmt: skip


def test_the_log_rank_is_the_comparisons(repository: Path) -> None:
    """One p for one test: without a rival, how fast it comes is what `compare` compares."""
    times = latency(season.read(repository / "examples" / "season"), "courtship", competing=True)
    found = compare(times, "male")
    assert found.within == "female"
    row = rivals(times, "male", found.within, shuffles=19).iloc[0]
    assert (row["log_rank"], row["df"], row["log_rank_p"]) == (found.statistic, found.df, found.permutation_p)
    assert row["df"] == 4  # of six males; R's survdiff(... + strata(female)) drops who never was at risk with another


@pytest.mark.slow
def test_both_tests_beside_each_other() -> None:
    rows = sessions(np.random.default_rng(2))
    table = rivals(rows, "kind", shuffles=99).set_index("end")
    assert list(table.index) == ["occurred", "strike"]
    struck = rows["ended_by"].eq("strike").to_numpy()
    group = pd.factorize(rows["kind"])[0]
    expected = logrank.log_rank(rows["latency_s"].to_numpy(), struck, group, np.zeros(32, dtype=int)).statistic
    assert table.loc["strike", "log_rank"] == expected
    # All 70 labellings of 8 males are gone through, so p is a multiple of 1 / 70.
    p = 70 * table[["gray_p", "log_rank_p"]].to_numpy()
    np.testing.assert_allclose(p, np.round(p), atol=1e-9)
    assert (p >= 1).all()


@pytest.mark.slow
def test_whole_males_are_permuted_where_the_group_is_theirs() -> None:
    """35 seasons in which males differ and kinds do not: sessions permuted would reject in up to one in five."""
    chance = np.random.default_rng(12)
    found = [rivals(sessions(chance), "kind", shuffles=39, seed=at)["log_rank_p"][0] for at in range(35)]
    assert (np.array(found) <= 0.05).mean() <= 0.05 + 2 * np.sqrt(0.05 * 0.95 / 35)


def test_few_males_have_no_p() -> None:
    rows = sessions(np.random.default_rng(2))
    few = rows[rows["male"].isin([0, 1, 4, 5])]
    assert rivals(few, "kind", shuffles=99)[["gray_p", "log_rank_p"]].isna().all(axis=None)
    with pytest.raises(Refusal, match="did you mean 'kind'"):
        rivals(few, "kinds")


def test_the_larger_p_counts_where_groups_belong_to_males_and_females_both() -> None:
    generator = np.random.default_rng(5)
    male = np.repeat(np.arange(10), 3)
    female = 2 * generator.integers(0, 5, 30) + male % 2
    times = pd.DataFrame({"latency_s": generator.exponential(100, 30).round(1) + 1, "room": male % 2})
    times["ended_by"] = generator.choice(["occurred", "killed"], 30)
    times["occurred"] = times["ended_by"] == "occurred"
    times = times.assign(male=[f"M-{n}" for n in male], female=[f"F-{n}" for n in female])
    both, by_males, by_females = (
        rivals(times.drop(columns=left), "room", shuffles=199)[["gray_p", "log_rank_p"]]
        for left in ([], ["female"], ["male"])
    )
    assert (both == np.maximum(by_males, by_females)).all(axis=None)
    assert (by_males != by_females).any(axis=None)
