"""The latency of one session, and its twin over tables: equal on every example session and on generated ones."""

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import etholog
from etholog import session
from etholog.ethogram import Ethogram, Interval, from_plain
from etholog.session import summary
from etholog.session.latency import Latency, Unseen, latency
from tests.make import ETHOGRAM, marks, write_session
from tests.session.test_session import records

SEASON = Path(__file__).parents[2] / "examples" / "season"
NAMES = ["walking", "drumming", "clasp", "insertion", "insertion:left", "insertion:right", "touch", "flees", "hidden"]


def hers(ethogram: Ethogram) -> Ethogram:
    """The same, with a second behaviour that hides: of another actor than most others have."""
    plain = ethogram.plain()
    behaviours = [b | ({"actor": "female"} if b["code"] in ("hidden", "touch") else {}) for b in plain["behaviour"]]
    mine = behaviours[-1] | {"code": "probing", "actor": "male"}
    return from_plain(plain | {"behaviour": [b for b in behaviours if b["code"] != "probing"] + [mine]})


def assert_twins(folder: Path, interval: Interval, unseen: Unseen, competing: bool) -> None:
    season = etholog.read(folder)
    ends = interval.ends
    times = etholog.latency(
        season, since=interval.since, to=interval.to, unseen=unseen, ends=ends or None, competing=competing
    )
    got = {row["session"]: row for row in times.to_dict("records")}
    for name in season.sessions["session"]:
        one = session.read(next(folder.rglob(f"{name}.jsonl")))
        alone = latency(one.ethogram, one.fold, interval, unseen, competing, ends)
        if alone is None:
            assert name not in got
        else:
            assert got[name]["latency_s"] == pytest.approx(alone.ms / 1000, abs=1e-9)
            assert (got[name]["ended_by"], got[name]["occurred"]) == (alone.ended_by, alone.occurred)


@pytest.mark.slow
@pytest.mark.parametrize("unseen", ["keep", "censor"])
@pytest.mark.parametrize("competing", [False, True])
def test_both_agree_on_every_example_session(unseen: Unseen, competing: bool) -> None:
    kept = next(iter(etholog.read(SEASON).ethograms.values()))
    for interval in kept.interval:
        assert_twins(SEASON, interval, unseen, competing)
        assert_twins(SEASON, replace(interval, ends=()), unseen, competing)


names = st.lists(st.sampled_from(NAMES), min_size=1, max_size=3, unique=True)


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(
    made=st.lists(records(), min_size=1, max_size=4),
    since=st.one_of(st.just([]), names),
    to=names,
    ends=st.one_of(st.just([]), names),
    unseen=st.sampled_from(["keep", "censor"]),
    competing=st.booleans(),
    two=st.booleans(),
)
def test_both_agree_on_sessions_with_gaps_qualifiers_and_time_out_of_sight(
    made: list[list[dict[str, Any]]],
    since: list[str],
    to: list[str],
    ends: list[str],
    unseen: Unseen,
    competing: bool,
    two: bool,
) -> None:
    interval = Interval(name="asked", label="asked", since=since, to=to, ends=ends)
    with tempfile.TemporaryDirectory() as folder:
        for number, one in enumerate(made):
            kept = hers(ETHOGRAM) if two else ETHOGRAM
            write_session(Path(folder) / f"s{number}.jsonl", one, kept)
        assert_twins(Path(folder), interval, unseen, competing)


def test_a_gap_is_not_counted_and_the_summary_says_what_the_table_says(tmp_path: Path) -> None:
    # Martin & Bateson, ch. 5: a latency is time under observation. 1 s to 31 s with 20 s of it unwatched are 10 s.
    kept = from_plain(
        ETHOGRAM.plain()
        | {"interval": [{"name": "courtship", "label": "to his display", "since": ["walking"], "to": ["drumming"]}]}
    )
    made = [
        *marks((1000, "walking", "onset")),
        {"n": 2, "do": "gap", "t": 5000, "why": "door"},
        {"n": 3, "do": "back", "t": 25_000},
        {"n": 4, "do": "mark", "t": 31_000, "code": "drumming", "edge": "onset"},
        {"n": 5, "do": "close", "t": 40_000, "outcome": {}},
    ]
    write_session(tmp_path / "a.jsonl", made, kept)
    one = session.read(tmp_path / "a.jsonl")
    assert latency(kept, one.fold, kept.interval[0]) == Latency(10_000, "occurred")
    assert "  to his display: 10 s" in list(summary.lines(one))
    times: pd.DataFrame = etholog.latency(etholog.read(tmp_path), "courtship")
    assert times["latency_s"].tolist() == [10.0]
