"""Cox's model against R's coxph, to the digits that it prints; where there is no estimate, words and no number."""

import numpy as np
import pandas as pd
import pytest

from etholog.analysis.hazard import hazards
from etholog.base.refusal import Refusal
from tests.analysis.published import THREE_MALES, lung, remissions


def six_mp() -> pd.DataFrame:
    times = remissions()
    return times.assign(placebo=(times["drug"] == "placebo").astype(float))


def test_breslow_on_6_mp_is_rs() -> None:
    found = hazards(six_mp(), "placebo", cluster="pair")
    row = found.table.loc["placebo"]
    assert row["coef"] == pytest.approx(1.509191413, abs=5e-9)
    assert row["naive_se"] == pytest.approx(0.409564406, abs=5e-9)
    assert row["ratio"] == pytest.approx(4.523072, abs=5e-7)
    assert row["se"] == pytest.approx(0.375976691534, abs=5e-9)  # cluster(pair)
    assert found.log_likelihood == pytest.approx(-86.37962207, abs=5e-8)
    half = 1.959963984540054 * row["naive_se"]
    limits = np.exp([row["coef"] - half, row["coef"] + half])
    np.testing.assert_allclose(limits, [2.026803, 10.093815], atol=2e-6)  # R's, from the naive error


def test_each_session_its_own_cluster() -> None:
    found = hazards(remissions(), "drug")  # words, so that the first is what the others are against
    assert list(found.table.index) == ["drug: placebo"]
    assert "against 6-MP" in found.sentence
    assert (found.cluster, found.clusters) == ("session", 42)
    assert found.table["se"].iloc[0] == pytest.approx(0.367024029281, abs=5e-9)  # R, robust by observation


def test_within_pairs_on_6_mp() -> None:
    # No two of a pair are tied, so that Breslow's and Efron's ties are one: R gives ln 6.
    row = hazards(six_mp(), "placebo", within="pair").table.loc["placebo"]
    assert row["coef"] == pytest.approx(np.log(6), abs=5e-9)
    assert row["naive_se"] == pytest.approx(0.623609564, abs=5e-9)


def test_lung_cancer_with_hospitals_as_clusters_and_as_strata() -> None:
    # R's survival 3.5-3, coxph(ties = "breslow"); its default, Efron's ties, gives -0.511668296 and 0.017033496.
    found = hazards(lung(), ["sex", "age"], cluster="inst")
    table = found.table
    np.testing.assert_allclose(table["coef"], [-0.51099658705, 0.01700004507], rtol=1e-8)
    np.testing.assert_allclose(table["naive_se"], [0.167682739775, 0.009231349736], rtol=1e-8)
    np.testing.assert_allclose(table["se"], [0.127959162588, 0.007304807664], rtol=1e-8)
    np.testing.assert_allclose(table["p"], [6.512296134e-05, 1.995246257e-02], rtol=1e-6)
    np.testing.assert_allclose(table["low"], [0.4668291485, 1.0026864873], rtol=1e-8)
    np.testing.assert_allclose(table["high"], [0.7708964374, 1.0318127481], rtol=1e-8)
    assert found.log_likelihood == pytest.approx(-738.043641522, abs=5e-9)
    assert found.clusters == 18
    within = hazards(lung(), ["sex", "age"], within="inst").table
    np.testing.assert_allclose(within["coef"], [-0.49235151865, 0.01920489834], rtol=1e-8)
    np.testing.assert_allclose(within["naive_se"], [0.18156342931, 0.00987322481], rtol=1e-8)


def test_clusters_without_ties() -> None:
    # Invented data; R, statsmodels and lifelines agree.
    times = pd.DataFrame(
        {
            "latency_s": [31, 45, 52, 67, 80, 95, 110, 133, 150, 171, 200, 240.0],
            "occurred": [c == "1" for c in "110111011011"],
            "x": [int(c) for c in "101011001001"],
            "male": np.repeat(np.arange(6), 2),
        }
    )
    found = hazards(times, "x")
    row = found.table.loc["x"]
    assert found.cluster == "male"
    assert row["coef"] == pytest.approx(0.137191246810, abs=5e-9)
    assert row["naive_se"] == pytest.approx(0.709083263993, abs=5e-9)
    assert row["se"] == pytest.approx(0.498676849715, abs=5e-9)


def test_few_clusters_are_warned_of() -> None:
    # Invented; R: with four females the robust errors are less than half the naive ones, a trap.
    found = hazards(THREE_MALES, "male")
    assert (found.cluster, found.clusters) == ("female", 4)
    table = found.table
    np.testing.assert_allclose(table["coef"], [-1.0485909, 1.0865742], atol=5e-8)
    np.testing.assert_allclose(table["naive_se"], [0.8716403, 0.8229295], atol=5e-8)
    np.testing.assert_allclose(table["se"], [0.373261365, 0.293907411], atol=5e-9)
    assert "Under 20 such clusters" in found.sentence
    assert "10 events for 2 terms are few" in found.sentence
    assert "Under 20" not in hazards(six_mp(), "placebo", cluster="pair").sentence


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "not estimable"),  # every A before every B: statsmodels gives 27.41 with an error of 310090
        ({"occurred": [True] * 4 + [False] * 4}, "not estimable"),  # nobody of B at all
        ({"occurred": [False] * 8}, "never occurred"),
        ({"male": ["A"] * 8}, "only one group"),
    ],
)
def test_where_there_is_no_estimate_there_are_words_and_no_number(change: dict[str, list[object]], words: str) -> None:
    times = pd.DataFrame({"latency_s": np.arange(8) + 1.0, "occurred": True, "male": list("AAAABBBB")})
    found = hazards(times.assign(**change), "male")
    assert words in found.sentence
    assert np.isnan(found.table.to_numpy(dtype=float)).all()
    assert np.isnan(found.log_likelihood)


def test_columns_that_say_the_same_are_not_estimable() -> None:
    times = THREE_MALES.assign(again=THREE_MALES["male"])
    assert "say the same" in hazards(times, ["male", "again"]).sentence


def test_a_wrong_column_is_refused() -> None:
    with pytest.raises(Refusal, match="did you mean 'female'"):
        hazards(THREE_MALES, "male", cluster="femal")


@pytest.mark.filterwarnings("error")
def test_where_all_came_at_one_time_there_are_no_limits_and_no_p() -> None:
    rows = pd.DataFrame({"latency_s": 5.0, "occurred": True, "male": ["a", "a", "b", "b"], "female": list("wxyz")})
    found = hazards(rows, "male")
    assert found.table["ratio"].tolist() == [1.0]
    assert found.table[["se", "low", "high", "p"]].isna().all(axis=None)
