"""Latency, duration and transition on recorded sessions: invented ones, small enough to count by hand."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import etholog
from etholog.analysis.duration import duration, poisson_limits
from etholog.analysis.transition import transition
from etholog.refusal import Refusal
from etholog.season import Season
from tests.test_session import marks, write


def season_of(folder: Path, *sessions: list[dict[str, Any]]) -> Season:
    for number, made in enumerate(sessions):
        write(folder / f"s{number}.jsonl", made, male=f"M-{number}", began=f"2026-05-0{number + 1}T21:00:00+02:00")
    return etholog.read(folder)


def close(t: int, n: int = 90) -> dict[str, Any]:
    return {"n": n, "do": "close", "t": t, "outcome": {}}


def test_latencies_are_censored_where_the_behaviour_never_came(tmp_path: Path) -> None:
    season = season_of(
        tmp_path,
        [*marks((2000, "walking", "onset"), (7500, "drumming", "onset")), close(20_000)],
        [*marks((2000, "walking", "onset")), close(31_000)],
        [*marks((2000, "touch", None)), close(9_000)],
        [*marks((1000, "drumming", "onset"), (3000, "walking", "onset"), (4000, "drumming", "onset")), close(9_000)],
    )
    times = etholog.latency(season, since="walking", to="drumming")
    assert times[["latency_s", "occurred"]].to_numpy().tolist() == [[5.5, True], [29.0, False], [1.0, True]]
    assert times.attrs["without_since"] == 1
    assert list(times["ended_by"]) == ["occurred", "watching ended", "occurred"]
    from_start = etholog.latency(season, to=["drumming", "touch"])
    assert list(from_start["latency_s"]) == [7.5, 31.0, 2.0, 1.0]


def test_qualifiers_name_one_palp(tmp_path: Path) -> None:
    made = marks((0, "clasp", "onset"), (1000, "insertion", "onset"), (5000, "insertion", "onset"))
    made[1]["qualifier"], made[2]["qualifier"] = "left", "right"
    season = season_of(tmp_path, [*made, close(9_000)])
    assert etholog.latency(season, to="insertion:right")["latency_s"].tolist() == [5.0]
    assert etholog.latency(season, to="insertion")["latency_s"].tolist() == [1.0]


def test_out_of_sight_and_gaps_by_choice(tmp_path: Path) -> None:
    made = [
        *marks((0, "walking", "onset"), (2000, "hidden", "onset"), (4000, "hidden", "offset")),
        {"n": 4, "do": "gap", "t": 5000, "why": ""},
        {"n": 5, "do": "back", "t": 8000},
        {"n": 6, "do": "mark", "t": 10_000, "code": "drumming", "edge": "onset"},
        close(20_000),
    ]
    season = season_of(tmp_path, made)
    keep = etholog.latency(season, since="walking", to="drumming")
    assert keep[["latency_s", "occurred"]].to_numpy().tolist() == [[7.0, True]]  # the gap of 3 s counts for nothing
    assert keep.attrs["touched"] == 1
    censor = etholog.latency(season, since="walking", to="drumming", unseen="censor")
    assert censor[["latency_s", "occurred"]].to_numpy().tolist() == [[2.0, False]]
    assert list(censor["ended_by"]) == ["unseen"]


def test_an_unknown_behaviour_gets_the_nearest_names(tmp_path: Path) -> None:
    season = season_of(tmp_path, [close(1000, 1)])
    with pytest.raises(Refusal, match="did you mean 'drumming'"):
        etholog.latency(season, to="druming")
    with pytest.raises(Refusal, match="no interval 'courtship'"):
        etholog.latency(season, "courtship")


def test_durations_of_cut_bouts_are_counted_apart(tmp_path: Path) -> None:
    season = season_of(
        tmp_path,
        [*marks((0, "walking", "onset"), (6000, "walking", "offset"), (8000, "walking", "onset")), close(10_000)],
        [*marks((1000, "touch", None), (2000, "touch", None)), close(10_000)],
    )
    table = duration(season).set_index("behaviour")
    walking = table.loc["walking"]
    assert (walking["count"], walking["cut"], walking["total_s"], walking["share"]) == (2, 1, 8.0, 0.4)
    assert walking["median_s"] == 6.0  # 2 s cut short, 6 s whole
    assert table.loc["touch", "per_hour"] == pytest.approx(2 / 20 * 3600)
    by_male = duration(season, by="male").set_index(["male", "behaviour"])
    assert by_male.loc[("M-1", "touch"), "per_hour"] == pytest.approx(2 / 10 * 3600)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [  # Garwood 1936 (from memory), and R's poisson.test
        (0, 0, 3.688879454),
        (3, 0.618672123, 8.767273070),
        (5, 1.623486390, 11.668332079),
        (10, 4.795388696, 18.390356042),
    ],
)
def test_poisson_limits_are_garwoods(count: int, low: float, high: float) -> None:
    np.testing.assert_allclose(poisson_limits(count), (low, high), atol=6e-10)


CODES = {"D": "drumming", "P": "walking", "I": "touch", "R": "flees"}


def sequence(letters: str) -> list[dict[str, Any]]:
    made = [
        {"n": i, "do": "mark", "t": i * 1000, "code": CODES[letter], **({"edge": "onset"} if letter in "DP" else {})}
        for i, letter in enumerate(letters, 1)
    ]
    return [*made, close(20_000)]


def test_lags_never_reach_across_sessions(tmp_path: Path) -> None:
    # Invented sequences, counted by hand; a state that goes on is one bout, so DDPR counts as DPR.
    season = season_of(tmp_path, sequence("DPDPIR"), sequence("DPIDPIR"), sequence("DDPR"))
    order = ["drumming", "walking", "touch", "flees"]
    lag1 = transition(season, repeats=True).counts.reindex(index=order, columns=order)
    assert lag1.to_numpy().tolist() == [[0, 5, 0, 0], [1, 0, 3, 1], [1, 0, 0, 2], [0, 0, 0, 0]]
    lag3 = transition(season, repeats=True, lag=3).counts.reindex(index=order, columns=order)
    assert lag3.to_numpy().tolist() == [[1, 1, 0, 2], [0, 1, 1, 0], [0, 0, 1, 0], [0, 0, 0, 0]]


def test_chains_break_at_gaps_and_out_of_sight(tmp_path: Path) -> None:
    made = [
        *marks((1000, "walking", "onset"), (2000, "hidden", "onset"), (3000, "drumming", "onset")),
        {"n": 4, "do": "gap", "t": 4000, "why": ""},
        {"n": 5, "do": "back", "t": 5000},
        {"n": 6, "do": "mark", "t": 6000, "code": "touch"},
        {"n": 7, "do": "mark", "t": 7000, "code": "flees"},
        close(9000),
    ]
    found = transition(season_of(tmp_path, made))
    assert found.long()[["first", "next", "count"]].to_numpy().tolist() == [["touch", "flees", 1]]
