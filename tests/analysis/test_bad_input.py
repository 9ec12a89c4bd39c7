"""Whatever comes in: a number that means what it says, or one Refusal that names the column and the row."""

import contextlib
import inspect
import math
import re
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, given, reject, settings
from hypothesis import strategies as st

import etholog
from etholog import Refusal
from etholog.analysis import columns
from tests.analysis.published import THREE_MALES

CELLS: list[Any] = [
    0, 1, 2, -1, 5.5, -0.0, 1e300, 10**400, math.nan, math.inf, -math.inf, None, pd.NA, pd.NaT, True, False, "", "1",
    "male", "M-1", "=1+1", "\x1b[31m", "ü" * 300, b"x", 1j, timedelta(seconds=3), pd.Timedelta("3s"), [1], (1, 2), {},
    date(2026, 1, 1), datetime(2026, 1, 1), pd.Timestamp("2026-01-01"), np.float32(2.5), np.int8(3), np.bool_(True),
]  # fmt: skip
cell = st.sampled_from(CELLS)


def one_kind(length: int) -> st.SearchStrategy[list[Any]]:
    kinds = [st.floats(0, 1e4), st.integers(0, 3), st.booleans(), st.sampled_from(["a", "b", "c"])]
    return st.one_of(*(st.lists(kind, min_size=length, max_size=length) for kind in kinds))


@st.composite
def tables(draw: Any, good: dict[str, list[Any]]) -> Any:
    """Draw a table whose columns are right, or wrong in a cell, or of another kind, or not there."""
    rows = len(next(iter(good.values())))
    length = draw(st.integers(0, rows))
    made = {}
    for name, right in good.items():
        how = draw(st.sampled_from(["right"] * 5 + ["a cell", "another kind", "any", "not there"]))
        values = list(right[:length])
        if how == "a cell" and length:
            values[draw(st.integers(0, length - 1))] = draw(cell)
        elif how == "another kind":
            values = draw(one_kind(length))
        elif how == "any":
            values = draw(st.lists(cell, min_size=length, max_size=length))
        if how != "not there":
            kind = draw(st.sampled_from([None, None, object, "category"]))
            plain = np.empty(len(values), dtype=object)
            for place, value in enumerate(values):
                plain[place] = value
            made[name] = pd.Series(plain)
            with contextlib.suppress(TypeError, ValueError, OverflowError, Warning):
                made[name] = made[name].infer_objects() if kind is None else made[name].astype(kind)
    try:
        frame = pd.DataFrame(made)
    except (TypeError, ValueError, OverflowError, Warning):
        reject()  # pandas itself holds no such table, or not for long
    if draw(st.booleans()) and len(frame):
        frame.index = draw(st.sampled_from([pd.Index([0] * len(frame)), pd.Index([str(n) for n in range(len(frame))])]))
    return draw(st.sampled_from([frame] * 20 + [None, 3, "table", [1, 2], np.eye(2), {"a": [1]}]))


def answered(work: Callable[[], Any]) -> Any:
    """Return what came of it; None where it was refused. Any other exception fails the test."""
    try:
        return work()
    except Refusal as refusal:
        assert str(refusal).strip()
        return None


TIMES = {
    "latency_s": THREE_MALES["latency_s"].tolist(), "occurred": THREE_MALES["occurred"].tolist(),
    "male": THREE_MALES["male"].tolist(), "female": THREE_MALES["female"].tolist(),
    "light": [0.5 * n for n in range(len(THREE_MALES))],
    "ended_by": ["occurred", "watching ended", "flees"] * 4,
}  # fmt: skip
BOUTS = {
    "behaviour": ["a", "b", "a", "c", "a"], "kind": ["state"] * 5, "qualifier": [None, "left", None, None, None],
    "onset_s": [0.0, 2.0, 4.0, 6.5, 8.0], "offset_s": [2.0, 3.0, 6.0, 7.0, 9.0], "whole": [True] * 5,
    "session": ["s"] * 5,
}  # fmt: skip
name = st.one_of(st.sampled_from(["male", "female", "light", "ended_by", "none", "session"]), cell)
# What fails is small enough as it is: shrinking it would take minutes.
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)
often = settings(max_examples=40, deadline=None, phases=PHASES, suppress_health_check=list(HealthCheck))


@pytest.mark.slow
@often
@given(tables(TIMES), name, name, name, cell)
def test_tables_of_latencies(times: Any, by: Any, within: Any, cluster: Any, number: Any) -> None:
    answered(lambda: etholog.compare(times, by, permutations=99))
    answered(lambda: etholog.compare(times, "male", within, 99, cluster=cluster))
    answered(lambda: etholog.compare(times, "male", permutations=number, seed=number))
    answered(lambda: etholog.hazards(times, by, within, cluster))
    answered(lambda: etholog.hazards(times, [by, "light"], within))
    answered(lambda: etholog.incidence(times, by))
    answered(lambda: etholog.first_ends(times, by))
    answered(lambda: etholog.sensitivity(times, by, within, 99))
    answered(lambda: etholog.sensitivity(times, "male", cluster=cluster, otherwise=number))


@pytest.mark.slow
@settings(often, max_examples=25)
@given(tables(TIMES), name, name, cell, tables({"lower_s": [0.0, 3.0, 4.0], "upper_s": [2.0, None, 4.0]}))
def test_what_else_takes_latencies(times: Any, by: Any, within: Any, number: Any, spans: Any) -> None:
    answered(lambda: etholog.proportional(times, by, within))
    answered(lambda: etholog.rivals(times, by, within, 9))
    answered(lambda: etholog.repeatability(times, by, permutations=9))
    answered(lambda: etholog.mixed(times, "light", "male", [by], 9))
    answered(lambda: etholog.mixed(times, by, "male", number, 9))
    answered(lambda: etholog.power(times, males=[4], sessions=[2], like=[0.2], seasons=2))
    answered(lambda: etholog.power(None, number, 60.0, males=[4], sessions=[2], seasons=2))
    answered(lambda: etholog.power(None, 30.0, number, number, [4], number, number, seasons=2))
    answered(lambda: etholog.schoenfeld(number))
    answered(lambda: etholog.schoenfeld(2.0, number, number, number, number))
    answered(lambda: etholog.turnbull(spans))
    answered(lambda: etholog.weibull(spans))
    answered(lambda: etholog.weibull(spans, by))
    answered(lambda: etholog.observers(number))
    answered(lambda: etholog.observers([(times, number)]))


@pytest.mark.slow
@often
@given(tables(BOUTS), tables(BOUTS), cell, cell, st.booleans(), tables({"onset_s": [0.0, 5.0], "offset_s": [4.0, 9.0]}))
def test_two_records(first: Any, second: Any, tolerance: Any, unit: Any, align: bool, watched: Any) -> None:
    answered(lambda: etholog.agreement(first, second, align=align))
    answered(lambda: etholog.agreement(first, second, tolerance, unit, align, watched))


@pytest.mark.slow
@often
@given(tables({"a": [0, 3, 4], "b": [2, 0, 1], "c": [3, 4, 0]}), tables({"a": [1, 0, 0], "b": [0, 1, 0]}), cell)
def test_counts(counts: Any, impossible: Any, other: Any) -> None:
    answered(lambda: etholog.transitions(counts))
    if isinstance(counts, pd.DataFrame) and counts.shape[0] == counts.shape[1]:
        counts.index = counts.columns
        answered(lambda: etholog.transitions(counts))
        answered(lambda: etholog.transitions(counts, impossible))
    answered(lambda: etholog.transitions([[0, 3], [2, other]]))
    answered(lambda: etholog.transitions(np.array([[0, 3], [2, 0]]), np.array([[other, 0], [0, 1]], dtype=object)))


ATTEMPTS = {
    "watched": [True, True, False], "courted": [True, False, False], "may_have_taken": [True, True, True],
    "eaten": [False] * 3, "evidence": [3.0, math.nan, 5.0], "young": [math.nan, 20.0, 0.0], "days": [3.0, 9.0, 40.0],
    "males": ["M-1", "M-2", "M-1"], "end": ["sac", "open", "moult"], "insertion_s": [2.0, 3.0, 4.0],
    "insertions": [1, 2, 3], "palps": [1, 2, 0], "latency_s": [3.0, math.nan, 5.0],
}  # fmt: skip
SIGNS = {
    "female": ["F-1", "F-2", "F-3"], "attempt": [0, 1, 2], "end": ["sac", "moult", "open"],
    "sign": ["web", None, "web"], "days": [3.0, 4.0, 5.0],
}  # fmt: skip


@pytest.mark.slow
@often
@given(tables(ATTEMPTS), tables(SIGNS), st.one_of(cell, st.lists(st.one_of(st.floats(), cell), max_size=40)))
def test_tables_of_attempts_signs_and_pauses(attempts: Any, seen: Any, pauses: Any) -> None:
    answered(lambda: etholog.funnel(attempts))
    answered(lambda: etholog.time_to_sac(attempts))
    answered(lambda: etholog.evening_measures(attempts))
    answered(lambda: etholog.signs(seen))
    answered(lambda: etholog.criterion(pauses))


@pytest.fixture(scope="module")
def season() -> Any:
    return etholog.read("sessions")


@pytest.mark.slow
@settings(max_examples=20, deadline=None, phases=PHASES, suppress_health_check=list(HealthCheck))
@given(given_=st.one_of(cell, st.sampled_from(["insertion", "drumming", "male", "session", "courtship"])), other=cell)
def test_measures_of_a_season(season: Any, given_: Any, other: Any) -> None:
    for one in (season, given_):
        answered(lambda one=one: etholog.latency(one, given_))
        answered(lambda one=one: etholog.latency(one, since=other, to=given_, unseen=other))
        answered(lambda one=one: etholog.latency(one, to="drumming", ends=other))
        answered(lambda one=one: etholog.duration(one, by=other, join_s=given_))
        answered(lambda one=one: etholog.time_shares(one))
        answered(lambda one=one: etholog.palp_balance(one, given_, other))
        answered(lambda one=one: etholog.bout_pauses(one, given_))
        answered(lambda one=one: etholog.transition(one, lag=given_, actor=other))
        answered(lambda one=one: etholog.transition(one, actor="male", answer="female", within_s=other))
        answered(lambda one=one: etholog.transition(one, longest_pause_s=other, sessions=given_))
        answered(lambda one=one: etholog.transition_each(one, given_))
        answered(lambda one=one: etholog.chain_order(one))
        answered(lambda one=one: etholog.chain_homogeneity(one, given_))
        for of_today in (etholog.outcomes, etholog.signs_seen):
            answered(lambda one=one, work=of_today: work(one, other))
            answered(lambda one=one, work=of_today: work(one, date(2026, 6, 1)))
        for measure in ("rate", "share", other):
            answered(lambda one=one, m=measure: etholog.contrast(one, "drumming", given_, m, permutations=9))
            answered(lambda one=one, m=measure: etholog.contrast(one, given_, "male", m, other, 9))
        answered(lambda one=one: etholog.unseen_onsets(one, etholog.latency(season, "courtship"), other))
        answered(lambda one=one: etholog.practice_outcomes(one, given_, date(2026, 6, 1)))
        answered(lambda: etholog.read(other))


def test_every_public_function_is_asked() -> None:
    text = Path(__file__).read_text()
    public = [name for name in etholog.__all__ if inspect.isfunction(getattr(etholog, name))]
    assert [name for name in public if not re.search(rf"etholog\.{name}\b", text)] == []


def wrong(**cells: Any) -> pd.DataFrame:
    times = THREE_MALES.astype(object).reset_index(drop=True)
    for column, value in cells.items():
        times.loc[2, column] = value
    return times


@pytest.mark.parametrize(
    ("times", "told"),
    [
        (wrong(latency_s=None), "column 'latency_s', row 2: empty; give seconds"),
        (wrong(latency_s=-3.0), "column 'latency_s', row 2: -3.0 is under 0 s"),
        (wrong(latency_s=math.inf), "column 'latency_s', row 2: inf is not a time"),
        (wrong(latency_s="95"), "column 'latency_s', row 2: '95' is not a number"),
        (wrong(latency_s=timedelta(seconds=95)), "column 'latency_s', row 2: 0:01:35 is not a number"),
        (wrong(occurred=2), "column 'occurred', row 2: 2 is neither yes nor no"),
        (wrong(occurred="yes"), "column 'occurred', row 2: 'yes' is neither yes nor no"),
        (wrong(occurred=None), "column 'occurred', row 2: empty; give True or False"),
        (wrong(female=None), "column 'female', row 2: empty; name it"),
        (THREE_MALES.assign(occurred=THREE_MALES["occurred"] + 1), "is neither yes nor no"),
        (THREE_MALES["latency_s"].astype("timedelta64[s]").to_frame("latency_s"), "no column 'occurred'"),
        (THREE_MALES["latency_s"], "a table is needed"),
    ],
)
def test_what_is_wrong_with_a_table_is_named(times: Any, told: str) -> None:
    for work in (
        lambda: etholog.compare(times, "male", within="female", permutations=99),
        lambda: etholog.hazards(times, "male", within="female"),
    ):
        with pytest.raises(Refusal) as refused:
            work()
        assert told in str(refused.value)


def test_yes_and_no_may_be_1_and_0() -> None:
    plain = etholog.compare(THREE_MALES, "male", permutations=99)
    numbers = etholog.compare(THREE_MALES.assign(occurred=THREE_MALES["occurred"].astype(float)), "male", None, 99)
    pd.testing.assert_frame_equal(plain.table, numbers.table)


@pytest.mark.parametrize(
    ("counts", "impossible", "told"),
    [
        ([[0, math.nan], [1, 0]], None, "row 0, column 1: nan is not a number"),
        ([[0, 2], [1.5, 0]], None, "row 1, column 0: 1.5 is not a whole number"),
        ([[0, -2], [1, 0]], None, "row 0, column 1: -2 is under 0"),
        ([[0, 2, 3], [1, 0, 3]], None, "2 rows and 3 columns"),
        ([[0, 2], [1, 0]], [[1, 0], [0, 2]], "is neither yes nor no"),
        ([[0, 2], [1, 0]], [[1]], "1 rows, but the counts have 2"),
        ([[0, 2], [1, 0]], [[0, 1], [0, 0]], "an impossible transition was counted"),
    ],
)
def test_what_is_wrong_with_counts_is_named(counts: Any, impossible: Any, told: str) -> None:
    with pytest.raises(Refusal) as refused:
        etholog.transitions(np.array(counts), None if impossible is None else np.array(impossible))
    assert told in str(refused.value)


def test_a_mask_goes_by_its_names() -> None:
    names = ["a", "b", "c"]
    counts = pd.DataFrame([[0, 10, 5], [4, 0, 12], [9, 7, 0]], names, names)
    mask = pd.DataFrame(np.eye(3, dtype=bool), names, names)
    mask.loc["a", "b"] = False
    turned = mask.loc[["c", "a", "b"], ["b", "c", "a"]]
    assert etholog.transitions(counts, turned).x2 == etholog.transitions(counts, mask).x2
    assert etholog.transitions(counts.to_numpy(), np.eye(3, dtype=bool)).x2 == etholog.transitions(counts, mask).x2


@pytest.mark.parametrize(
    "given_",
    [{"tolerance_s": -1.0}, {"tolerance_s": 0.0}, {"unit_s": 0.0}, {"unit_s": math.nan}, {"tolerance_s": math.inf}],
)
def test_a_tolerance_and_a_unit_are_times(given_: dict[str, float]) -> None:
    bouts = pd.DataFrame(BOUTS)
    with pytest.raises(Refusal, match=next(iter(given_))):
        etholog.agreement(bouts, bouts, **given_)


@pytest.mark.parametrize("ratio", [math.inf, math.nan])
def test_a_number_without_bounds_is_finite(ratio: float) -> None:
    with pytest.raises(Refusal, match="must be a finite number"):
        columns.number(ratio, "ratio")


@pytest.mark.parametrize("shuffles", [0, -1, 1.5, True, None])
def test_permutations_are_a_whole_number_over_0(shuffles: Any) -> None:
    with pytest.raises(Refusal, match="permutations"):
        etholog.compare(THREE_MALES, "male", permutations=shuffles)
