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


WALKS, DRUMS = (1000, "walking", "onset"), (3000, "drumming", "onset")


@pytest.mark.parametrize(
    ("made", "ends", "unseen", "ms", "ended_by"),
    [
        ([WALKS, (1000, "touch", None), DRUMS], (), "keep", 2000, "occurred"),
        ([(1000, "drumming", "onset"), WALKS], (), "keep", 0, "occurred"),  # at one instant: it is not before
        ([WALKS, (3000, "touch", None), DRUMS], ("touch",), "keep", 2000, "occurred"),  # at one instant: it came
        ([WALKS, (2999, "touch", None), DRUMS], ("touch",), "keep", 1999, "touch"),
        ([(999, "touch", None), WALKS, DRUMS], ("touch",), "keep", 2000, "occurred"),  # before the time began
        ([(0, "hidden", "onset"), (1000, "hidden", "offset"), WALKS, DRUMS], (), "censor", 2000, "occurred"),
        ([(0, "hidden", "onset"), WALKS, (1001, "hidden", "offset"), DRUMS], (), "censor", 0, "unseen"),
        ([WALKS, (3000, "hidden", "onset"), DRUMS], (), "censor", 2000, "occurred"),
        ([WALKS, (2999, "hidden", "onset"), DRUMS], (), "censor", 1999, "unseen"),
        ([WALKS, (2000, "hidden", "onset")], (), "keep", 8000, "watching ended"),
    ],
)
def test_what_counts_at_one_instant(
    tmp_path: Path,
    made: list[tuple[int, str, str | None]],
    ends: tuple[str, ...],
    unseen: Unseen,
    ms: int,
    ended_by: str,
) -> None:
    write_session(tmp_path / "a.jsonl", [*marks(*made), {"n": 90, "do": "close", "t": 9000, "outcome": {}}])
    kept = session.read(tmp_path / "a.jsonl")
    interval = Interval(name="asked", label="asked", since=["walking"], to=["drumming"], ends=ends)
    assert latency(kept.ethogram, kept.fold, interval, unseen, ends=ends) == Latency(ms, ended_by)
    assert_twins(tmp_path, interval, unseen, competing=False)


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
