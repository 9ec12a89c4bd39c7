"""Competing ends against R's and statsmodels' Aalen-Johansen estimate."""

import shutil
import subprocess
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from etholog.analysis.incidence import changed_squares, first_ends, incidence
from etholog.base.refusal import Refusal

CAUSES = {0: None, 1: "insertion", 2: "retreat"}
TIMES = pd.DataFrame(  # invented; R's survfit (multistate), cmprsk and statsmodels agree on the incidences
    {
        "latency_s": [1, 2, 2, 3, 4, 5, 6, 6, 7, 8.0],
        "cause": [CAUSES[c] for c in (1, 0, 2, 1, 1, 2, 0, 1, 2, 0)],
    }
)


def test_aalen_johansen() -> None:
    found = incidence(TIMES, "cause")
    assert list(found.index) == [1, 2, 3, 4, 5, 6, 7]
    first = [0.1, 0.1, 0.2142857143, 0.3285714286, 0.3285714286, 0.4428571429, 0.4428571429]
    np.testing.assert_allclose(found["insertion"], first, atol=5e-11)
    second = [0, 0.1, 0.1, 0.1, 0.2142857143, 0.2142857143, 0.3857142857]
    np.testing.assert_allclose(found["retreat"], second, atol=5e-11)
    se = [0.0948683298, 0.0948683298, 0.1350412959, 0.1561844615, 0.1561844615, 0.1657477095]
    np.testing.assert_allclose(found["se_insertion"].iloc[:6], se, atol=5e-11)
    assert found["se_retreat"].iloc[-1] == pytest.approx(0.1766797766, abs=1e-10)


def test_nothing_that_ended_gives_no_columns() -> None:
    found = incidence(pd.DataFrame({"latency_s": [1.0, 2.0], "cause": [None, None]}), "cause")
    assert found.empty
    assert not len(found.columns)


samples = st.lists(st.tuples(st.integers(1, 9), st.integers(0, 3)), min_size=4, max_size=30)


@settings(max_examples=60, deadline=None)
@given(samples)
def test_incidence_is_statsmodels_wherever_that_has_a_number(rows: list[tuple[int, int]]) -> None:
    from statsmodels.duration.survfunc import CumIncidenceRight

    time, cause = (np.array(column) for column in zip(*rows, strict=True))
    if set(cause) - {0} != {1, 2}:
        return
    ours = incidence(pd.DataFrame({"latency_s": time, "cause": pd.Series(cause).replace(0, None)}), "cause")
    with np.errstate(divide="ignore", invalid="ignore"):
        reference = CumIncidenceRight(time.astype(float), cause)
    place = np.searchsorted(reference.times, ours.index)
    for number in (1, 2):
        np.testing.assert_allclose(ours[str(number)], reference.cinc[number - 1][place], atol=1e-12)
        theirs = reference.cinc_se[number - 1][place]
        known = np.isfinite(theirs)
        np.testing.assert_allclose(ours[f"se_{number}"][known], theirs[known], atol=1e-9)
    assert np.isfinite(ours.to_numpy()).all()


# R's survfit with causes takes `cluster` and has errors as if rows were independent (survival 3.5-3), so that its
# infinitesimal jackknife is summed here; of one cause it sums itself.
R = """
suppressMessages(library(survival))
options(digits = 15)
d <- read.csv(file("stdin"))
change <- survfit(Surv(time, factor(cause, 0:2)) ~ 1, data = d, id = seq_len(nrow(d)), influence = TRUE)$influence
change <- if (is.list(change)) change[[1]] else change
for (state in 2:3) cat(sqrt(colSums(rowsum(change[, , state], d$female)^2))[-1], "\\n")
one <- survfit(Surv(time, cause > 0) ~ 1, data = d, cluster = female, robust = TRUE)
cat(summary(one, times = sort(unique(d$time)))$std.err, "\\n")
"""


def by_r(rows: pd.DataFrame) -> list[list[float]]:
    if not shutil.which("Rscript"):
        pytest.skip("NO R HERE: that errors in which females vary are R's is not tried")
    done = subprocess.run(
        ["Rscript", "-e", R], input=rows.to_csv(index=False), capture_output=True, text=True, check=False
    )
    if "there is no package called" in done.stderr:
        pytest.skip("NO SURVIVAL FOR R HERE (r-cran-survival): that errors in which females vary are R's is not tried")
    assert done.returncode == 0, done.stderr
    return [[float(number) for number in line.split()] for line in done.stdout.splitlines()]


@pytest.mark.slow
def test_what_each_females_rows_change_is_rs_infinitesimal_jackknife() -> None:
    """Therneau's survival: the robust error of a curve, its influence summed by cluster (Lin & Wei 1989 for Cox)."""
    random = np.random.default_rng(8)
    rows = pd.DataFrame(
        {
            "time": random.integers(1, 30, 24),
            "cause": random.integers(0, 3, 24),
            "female": random.integers(0, 7, 24),
        }
    )
    rows.loc[len(rows)] = [30, 0, 0]  # one still waits at the end
    *causes, one = by_r(rows)
    time, cause = rows["time"].to_numpy(dtype=float), rows["cause"].to_numpy()
    at = np.searchsorted(np.unique(time), np.unique(time[cause > 0]))
    for number, theirs in enumerate(causes, 1):
        squares = changed_squares(time, cause > 0, cause == number, rows["female"].to_numpy())
        np.testing.assert_allclose(np.sqrt(squares), np.array(theirs)[at], atol=1e-12)
    squares = changed_squares(time, cause > 0, cause > 0, rows["female"].to_numpy())
    np.testing.assert_allclose(np.sqrt(squares), np.array(one)[at], atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(samples)
def test_errors_know_of_animals_that_come_again(rows: list[tuple[int, int]]) -> None:
    time, cause = (np.array(column) for column in zip(*rows, strict=True))
    times = pd.DataFrame({"latency_s": time.astype(float), "cause": pd.Series(cause).replace(0, None)})
    alone = incidence(times, "cause")
    # Whoever comes once, or is not known, changes nothing.
    for animals in (np.arange(len(times)), np.full(len(times), "")):
        pd.testing.assert_frame_equal(
            incidence(times.assign(female=animals), "cause", "female"), alone, check_exact=True
        )
    # All twice, each time the same: worth no more than once.
    twice = pd.concat([times, times]).assign(female=np.tile(np.arange(len(times)), 2))
    again = incidence(twice, "cause", "female")
    for name in (str(number) for number in sorted(set(cause) - {0})):
        np.testing.assert_allclose(again[name], alone[name], atol=1e-12)
        wider = alone[f"se_{name}"] * np.sqrt(len(times) / (len(times) - 1))
        np.testing.assert_allclose(again[f"se_{name}"], wider, atol=1e-9)
    assert (again.filter(like="se_") >= incidence(twice, "cause").filter(like="se_")).all(axis=None)


def test_where_females_resemble_themselves_less_than_others_errors_stay_those_of_the_rows() -> None:
    """Negative correlation within clusters makes robust errors too small (McCaffrey & Bell 2002)."""
    times = pd.DataFrame(
        {"latency_s": [1.0, 9] * 6, "cause": ["insertion", None] * 6, "female": np.repeat(range(6), 2)}
    )
    found = incidence(times, "cause", "female")
    assert found["se_insertion"].tolist() == pytest.approx([np.sqrt(0.5 * 0.5 / 12)])


def test_males_and_females_that_come_again_both_vary() -> None:
    """Without censoring the share is a mean: its two-way variance is that of Cameron, Gelbach & Miller (2011), by hand;
    what it has above that of single rows counts by Student's t, here scipy's."""
    random = np.random.default_rng(3)
    male, female = random.integers(0, 6, 40), random.integers(0, 5, 40)
    came = random.random(40) < 0.2 + 0.12 * male
    times = pd.DataFrame(
        {"latency_s": 1.0, "cause": np.where(came, "insertion", "retreat"), "male": male, "female": female}
    )
    found = incidence(times, "cause", ["male", "female"])
    change = (came - came.mean()) / 40
    pair = 10 * male + female
    named = [(of, np.unique(of)) for of in (male, female, pair)]
    hand = [len(names) / (len(names) - 1) * sum(change[of == name].sum() ** 2 for name in names) for of, names in named]
    variance, alone = hand[0] + hand[1] - hand[2], came.mean() * (1 - came.mean()) / 40
    assert variance > max(alone, *hand[:2])
    assert found["se_insertion"].tolist() == pytest.approx([np.sqrt(variance)])
    assert found.attrs["animals"] == 5
    reach = np.sqrt(stats.norm.ppf(0.975) ** 2 * alone + stats.t.ppf(0.975, 4) ** 2 * (variance - alone))
    half = reach / (came.mean() * np.log(came.mean()))
    low, high = (side[0] for side in found.attrs["limits"]["insertion"])
    assert (low, high) == pytest.approx((came.mean() ** np.exp(-half), came.mean() ** np.exp(half)))
    for few in (times.assign(male=male % 3), times.assign(female=0)):
        unknown = incidence(few, "cause", ["male", "female"])
        assert unknown["se_insertion"].isna().all() and np.isnan(unknown.attrs["limits"]["insertion"]).all()
    with pytest.raises(Refusal, match="two at most"):
        incidence(times, "cause", ["male", "female", "latency_s"])


def weighed(time: Any, cause: Any, weight: Any) -> list[float]:
    """Return the share of cause 1 at each time of an end, each row as many as its weight (Aalen & Johansen 1978)."""
    free, share, found = 1.0, 0.0, []
    for at in np.unique(time[cause > 0]):
        at_risk, here = weight[time >= at].sum(), weight * (time == at)
        share += free * here[cause == 1].sum() / at_risk
        free *= 1 - here[cause > 0].sum() / at_risk
        found.append(share)
    return found


@settings(max_examples=60, deadline=None)
@given(samples, st.integers(1, 7))
def test_what_animals_change_is_the_derivative_by_the_weight_of_their_rows(
    rows: list[tuple[int, int]], animals: int
) -> None:
    """The infinitesimal jackknife is that by its definition (Jaeckel 1972); here as a difference."""
    time, cause = (np.array(column) for column in zip(*rows, strict=True))
    unit, little = np.arange(len(time)) % animals, 1e-5
    hand = 0.0
    for one in np.unique(unit):
        more, less = (np.array(weighed(time, cause, 1 + way * little * (unit == one))) for way in (1, -1))
        hand += ((more - less) / (2 * little)) ** 2
    squares = changed_squares(time.astype(float), cause > 0, cause == 1, unit)
    np.testing.assert_allclose(squares, hand, atol=1e-9)


def as_latencies(times: pd.DataFrame, **more: Any) -> pd.DataFrame:
    why = times["cause"].map({"insertion": "occurred", "retreat": "retreat"}).fillna("watching ended")
    return times.assign(occurred=why == "occurred", ended_by=why, **more)


def test_shares_of_all_ends_and_of_none_add_up_to_one() -> None:
    # R: .4428571429 and .3857142857; the state in which nothing has come keeps .1714285714.
    table = first_ends(as_latencies(TIMES)).set_index("end")
    assert list(table["count"]) == [4, 3]
    np.testing.assert_allclose(table["share"], [0.4428571429, 0.3857142857], atol=5e-11)
    assert 1 - table["share"].sum() == pytest.approx(0.1714285714, abs=5e-11)
    assert table["se"].tolist() == pytest.approx([0.1657477095, 0.1766797766], abs=1e-10)
    inside = (table["low"] < table["share"]) & (table["share"] < table["high"])
    assert inside.all()
    # One less the curve that takes retreats for censored says too much.
    from etholog.analysis.survival import kaplan_meier

    curve = kaplan_meier(TIMES["latency_s"].to_numpy(), (TIMES["cause"] == "insertion").to_numpy())
    assert 1 - curve["share"].iloc[-1] > table.loc["occurred", "share"] + 0.05


def test_groups_are_read_off_at_a_time_that_all_were_watched_to() -> None:
    first = as_latencies(TIMES, male="A")
    second = as_latencies(TIMES[TIMES["latency_s"] < 5], male="B")  # ends with an insertion: known for ever after
    third = as_latencies(TIMES.iloc[:2], male="C")  # ends censored at 2
    assert set(first_ends(pd.concat([first, second]), "male")["at_s"]) == {8.0}
    assert set(first_ends(pd.concat([first, second, third]), "male")["at_s"]) == {2.0}
    # Where nothing came up to then, that is its share.
    late = as_latencies(TIMES.iloc[7:], male="D")  # its first insertion is at 6
    none = first_ends(pd.concat([third, late]), "male").set_index("male").loc["D"]
    assert none["share"].tolist() == [0, 0] and none["low"].isna().all()
    with pytest.raises(Refusal, match="did you mean 'male'"):
        first_ends(first, "mal")


def test_what_went_out_of_sight_has_not_come() -> None:
    hidden = as_latencies(TIMES).replace({"ended_by": {"watching ended": "unseen"}})
    pd.testing.assert_frame_equal(first_ends(hidden), first_ends(as_latencies(TIMES)))


def test_a_group_of_several_males_has_no_limits_that_take_sessions_for_males() -> None:
    """Nor one in which two females have all evenings, where limits held in 84 of 100."""
    males = as_latencies(TIMES, male=["A"] * 5 + ["B"] * 5, species="one")
    females = as_latencies(TIMES, male=list("ABCDEFGHIJ"), female=["F"] * 5 + ["G"] * 5, species="one")
    assert first_ends(females)[["se", "low", "high"]].isna().all().all()
    four, ten = (first_ends(females.assign(female=list(names))).iloc[0] for names in ("FGHIFGHIFG", "ABCDEFGHIJ"))
    assert four["share"] == ten["share"] and four["se"] >= ten["se"]
    assert four["low"] < ten["low"] < ten["high"] < four["high"]
    assert first_ends(males, "species")[["se", "low", "high"]].isna().all().all()
    assert first_ends(males, "male")["n"].tolist() == [5, 5, 5, 5]
    assert first_ends(as_latencies(TIMES, male=list("ABCDEFGHIJ"), species="one"), "species")["low"].notna().all()


def test_a_share_of_all_has_no_limits_made_of_rounding() -> None:
    """Ten sessions in which it came: R's survfit (survival 3.5-3, multistate) has 1, with an error of 7e-17. Here it
    came out as 0.9999999999999999, from 0 to 1."""
    for count in range(2, 60):
        times = pd.DataFrame({"latency_s": np.arange(1.0, count + 1), "occurred": True, "ended_by": "occurred"})
        row = first_ends(times).iloc[0]
        assert (row["share"], row["se"]) == (1.0, 0.0)
        assert np.isnan(row["low"]) and np.isnan(row["high"])
