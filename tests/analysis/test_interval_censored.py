"""Times known as spans, against R's survival; onsets that nobody saw, in an invented set."""

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import numpy as np
import pandas as pd
import pytest

import etholog as e
from etholog.analysis.interval_censored import turnbull, unseen_onsets, weibull
from etholog.analysis.survival import kaplan_meier
from etholog.base.refusal import Refusal
from etholog.commands import main
from tests.analysis.published import published
from tests.make import marks, terrestrial_1, write_session


def bcdeter() -> pd.DataFrame:
    """Beadle et al. 1984 as R's KMsurv::bcdeter: months to breast retraction; radiotherapy alone, and with drugs."""
    return published("bcdeter").rename(columns={"lower": "lower_s", "upper": "upper_s"})


# R 4.2.2: survfit(Surv(lower, upper, type = "interval2") ~ 1), whose times are the middles of the spans.
BY_RADIATION = {
    4.5: 0.953661991,
    7.5: 0.831623212,
    11.5: 0.760877366,
    24.5: 0.668228727,
    33.5: 0.586417055,
    39: 0.465857837,
}
WITH_DRUGS = {
    4.5: 0.957580646,
    6.5: 0.915161293,
    11.5: 0.847808257,
    16.5: 0.702746891,
    18.5: 0.587535745,
    34: 0.229156566,
}


@pytest.mark.parametrize(("treat", "expected"), [(1, BY_RADIATION), (2, WITH_DRUGS)])
def test_turnbull_is_rs(treat: int, expected: dict[float, float]) -> None:
    table = turnbull(bcdeter().query("treat == @treat"))
    middle = (table["after_s"] + table["by_s"]) / 2
    found = [table[middle <= month]["share"].iloc[-1] for month in expected]
    np.testing.assert_allclose(found, list(expected.values()), atol=2e-3)  # R stops its rounds early


def covered(table: pd.DataFrame, rows: pd.DataFrame) -> np.ndarray:
    """Which spans of the estimate lie in each row's; what was not there yet at an instant came after it."""
    after, by = table["after_s"].to_numpy(), table["by_s"].to_numpy()
    lower, upper = rows["lower_s"].to_numpy()[:, None], rows["upper_s"].fillna(np.inf).to_numpy()[:, None]
    return (lower <= after) & (by <= upper) & ~((by == lower) & (upper > lower))


@pytest.mark.parametrize("treat", [1, 2])
def test_turnbull_is_the_maximum(treat: int) -> None:
    """Gentleman & Geyer 1994, Biometrika 81:618: at the maximum no span would gain by more mass."""
    rows = bcdeter().query("treat == @treat")
    table = turnbull(rows)
    beyond = pd.DataFrame({"after_s": [rows["lower_s"].max()], "by_s": [np.inf], "mass": [1 - table["mass"].sum()]})
    whole = pd.concat([table, beyond]) if beyond["mass"][0] > 1e-6 else table
    inside = covered(whole, rows).astype(float)
    gain = (inside / (inside @ whole["mass"].to_numpy())[:, None]).mean(axis=0)
    np.testing.assert_allclose(gain, 1.0, atol=1e-4)


def test_weibull_is_survregs() -> None:
    """survreg(Surv(ifelse(lower == 0, NA, lower), upper, type = "interval2") ~ factor(treat), bcdeter)"""
    found = weibull(bcdeter(), "treat")
    np.testing.assert_allclose(found.table["coef"], [3.887232045034, -0.566401921571], rtol=1e-6)
    np.testing.assert_allclose(found.table["se"], [0.134801167924, 0.167791480831], rtol=1e-4)
    assert found.scale == pytest.approx(0.595956635, rel=1e-6)
    assert found.log_likelihood == pytest.approx(-149.756973872, abs=1e-8)


def test_onsets_that_were_seen_give_the_product_limit() -> None:
    chance = np.random.default_rng(1)
    seconds, seen = np.round(chance.exponential(50, 30)) + 1, chance.random(30) < 0.7
    table = turnbull(pd.DataFrame({"lower_s": seconds, "upper_s": np.where(seen, seconds, np.inf)}))
    curve = kaplan_meier(seconds, seen)
    np.testing.assert_allclose(table["by_s"], curve.index)
    np.testing.assert_allclose(table["share"], curve["share"], atol=1e-8)


def test_the_invented_set_has_some(repository: Path) -> None:
    season = e.read(repository / "examples" / "unseen")
    times = e.latency(season, "courtship")
    spans = unseen_onsets(season, times)
    assert spans["unseen"].sum() == 4  # as the script that made it has them
    assert (spans["lower_s"] <= spans["upper_s"]).all()
    seen = spans[~spans["unseen"] & spans["occurred"]]
    np.testing.assert_array_equal(seen["lower_s"], seen["upper_s"])
    np.testing.assert_allclose(seen["upper_s"], seen["latency_s"])
    whole = e.read(repository / "examples" / "season")
    assert not unseen_onsets(whole, e.latency(whole, "courtship"), soon_s=0.0)["unseen"].any()


@pytest.mark.parametrize(("who", "spans"), [("male", (5.0, 21.0, True)), ("female", (21.0, 21.0, False))])
def test_an_onset_of_his_was_unseen_only_where_he_was(
    tmp_path: Path, who: str, spans: tuple[float, float, bool]
) -> None:
    told = marks(
        (5_000, f"{who}_hidden", "onset"), (20_000, f"{who}_hidden", "offset"), (21_000, "drumming", "onset"),
        (60_000, "drumming", "offset"),
    )  # fmt: skip
    write_session(tmp_path / "a.jsonl", told, terrestrial_1(), male="M-1", female="F-1")
    season = e.read(tmp_path)
    found = unseen_onsets(season, e.latency(season, to="drumming")).iloc[0]
    assert (found["lower_s"], found["upper_s"], found["unseen"]) == spans


def test_a_span_that_is_none_is_refused() -> None:
    with pytest.raises(Refusal, match="row 1: from 5 s to 4 s is not a span"):
        turnbull(pd.DataFrame({"lower_s": [0.0, 5.0], "upper_s": [3.0, 4.0]}))


@pytest.mark.slow
def test_the_command_says_how_many_and_how_soon(
    repository: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    done = etholog("latency", "courtship", "--spans", "--json", "--folder", repository / "examples" / "unseen")
    told = json.loads(done.stdout)
    assert "In 4 of 12 sessions the onset was seen by nobody" in told["sentence"]
    assert "within 5 s" in told["sentence"]
    assert sum(row["mass"] for row in told["turnbull"]) < 1  # one never came


@pytest.mark.slow
def test_the_invented_set_is_what_its_script_makes(repository: Path, tmp_path: Path) -> None:
    subprocess.run([sys.executable, repository / "examples" / "make_unseen.py", tmp_path / "new"], check=True)
    for file in (repository / "examples" / "unseen" / "sessions").glob("*.jsonl"):
        made = tmp_path / "new" / "sessions" / file.name
        assert records(made)[1:] == records(file)[1:]  # the first holds the ethogram, which may say more by now


def records(file: Path) -> list[dict[str, object]]:
    lines = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    return [{name: value for name, value in line.items() if name != "crc"} for line in lines]


def test_three_onsets_are_too_few_for_a_model(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "sessions").mkdir()
    said = []
    for number in range(1, 5):
        made = marks((1000, "walking", "onset"), (3000 + 1700 * number, "drumming", "onset"))
        write_session(tmp_path / "sessions" / f"{number}.jsonl", made, id=f"{number}")
        main(["latency", "--to", "drumming", "--spans", "--folder", str(tmp_path)])
        said.append("Weibull" in "".join(capsys.readouterr()))
    assert said == [False, False, False, True]
