"""Sessions of animals that nobody named: they are no animal, and no group, of their own."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from etholog import season
from etholog.analysis.compare import compare
from etholog.analysis.duration import duration
from etholog.analysis.hazard import hazards
from etholog.analysis.incidence import first_ends
from etholog.analysis.latency import latency
from etholog.analysis.proportional import proportional
from etholog.analysis.repeatability import mixed, repeatability
from etholog.analysis.rivals import rivals
from etholog.analysis.sentences import duration as of_durations
from etholog.analysis.sentences import latency as of_latencies
from tests.make import marks, write_session

MALES = [f"M-{one}" for one in range(9)]


@pytest.fixture(scope="module")
def times() -> pd.DataFrame:
    chance = np.random.default_rng(1)
    came = chance.random(40) < 0.8
    return pd.DataFrame(
        {
            "latency_s": chance.exponential(100, 40).round(1),
            "occurred": came,
            "ended_by": np.where(came, "occurred", "watching ended"),
            "male": [*MALES * 4, "", "", "", ""],
            "female": [f"F-{one % 5}" for one in range(40)],
            "warmth": chance.normal(size=40),
        }
    )


def test_measures_are_those_of_the_named_alone(times: pd.DataFrame) -> None:
    known = times[times["male"] != ""]
    for table in (times, known):
        found = repeatability(table, permutations=99)
        assert (found.males, found.sessions, list(found.each.index)) == (9, 36, MALES)
        assert mixed(table, "warmth", permutations=99).males == 9
        assert hazards(table, "warmth", permutations=99).clusters == 9
        assert len(compare(table, "male", permutations=99).table) == 9
        assert rivals(table, "male", shuffles=19)["count"].iloc[0] == known["occurred"].sum()
        assert sorted(set(first_ends(table, "male")["male"])) == MALES
    one, other = (proportional(table, "warmth", "male") for table in (times, known))
    pd.testing.assert_frame_equal(one, other)


def test_a_season_of_which_some_are_named(tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    made = marks((1000, "walking", "onset"), (3000, "drumming", "onset"), (9000, "walking", "onset"))
    made.append({"n": 4, "do": "close", "t": 20_000, "outcome": {}})
    for at, (male, female) in enumerate([("M-1", "F-1"), ("", ""), ("M-2", "F-2"), ("", "F-1")]):
        write_session(tmp_path / "sessions" / f"{at}.jsonl", made, male=male, female=female)
    read = season.read(tmp_path)
    assert sorted(set(duration(read, by="male")["male"])) == ["M-1", "M-2"]
    assert set(duration(read)["females"]) == {0}  # as long as one has no name nobody knows how many they are
    assert "2 males and 2 females" in of_latencies.of_sessions(latency(read, to="drumming"))[1]
    assert "2 males and 2 females" in " ".join(of_durations.of_season(read, duration(read), None, read.labels))
    assert "of 2 males and 2 females" in read._repr_html_()
