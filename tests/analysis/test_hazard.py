"""Cox's model against R's coxph, to the digits that it prints; where there is no estimate, words and no number."""

import itertools
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import permutation_test

from etholog.analysis import logrank
from etholog.analysis.covariate import permute_within
from etholog.analysis.cox import Ties
from etholog.analysis.hazard import hazards
from etholog.analysis.latency import latency
from etholog.analysis.proportional import proportional
from etholog.base.refusal import Refusal
from etholog.season import read
from tests.analysis.published import THREE_MALES, lung, published, remissions


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
    known = lung().dropna(subset=["inst"])  # one patient of no known hospital: R leaves him out
    found = hazards(known, ["sex", "age"], cluster="inst")
    table = found.table
    np.testing.assert_allclose(table["coef"], [-0.51099658705, 0.01700004507], rtol=1e-8)
    np.testing.assert_allclose(table["naive_se"], [0.167682739775, 0.009231349736], rtol=1e-8)
    np.testing.assert_allclose(table["se"], [0.127959162588, 0.007304807664], rtol=1e-8)
    # R's pt and qt with 17 degrees of freedom, from the naive errors, which are the larger ones here
    np.testing.assert_allclose(table["p"], [7.279537458e-03, 8.305716525e-02], rtol=1e-8)
    np.testing.assert_allclose(table["low"], [0.4211457762, 0.9975266633], rtol=1e-8)
    np.testing.assert_allclose(table["high"], [0.8545186675, 1.037149921], rtol=1e-8)
    assert found.log_likelihood == pytest.approx(-738.043641522, abs=5e-9)
    assert found.clusters == 18
    within = hazards(known, ["sex", "age"], within="inst").table
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


def test_animals_as_clusters_have_neither_robust_limits_nor_a_robust_p() -> None:
    # Invented; R: with four females the robust errors are less than half the naive ones, a trap.
    found = hazards(THREE_MALES, "male")
    assert (found.cluster, found.clusters) == ("female", 4)
    table = found.table
    np.testing.assert_allclose(table["coef"], [-1.0485909, 1.0865742], atol=5e-8)
    np.testing.assert_allclose(table["naive_se"], [0.8716403, 0.8229295], atol=5e-8)
    np.testing.assert_allclose(table["se"], [0.373261365, 0.293907411], atol=5e-9)
    assert table[["low", "high", "p"]].isna().all(axis=None)
    assert "too small with so few females" in found.sentence
    assert "10 events for 2 terms are few" in found.sentence
    assert "too small" not in hazards(six_mp(), "placebo", cluster="pair").sentence


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
    found = hazards(times, ["male", "again"])
    assert found.not_estimable == ("again: B", "again: C")
    assert "say the same" in found.sentence
    alone = hazards(times, "male").table
    np.testing.assert_allclose(found.table.loc[alone.index, "coef"], alone["coef"])


def test_a_wrong_column_is_refused() -> None:
    with pytest.raises(Refusal, match="did you mean 'female'"):
        hazards(THREE_MALES, "male", cluster="femal")


@pytest.mark.filterwarnings("error")
def test_where_all_came_at_one_time_there_are_no_limits_and_no_p() -> None:
    rows = pd.DataFrame({"latency_s": 5.0, "occurred": True, "male": ["a", "a", "b", "b"], "female": list("wxyz")})
    found = hazards(rows, "male")
    assert found.table["ratio"].tolist() == [1.0]
    assert found.table[["se", "low", "high", "p"]].isna().all(axis=None)


# Computed with R 4.2.2 and survival 3.5-3, the sets being those of that package:
#   p <- pbc[!is.na(pbc$trt), ]                                          (pbc.csv: the 312 of the trial)
#   coxph(Surv(time, status == 2) ~ bili, p, ties = "breslow")
#   coxph(Surv(time, status == 2) ~ bili + age + edema + cluster(id %% 20), p)
#   coxph(Surv(start, stop, event) ~ transplant + cluster(id), heart)    (heart.csv; Crowley & Hu 1977)
#   coxph(Surv(time, status) ~ age + sex + cluster(id), kidney)          (kidney.csv; McGilchrist & Aisbett 1991)
#   clogit(case ~ spontaneous + induced + strata(stratum or education), infert, method = "exact")
def pbc() -> pd.DataFrame:
    table = published("pbc")
    return table.assign(latency_s=table["time"].astype(float), occurred=table["died"] == 1, group=table.index % 20)


def heart() -> pd.DataFrame:
    table = published("heart")
    return table.assign(latency_s=table["stop"].astype(float), occurred=table["event"] == 1)


def test_a_term_on_a_large_scale() -> None:
    assert hazards(pbc(), "bili").table["coef"].iloc[0] == pytest.approx(0.148858726642, rel=1e-10)


def test_efrons_ties_and_their_cluster_errors() -> None:
    found = hazards(pbc(), ["bili", "age", "edema"], cluster="group", ties="efron")
    np.testing.assert_allclose(found.table["coef"], [0.12530182626192, 0.03911381308009, 1.58342944621234], rtol=1e-10)
    np.testing.assert_allclose(found.table["se"], [0.015131429539965, 0.009289142821583, 0.306433009041539], rtol=1e-10)
    naive = [0.014163974039132, 0.008905630924742, 0.295600051437520]
    np.testing.assert_allclose(found.table["naive_se"], naive, rtol=1e-10)
    assert found.log_likelihood == pytest.approx(-575.5507977672, rel=1e-12)
    kidney = published("kidney")
    times = kidney.assign(latency_s=kidney["time"].astype(float), occurred=kidney["status"] == 1)
    found = hazards(times, ["age", "sex"], cluster="id", ties="efron")
    np.testing.assert_allclose(found.table["coef"], [0.00203188295715, -0.82931383246605], rtol=1e-9)
    np.testing.assert_allclose(found.table["se"], [0.00808874704275, 0.48346378285163], rtol=1e-9)
    six = hazards(six_mp(), "placebo", cluster="pair", ties="efron").table["se"].iloc[0]
    assert six == pytest.approx(0.391136167312, rel=1e-10)


@pytest.mark.parametrize(
    ("ties", "coef", "naive", "robust"),
    [
        ("breslow", 0.1256668916335, 0.3010765377425, 0.2993553383643),
        ("efron", 0.1271411266155, 0.3011411042526, 0.300490288124),
    ],
)
def test_rows_that_come_under_watch_later(ties: Ties, coef: float, naive: float, robust: float) -> None:
    found = hazards(heart(), "transplant", cluster="id", ties=ties, entry="start").table
    assert found.loc["transplant", ["coef", "naive_se", "se"]].tolist() == pytest.approx(
        [coef, naive, robust], rel=1e-10
    )


@pytest.mark.parametrize(
    ("sets", "coef", "se"),
    [
        ("stratum", [1.985875516678, 1.409011631875], [0.3524435398072, 0.3607124362489]),  # one case a set
        ("education", [1.1871958711712, 0.4228499982473], [0.2105646497058, 0.2078108434828]),  # 4 to 40 cases a set
    ],
)
def test_exact_ties_of_one_time_are_conditional_logistic(sets: str, coef: list[float], se: list[float]) -> None:
    infert = published("infert")  # Trichopoulos et al. 1976
    rows = infert.assign(latency_s=1.0, occurred=infert["case"] == 1)
    found = hazards(rows, ["spontaneous", "induced"], within=sets, ties="exact").table
    np.testing.assert_allclose(found["coef"], coef, rtol=1e-10)
    np.testing.assert_allclose(found["naive_se"], se, rtol=1e-10)


def test_a_row_censored_before_the_first_event_and_a_stratum_without_one() -> None:
    """Either took the library's cluster errors away without a word. R, on lung with 20 rows censored at day 1 and a
    21st hospital in which nobody died: the naive and the robust errors of the coefficient are as without them."""
    some = lung().dropna(subset=["inst"])
    early = some.head(20).assign(latency_s=1.0, occurred=False)
    elsewhere = some.tail(5).assign(inst=99, occurred=False)
    more = hazards(pd.concat([some, early, elsewhere]), "sex", within="inst", cluster="inst").table
    alone = hazards(some, "sex", within="inst", cluster="inst").table
    np.testing.assert_allclose(more.to_numpy(float), alone.to_numpy(float), rtol=1e-9)


def test_what_the_strata_leave_nothing_of_is_named() -> None:
    times = lung().dropna(subset=["inst"])
    times = times.assign(site=np.where(times["inst"] > 10, "north", "south"))
    found = hazards(times, ["sex", "site"], within="inst")
    assert found.not_estimable == ("site: south",)
    assert "site: south: not estimable, the strata by inst" in found.sentence
    assert found.table["coef"]["sex"] == pytest.approx(hazards(times, "sex", within="inst").table["coef"]["sex"])


def test_a_separated_term_is_named_and_the_others_keep_their_estimate() -> None:
    times = lung().dropna(subset=["inst"])
    times = times.assign(never=((times.index % 9 == 0) & ~times["occurred"]).astype(float))
    found = hazards(times, ["sex", "never"])
    assert found.not_estimable == ("never",)
    # In the limit those who never came are out of every risk set.
    rest = hazards(times[times["never"] == 0], "sex")
    assert found.table["coef"]["sex"] == pytest.approx(rest.table["coef"]["sex"], abs=1e-6)
    assert found.table["naive_se"]["sex"] == pytest.approx(rest.table["naive_se"]["sex"], abs=1e-6)


def test_a_covariate_is_permuted_within_males() -> None:
    """By going through all orders: two males of three sessions, 36 orders."""
    rows = pd.DataFrame(
        {
            "latency_s": [10.0, 40, 55, 20, 35, 90, 15, 70],
            "occurred": [True, True, True, True, True, False, True, True],
            "male": list("aaabbbcc"),
            "warm": [24.0, 23, 21, 26, 25, 22, 27, 24],
        }
    )
    found = hazards(rows, "warm")
    score = logrank.scores(rows["latency_s"].to_numpy(), rows["occurred"].to_numpy(), np.zeros(8, dtype=int))
    own = [rows.index[rows["male"] == male] for male in "abc"]

    def statistic(warm: np.ndarray) -> float:
        return abs(sum(score[at] @ (warm[at] - warm[at].mean()) for at in own))

    all_orders = []
    for order in itertools.product(*(itertools.permutations(at) for at in own)):
        warm = rows["warm"].to_numpy().copy()
        for at, moved in zip(own, order, strict=True):
            warm[at] = rows["warm"].to_numpy()[list(moved)]
        all_orders.append(statistic(warm))
    assert len(all_orders) == 72
    expected = (np.array(all_orders) >= statistic(rows["warm"].to_numpy()) - 1e-9).mean()
    assert found.table["p"]["warm"] == pytest.approx(expected)
    assert found.table[["low", "high"]].isna().all(axis=None)


@pytest.mark.slow
def test_a_permutation_is_scipys_exact_one() -> None:
    chance = np.random.default_rng(4)
    scores, values = chance.normal(size=8), chance.normal(size=8)

    def product(moved: np.ndarray) -> float:
        return abs(float(scores[: len(moved)] @ (moved - moved.mean())))

    for n, kind in ((6, True), (8, False)):
        found = permute_within(scores[:n], values[:n], np.zeros(n, dtype=int))
        whole = permutation_test(
            (values[:n],), product, permutation_type="pairings", n_resamples=np.inf, alternative="greater"
        )
        assert found.exact is kind
        assert found.p == pytest.approx(whole.pvalue, abs=5 * found.error + 1e-12)


def test_the_seasons_temperature_has_an_estimate() -> None:
    season = read(Path(__file__).parents[2] / "examples" / "season")
    found = hazards(latency(season, "contact", unseen="censor"), ["temperature_c"], cluster="male")
    assert np.isfinite(found.table.loc["temperature_c", ["coef", "se", "p"]].astype(float)).all()
    species = hazards(latency(season, "courtship"), "species", within="female")
    assert np.isnan(species.table["coef"].iloc[0])


def test_how_a_ratio_changes_is_rs() -> None:
    # R 4.2.2, survival 3.5-3: cox.zph(coxph(..., ties = "breslow"), transform = "rank"), and coxph on survSplit at the
    # median time of death.
    found = proportional(lung(), ["age", "sex"])
    np.testing.assert_allclose(found["chi_squared"], [0.136304089632, 2.370248621394], rtol=1e-6)
    np.testing.assert_allclose(np.log(found["early"]), [0.0109314362538, -0.7102845389290], rtol=1e-6)
    np.testing.assert_allclose(np.log(found["late"]), [0.0232227355681, -0.3427866628519], rtol=1e-6)


def test_a_change_that_is_not_estimable_is_missing() -> None:
    rows = pd.DataFrame({"latency_s": [1.0, 2, 3, 4], "occurred": True, "x": [1.0, 1, 1, 1]})
    assert proportional(rows, "x").isna().all().all()
    assert proportional(rows.assign(occurred=False), "x").isna().all().all()
    with pytest.raises(Refusal, match="did you mean 'x'"):
        proportional(rows, "xx")
