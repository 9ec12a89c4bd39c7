"""Repeatability against R, lme4 and integrals by hand; where animals are too few, words and no number."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.special import polygamma
from scipy.stats import multivariate_normal, norm

from etholog import figures
from etholog.analysis.repeatability import (
    Family,
    _cut,
    _Latent,
    _Linear,
    frailty,
    mixed,
    profile,
    repeatability,
    theta_of,
)
from etholog.base.refusal import Refusal
from tests.analysis.published import published


# coxph(Surv(time, status) ~ age + sex + frailty(id, distribution = "gamma", theta = ...), kidney, ties = "breslow"),
# R 4.2.2, survival 3.5-3: its integrated log likelihood is m$history[[1]]$c.loglik. McGilchrist & Aisbett 1991.
@pytest.mark.parametrize(
    ("theta", "coef", "value"),
    [
        (0.2, [0.00388966629625, -1.30209956421527], -182.526874996),
        (0.397, [0.00546134745713, -1.55608254150144], -182.053359826),
        (1.0, [0.00862211386755, -1.91106541824020], -183.82361965),
    ],
)
def test_gamma_frailty_of_kidney_catheters(theta: float, coef: list[float], value: float) -> None:
    rows = published("kidney")
    found = frailty(
        rows["time"].to_numpy(float), rows["status"].to_numpy() == 1, rows[["age", "sex"]].to_numpy(float),
        pd.factorize(rows["id"])[0], theta,
    )  # fmt: skip
    assert found[1] == pytest.approx(value, abs=2e-6)
    np.testing.assert_allclose(found[0], coef, rtol=1e-4)


def test_the_variance_of_a_log_gamma() -> None:
    """The variance of the logarithm of a gamma variable with mean 1 is trigamma(1 / theta)."""
    for r in (0.05, 0.228, 0.6, 0.9):
        variance = polygamma(1, 1 / theta_of(r))
        assert variance / (variance + np.pi**2 / 6) == pytest.approx(r)
    assert theta_of(0.228) == pytest.approx(0.397, abs=0.001)


def test_dyestuff_is_lme4s() -> None:
    """Davies & Goldsmith 1972; lme4 1.1-31: lmer(Yield ~ 1 + (1 | Batch), Dyestuff), variances 1764.05 and 2451.25,
    restricted log likelihood -159.827138421. ANOVA gives the same, the batches being of one size."""
    rows = published("dyestuff")
    model = _Linear(rows["Yield"].to_numpy(float), np.ones((30, 1)), pd.factorize(rows["Batch"])[0])
    r = 0.418487414893
    assert model(r) == pytest.approx(-159.827138421, abs=1e-8)
    assert model(r) > max(model(r - 1e-4), model(r + 1e-4))
    eight = pd.concat([rows, rows.assign(Batch=rows["Batch"].str.lower(), Yield=rows["Yield"] + 1)])
    found = mixed(eight, "Yield", by="Batch", permutations=99)
    groups = eight.groupby("Batch")["Yield"]
    between, rest = 5 * groups.mean().var(), groups.var().mean()
    assert found.value == pytest.approx((between - rest) / (between + 4 * rest), abs=1e-6)
    assert found.low < found.value < found.high
    assert (found.each["low"] < found.each["typical"]).all()


def times(seed: int, males: int = 9, sessions: int = 4, sd: float = 0.8) -> pd.DataFrame:
    chance = np.random.default_rng(seed)
    male = np.repeat(np.arange(males), sessions)
    seconds = np.exp(4 + sd * chance.normal(size=males)[male] + 0.7 * chance.normal(size=len(male)))
    names = np.array([f"M-{at:02}" for at in range(males)])
    limit = chance.uniform(50, 400, len(male))
    return pd.DataFrame(
        {
            "latency_s": np.minimum(seconds, limit), "occurred": seconds < limit, "male": names[male],
            "temperature_c": chance.normal(24, 1, len(male)),
        }
    )  # fmt: skip


def test_the_error_of_a_males_level_is_that_of_hendersons_equations() -> None:
    """Henderson 1975, Biometrics 31:423: the inverse of the mixed model equations gives the errors of prediction."""
    random = np.random.default_rng(3)
    label = np.repeat(np.arange(8), [3, 3, 4, 5, 3, 4, 3, 5])
    design = np.column_stack([np.ones(len(label)), random.normal(size=len(label))])
    model = _Linear(random.normal(size=len(label)), design, label)
    r = 0.3
    own = np.equal.outer(np.arange(8), label).astype(float)
    _, _, errors = model._predicted(r, own)
    variance = model._solved(r)[3]
    both = np.hstack([design, own.T])
    equations = both.T @ both / ((1 - r) * variance)
    equations[2:, 2:] += np.eye(8) / (r * variance)
    wanted = np.hstack([np.tile(design.mean(axis=0), (8, 1)), np.eye(8)])
    np.testing.assert_allclose(errors**2, np.diag(wanted @ np.linalg.inv(equations) @ wanted.T))


def test_a_repeatability_of_nought_still_leaves_each_male_his_limits() -> None:
    random = np.random.default_rng(3)
    rows = pd.DataFrame({"male": np.repeat([f"M-{n}" for n in range(8)], 4), "total_s": random.normal(50, 5, 32)})
    found = mixed(rows, "total_s", permutations=99)
    assert found.value < 1e-6
    assert ((found.each["low"] < 50) & (found.each["high"] > 50)).all()
    times = rows.assign(latency_s=rows["total_s"], occurred=True)
    found = repeatability(times, permutations=99)
    assert found.value < 1e-6
    assert ((found.each["low"] < 50) & (found.each["high"] > 50)).all()


def test_log_normal_without_censoring_is_the_multivariate_normal() -> None:
    rows = times(2)
    y, label = np.log(rows["latency_s"].to_numpy()), pd.factorize(rows["male"])[0]
    model = _Latent("log-normal", y, np.ones(len(y), dtype=bool), np.ones((len(y), 1)), label)
    for r in (0.0, 0.2, 0.5, 0.9):
        value = model(r)
        mean, total = model.last[0], np.exp(2 * model.last[1])
        covariance = total * ((1 - r) * np.eye(len(y)) + r * (label[:, None] == label))
        assert value == pytest.approx(multivariate_normal(np.full(len(y), mean), covariance).logpdf(y), abs=1e-8)


@pytest.mark.parametrize("family", ["log-normal", "Weibull"])
def test_the_likelihood_of_one_male_is_the_integral_over_his_effect(family: Family) -> None:
    y, ended, r = np.array([3.0, 3.7, 4.4]), np.array([True, False, True]), 0.4
    model = _Latent(family, y, ended, np.ones((3, 1)), np.zeros(3, dtype=np.intp))
    mean, total = 3.6, 0.9
    scale = total * np.sqrt(1 - r) * (1 if family == "log-normal" else np.sqrt(6) / np.pi)

    def density(effect: float) -> float:
        z = (y - mean - effect) / scale
        if family == "log-normal":
            rows = np.where(ended, norm.pdf(z) / scale, norm.sf(z))
        else:
            rows = np.where(ended, np.exp(z) / scale, 1.0) * np.exp(-np.exp(z))
        return float(np.prod(rows) * norm.pdf(effect, scale=total * np.sqrt(r)))

    value, gradient = model._negative(np.array([mean, np.log(total)]), r)
    assert -value == pytest.approx(np.log(quad(density, -8, 8, epsabs=1e-13)[0]), abs=1e-9)
    for at in (0, 1):
        step = np.eye(2)[at] * 1e-5
        ends = [model._negative(np.array([mean, np.log(total)]) + sign * step, r)[0] for sign in (1, -1)]
        assert gradient[at] == pytest.approx((ends[0] - ends[1]) / 2e-5, abs=1e-7)


@pytest.mark.slow
def test_a_season_of_nine_males() -> None:
    found = repeatability(times(5), adjust=["temperature_c"], permutations=99)
    assert 0 <= found.low < found.value < found.high <= 1
    assert list(found.models.index) == ["log-normal", "Weibull", "gamma frailty"]
    assert found.family == found.models["log_likelihood"].iloc[:2].idxmax()
    assert list(found.each.index) == sorted(found.each.index)
    assert (found.each["low"] < found.each["typical"]).all()
    assert (found.each["typical"] < found.each["high"]).all()
    assert "not repeatable" not in found.sentence
    assert "herit" not in found.sentence


def test_too_few_males_have_the_p_alone() -> None:
    found = repeatability(times(5, males=7), permutations=99)
    assert np.isnan([found.value, found.low, found.high]).all()
    assert "Too few to say how repeatable: 7 males" in found.sentence
    assert "permutation p" in found.sentence


def test_limits_cover_a_repeatability() -> None:
    """Truth .5, 10 males of 4, 40 seasons: at 95 % six misses have a chance of 1 in 70."""
    chance = np.random.default_rng(11)
    label, missed = np.repeat(np.arange(10), 4), 0
    for _ in range(40):
        values = chance.normal(size=10)[label] + chance.normal(size=40)
        one = profile(_Linear(values, np.ones((40, 1)), label), _cut(10))
        missed += not one.low <= 0.5 <= one.high
    assert missed < 6


def test_bad_columns_are_refused() -> None:
    with pytest.raises(Refusal, match="did you mean 'temperature_c'"):
        repeatability(times(1), adjust=["temperature"])
    with pytest.raises(Refusal, match="is not a number"):
        repeatability(times(1), adjust=["male"])


@pytest.mark.parametrize("by", ["female", "lineage"])
def test_whoever_is_asked_for_is_named(by: str) -> None:
    random, animal = np.random.default_rng(5), np.repeat([f"A-{at}" for at in range(8)], 4)
    table = pd.DataFrame({by: animal, "latency_s": 60 * np.exp(random.normal(0, 1, 32)), "occurred": True})
    table["size"] = table["latency_s"]
    found = [
        maker(part, **how, by=by, permutations=99)
        for part in (table, table.head(8))
        for maker, how in ((repeatability, {}), (mixed, {"measure": "size"}))
    ]
    for one in found:
        assert one.each.index.name == by
        assert not re.search(r"\bmales?\b", one.sentence)
        assert ("female" if by == "female" else "animal") in one.sentence
    label = figures.repeatability(found[0].each, found[0].population).axes[0].get_xlabel()
    assert label == f"seconds; dashed: {'a female' if by == 'female' else 'one'} in the middle"


def test_males_each_with_his_own_female_have_no_repeatability() -> None:
    # What differs is hers: males are alike here, and limits that take her part for his miss that.
    random = np.random.default_rng(3)
    male = np.repeat(np.arange(8), 4)
    total = 10 + random.normal(0, 1, 8)[male] + random.normal(0, 0.3, 32)
    table = pd.DataFrame({"total_s": total, "latency_s": total, "occurred": True, "male": male, "female": male})
    for found in (mixed(table, "total_s", permutations=19), repeatability(table, permutations=19)):
        assert np.isnan([found.value, found.low, found.high, found.p]).all()
        assert found.each.empty
        assert "can't be told apart" in found.sentence
    assert mixed(table.drop(columns="female"), "total_s", permutations=19).low > 0.5
