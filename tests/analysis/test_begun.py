"""What was begun on the way, against the heart transplants, and the level of its p on invented sacs."""

import numpy as np
import pandas as pd
import pytest

from etholog.analysis.begun import begun, power
from tests.analysis.published import published


def heart() -> pd.DataFrame:
    """Crowley & Hu 1977, J. Am. Stat. Assoc. 72:27, as R's survival::heart: a row a patient."""
    rows = published("heart")
    table = rows.groupby("id").agg(days=("stop", "max"), occurred=("event", "max"))
    table["occurred"] = table["occurred"] == 1
    return table.assign(began=rows[rows["transplant"] == 1].groupby("id")["start"].min())


def test_heart_transplants() -> None:
    """R: coxph(Surv(start, stop, event) ~ transplant, heart, ties = "breslow"), coefficient and score test. 'Ever
    transplanted' would give -1.29705696855."""
    found = begun(heart())
    assert np.log(found.ratio) == pytest.approx(0.1256668916335, abs=1e-10)
    assert found.statistic == pytest.approx(0.1742799251109, abs=1e-10)
    assert (found.units, found.began) == (103, 69)
    assert found.with_days + found.without_days == pytest.approx(heart()["days"].sum())
    assert found.p > 0.5  # the asymptotic p is .676


def test_under_twelve_there_are_counts_and_no_p() -> None:
    found = begun(heart().head(11))
    assert found.with_events + found.without_events == heart().head(11)["occurred"].sum()
    assert np.isnan(found.p)
    assert np.isnan(power(heart().head(11)))


def sacs(chance: np.random.Generator, ratio: float, n: int = 20) -> pd.DataFrame:
    """Sacs of which half are practised on from some day on, where the loss has one hazard; hatched on day 70."""
    lost = chance.exponential(40, n)
    start = np.where(chance.random(n) < 0.5, chance.uniform(0, 35, n), 1e6)
    lost[start < lost] = (start + (lost - start) / ratio)[start < lost]
    days = np.minimum(lost, 70)
    return pd.DataFrame({"days": days, "occurred": lost < 70, "began": np.where(start < days, start, np.nan)})


@pytest.mark.slow
def test_a_useless_practice_is_seldom_found() -> None:
    """'Ever' against 'never' finds one in 20 to 63 % of such seasons. 200 seasons: 5 % and two errors are 8 %."""
    chance = np.random.default_rng(20)
    found = [begun(sacs(chance, 1.0), shuffles=199, seed=at).p for at in range(200)]
    assert np.mean(np.array(found) <= 0.05) <= 0.08


@pytest.mark.slow
def test_power_grows_with_the_effect() -> None:
    units = sacs(np.random.default_rng(3), 1.0, 40)
    assert power(units, 1.0) < 0.1 < power(units, 0.05)


@pytest.mark.slow
def test_a_change_is_found_less_often_where_half_are_watched_for_a_fortnight() -> None:
    units = sacs(np.random.default_rng(3), 1.0, 40)
    cut = (np.arange(40) % 2 == 0) & (units["days"] > 14)
    days = units["days"].where(~cut, 14.0)
    briefly = pd.DataFrame({"days": days, "occurred": units["occurred"] & ~cut, "began": units["began"]})
    briefly["began"] = briefly["began"].where(briefly["began"] < days)
    assert 0.2 < power(briefly, 0.25) < power(units, 0.25) - 0.2
