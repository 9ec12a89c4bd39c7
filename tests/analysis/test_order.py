"""The order of sessions, what closes an evening, and what the answer would be had it gone on otherwise."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import etholog
from etholog.analysis import ending, sensitivity
from etholog.analysis.compare import compare
from etholog.analysis.incidence import first_ends
from etholog.analysis.order import confounded, order
from etholog.session import closing
from tests.make import marks, write_session


def session(folder: Path, number: int, *made: tuple[int, str, str | None], end: int = 60_000, **said: Any) -> None:
    """Write the session of a day of May."""
    outcome = {"ended": said.pop("ended")} if "ended" in said else {}
    close = {"n": 90, "do": "close", "t": end, "outcome": outcome}
    write_session(
        folder / f"s{number}.jsonl", [*marks(*made), close], began=f"2026-05-{number:02}T21:00:00+02:00", **said
    )


def test_how_manieth_a_session_is(tmp_path: Path) -> None:
    met = [("A", "f"), ("A", "g"), ("B", "f"), ("A", "f"), ("", "f"), ("A", "f")]
    for number, (male, female) in enumerate(met, 1):
        session(tmp_path, number, (0, "walking", "onset"), male=male, female=female)
    season = etholog.read(tmp_path)
    found = order(season.sessions)
    assert found["male_session"].tolist()[:4] == [1, 2, 1, 3]
    assert found["pair_session"].tolist()[:4] == [1, 1, 1, 2]
    assert found.iloc[4].isna().all()  # who he was is not said
    assert found.iloc[5].tolist() == [4, 3, 2]
    days = found["male_days_since_session"]
    assert days.isna().tolist()[:4] == [True, False, True, False]
    assert days[3] == 2
    # Counted over the whole season, whatever a latency leaves out.
    times = etholog.latency(season, since="walking", to="drumming")
    pd.testing.assert_frame_equal(times[list(found.columns)], found)


def test_who_is_not_named_has_no_order() -> None:
    sessions = pd.DataFrame(
        {
            "began": pd.to_datetime(["2026-05-03", "2026-05-01", "2026-05-02"], utc=True),
            "male": pd.Categorical(["A", "A", None]),
            "female": pd.Categorical(["f", None, "f"]),
        }
    )
    found = order(sessions)
    assert found["male_session"].iloc[:2].tolist() == [2, 1]
    assert found["pair_session"].iloc[0] == 1
    assert found.iloc[2].isna().all()
    assert np.isnan(found["pair_session"].iloc[1])


def test_a_comparison_that_order_may_explain_is_warned_of() -> None:
    times = pd.DataFrame(
        {
            "latency_s": np.arange(12.0) + 1,
            "occurred": True,
            "place": ["old"] * 6 + ["new"] * 6,
            "male": list("ABC") * 4,
            "male_session": np.repeat([1.0, 2, 3, 4], 3),
        }
    )
    [warning] = confounded(times, "place")
    assert "on average 1.5 for old, 3.5 for new" in warning
    assert warning in compare(times, by="place").sentence
    assert not list(confounded(times, "male"))
    assert not list(confounded(times.assign(male_session=1.0), "place"))
    # An hour of difference reads as two equal means, and warns of nothing.
    hour = times.assign(male_days_since_session=np.where(times["place"] == "old", 7.0, 7 + 1 / 24))
    assert list(confounded(hour, "place")) == [warning]


def test_latencies_by_order_can_be_compared_within_it() -> None:
    times = etholog.latency(etholog.read("examples/season"), "courtship")
    assert compare(times, by="male", within="pair_session").within == "pair_session"
    assert etholog.hazards(times, ["male_session"], within="female").table.index.tolist() == ["male_session"]


def test_every_answer_to_how_it_ended_is_known_here() -> None:
    [question] = [question for question in closing.QUESTIONS if question.name == "ended"]
    assert set(ending.FOR_GOOD) | {ending.BY_THE_KEEPER, "left together"} == set(question.choices)


def test_what_happens_on_the_way_ends_nothing(tmp_path: Path) -> None:
    walking = (0, "walking", "onset")
    session(tmp_path, 1, walking, (5000, "flees", None), (9000, "drumming", "onset"), ended="he got out")
    session(tmp_path, 2, walking, (5000, "flees", None), ended="he was killed", end=20_000)
    session(tmp_path, 3, walking, (5000, "flees", None), ended="keeper ended it", end=30_000)
    session(tmp_path, 4, walking, (5000, "flees", None), ended="left together", end=40_000)
    session(tmp_path, 5, walking, (5000, "flees", None), end=50_000)
    # He never walked: no latency to end, whatever came.
    session(tmp_path, 6, (5000, "flees", None), (9000, "drumming", "onset"), ended="he got out", end=50_000)
    season = etholog.read(tmp_path)
    times = etholog.latency(season, since="walking", to="drumming", competing=True)
    assert times["latency_s"].tolist() == [9, 20, 30, 40, 50]
    assert times["ended_by"].tolist() == ["occurred", "he was killed", *["watching ended"] * 3]
    assert times.attrs["followed"] is None
    assert times.attrs["ends"] == ["he was killed"]
    by_end = first_ends(times).set_index("end")["count"]
    assert by_end.to_dict() == {"occurred": 1, "he was killed": 1}
    # A definition of one's own ends it there, and how often it came all the same is said.
    own = etholog.latency(season, since="walking", to="drumming", ends="flees")
    assert own["latency_s"].tolist() == [5] * 5
    assert own.attrs["followed"] == 1
    assert etholog.latency(season, since="walking", to="drumming", ends="touch").attrs["followed"] == 0


@pytest.mark.slow
def test_sessions_that_the_keeper_ended_at_worst_and_at_best() -> None:
    times = etholog.latency(etholog.read("examples/season"), "courtship")
    other = etholog.latency(etholog.read("examples/season"), "courtship", unseen="censor")
    kept = times["ended"] == ending.BY_THE_KEEPER
    found = sensitivity.sensitivity(times, "male", otherwise=other).set_index("case")
    assert found.loc[sensitivity.AS_SHOWN, ["concerned", "occurred"]].tolist() == [28, 22]
    assert found.loc[sensitivity.AS_SHOWN, "p"] == compare(times, "male").permutation_p
    assert found.loc[sensitivity.CENSORED_UNSEEN, "occurred"] == other["occurred"].sum()
    assert found.loc[sensitivity.CENSORED_UNSEEN, "p"] == compare(other, "male").permutation_p
    still = int((kept & ~times["occurred"]).sum())
    assert found.loc[sensitivity.NEVER, ["concerned", "occurred"]].tolist() == [still, 22]
    assert found.loc[sensitivity.AT_ONCE, "occurred"] == 22 + still
    back = sensitivity.sensitivity(other, "male", otherwise=times)["case"].tolist()
    assert back[:2] == [sensitivity.AS_SHOWN, sensitivity.KEPT_UNSEEN]


@pytest.mark.parametrize("policy", ["keep", "censor"])
def test_without_such_sessions_there_is_one_case(tmp_path: Path, policy: Any) -> None:
    for number in range(1, 5):
        session(tmp_path, number, (0, "walking", "onset"), (1000 * number, "drumming", "onset"), male="AB"[number % 2])
    times = etholog.latency(etholog.read(tmp_path), since="walking", to="drumming", unseen=policy)
    assert sensitivity.sensitivity(times, "male", otherwise=times)["case"].tolist() == [sensitivity.AS_SHOWN]
