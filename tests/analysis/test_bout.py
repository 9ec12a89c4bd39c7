"""The bout criterion against its formula's worked numbers, on pauses of known processes; joined bouts; palps."""

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq, least_squares

import etholog
from etholog.analysis import bout
from etholog.analysis.balance import palp_balance
from etholog.analysis.duration import duration
from etholog.base.refusal import Refusal
from tests.analysis.test_season_measures import close, season_of
from tests.make import marks


def test_the_criterion_of_two_known_processes() -> None:
    # 200 pauses within bouts at .5/s and 20 between at .01/s: 12.68287367 s; misassigned .352353809 within and
    # 2.382309543 between (formula of Slater & Lester 1982 from memory, numbers computed from it).
    at = bout.between(200, 0.5, 20, 0.01)
    assert at == pytest.approx(12.68287367, abs=5e-9)
    np.testing.assert_allclose(bout.misassigned(at, 200, 0.5, 20, 0.01), (0.352353809, 2.382309543), atol=5e-10)


def mixture(n: int, share: float, within: float, between: float) -> np.ndarray:
    """The n evenly spread quantiles of a mixture of two exponentials: what such pauses look like without chance."""

    def missing(t: float, p: float) -> float:
        return share * -np.expm1(-within * t) + (1 - share) * -np.expm1(-between * t) - p

    return np.array([brentq(missing, 0, 1e5, args=(p,)) for p in (np.arange(n) + 0.5) / n])


def test_the_criterion_is_found_from_the_pauses() -> None:
    found = bout.criterion(mixture(220, 200 / 220, 0.5, 0.01))
    assert found.criterion_s == pytest.approx(12.68287367, rel=0.05)
    assert (found.within, found.within_rate) == (pytest.approx(200, rel=0.02), pytest.approx(0.5, rel=0.02))
    assert found.between == pytest.approx(20, rel=0.05)
    assert found.misassigned == pytest.approx(0.352353809 + 2.382309543, rel=0.15)
    np.testing.assert_allclose(found.classes["fitted"], found.classes["log_frequency"], atol=0.15)
    assert found.classes["count"].sum() == 220


def test_one_process_has_no_criterion() -> None:
    pauses = -np.log1p(-(np.arange(300) + 0.5) / 300) * 5  # exponential, without chance
    found = bout.criterion(pauses)
    assert np.isnan(found.criterion_s)
    assert "no criterion" in found.sentence
    few = bout.criterion(pauses[:29])
    assert np.isnan(few.criterion_s)
    assert "29 pauses: fewer than 30" in few.sentence
    assert "fewer" not in bout.criterion(pauses[:30]).sentence
    assert "0 pauses" in bout.criterion(np.zeros(0)).sentence


def test_two_processes_must_be_worth_their_two_numbers_more() -> None:
    """Akaike 1974: 2 for each number fitted. Here two fit better than one, and not by 4."""
    found = bout.criterion(np.random.default_rng(11).exponential(5, 100))
    low, high, told = (found.classes[name].to_numpy() for name in ("low_s", "high_s", "log_frequency"))

    def away(log: np.ndarray) -> np.ndarray:
        count, rate = np.exp(log)
        return np.log(count * (np.exp(-rate * low) - np.exp(-rate * high)) / (high - low)) - told

    one = (least_squares(away, [np.log(100), np.log(1 / 5)]).fun ** 2).sum()
    two = ((found.classes["fitted"] - told) ** 2).sum()
    assert 0 < len(told) * np.log(one / two) < 4
    assert np.isnan(found.criterion_s)


def test_a_criterion_below_all_pauses_is_none() -> None:
    # With so few pauses within bouts Slater & Lester's formula gives less than no time.
    for share, within, between in ((0.2, 0.1, 0.05), (0.02, 0.5, 0.05)):
        assert bout.between(share, within, 1 - share, between) < 0
        assert np.isnan(bout.criterion(mixture(300, share, within, between)).criterion_s)


def test_rounding_is_no_pause() -> None:
    pauses = mixture(220, 200 / 220, 0.5, 0.01)
    assert bout.criterion(np.append(pauses, [0.0, 4e-16])).criterion_s == bout.criterion(pauses).criterion_s


def test_pauses_do_not_reach_over_what_nobody_saw(tmp_path: Path) -> None:
    walk = [
        (0, "walking", "onset"),
        (1000, "walking", "offset"),
        (3000, "walking", "onset"),
        (3500, "walking", "offset"),
        (3500, "walking", "onset"),  # at once: no pause
        (4000, "walking", "offset"),
    ]
    made = [
        *marks(*walk, (5000, "hidden", "onset"), (6000, "hidden", "offset"), (7000, "walking", "onset")),
        {"n": 10, "do": "gap", "t": 8000, "why": ""},
        {"n": 11, "do": "back", "t": 9000},
        {"n": 12, "do": "mark", "t": 9500, "code": "walking", "edge": "onset"},
        close(10_000),
    ]
    season = season_of(tmp_path, made, [*marks(*walk), close(5000)])
    assert bout.bout_pauses(season, "walking").tolist() == [2.0, 2.0]
    with pytest.raises(Refusal, match="did you mean 'walking'"):
        bout.bout_pauses(season, "walkin")


def test_bouts_nearer_than_the_criterion_are_one(tmp_path: Path) -> None:
    made = marks(
        *(
            (0, "walking", "onset"),
            (1000, "walking", "offset"),
            (2000, "walking", "onset"),
            (2500, "walking", "offset"),
        ),
        *((2600, "touch", None), (6000, "walking", "onset"), (8000, "touch", None)),
    )
    season = season_of(tmp_path, [*made, close(9000)], [*marks((500, "walking", "onset")), close(1000)])
    joined = bout.join(season.bouts, 1.0)
    walking = joined[joined["behaviour"] == "walking"]
    assert walking[["onset_s", "offset_s", "whole"]].to_numpy().tolist() == [
        [0.0, 2.5, True],
        [6.0, 9.0, False],
        [0.5, 1.0, False],
    ]
    assert len(joined) == len(season.bouts) - 1  # touches are 5.4 s apart
    assert bout.join(season.bouts, 0.5)[["onset_s", "n"]].equals(season.bouts[["onset_s", "n"]])
    assert duration(season, join_s=1.0).set_index("behaviour").loc["walking", "count"] == 3


def test_what_is_joined_lasts_to_its_end_and_is_as_whole_as_that(tmp_path: Path) -> None:
    made = [
        *marks((200, "walking", "onset"), (1200, "walking", "offset"), (2200, "walking", "onset")),  # 1 s apart
        {"n": 4, "do": "gap", "t": 3000, "why": ""},
        {"n": 5, "do": "back", "t": 3200},
        {"n": 6, "do": "mark", "t": 3300, "code": "walking", "edge": "onset"},
        {"n": 7, "do": "mark", "t": 3800, "code": "walking", "edge": "offset"},
        close(9000),
    ]
    joined = bout.join(season_of(tmp_path, made).bouts, 1.0)
    # Over a gap nothing is joined: nobody saw that it had ended.
    told = joined[["onset_s", "offset_s", "duration_s", "whole"]].to_numpy().tolist()
    assert told == [[0.2, 3.0, pytest.approx(2.8), False], [3.3, 3.8, pytest.approx(0.5), True]]


def test_the_balance_of_palps(tmp_path: Path) -> None:
    def inserted(*sides: str) -> list[dict[str, object]]:
        made = marks((0, "clasp", "onset"), *((1000 * (at + 1), "insertion", "onset") for at in range(len(sides))))
        for mark, side in zip(made[1:], sides, strict=True):
            mark["qualifier"] = side
        return [*made, close(1000 * (len(sides) + 1))]

    season = season_of(tmp_path, inserted("left", "right", "left", "left"), inserted("right", "right"))
    row = palp_balance(season).iloc[0]
    # Two onsets of one palp running are one insertion that goes on.
    assert (row["left"], row["right"], row["left_s"], row["right_s"]) == (2, 2, 3.0, 3.0)
    assert row["left_share"] == 0.5
    assert (row["turns"], row["pairs"]) == (2, 2)
    assert row["chance"] == pytest.approx(2 / 3)  # of left, right, left: 4 of the 6 neighbours in all 3 orders differ
    assert palp_balance(season, by="male")["left"].tolist() == [2, 0]
    with pytest.raises(Refusal, match="no behaviour 'walking:left'"):
        palp_balance(season, "walking")


def test_no_insertion_has_no_palp_balance(tmp_path: Path) -> None:
    season = season_of(tmp_path, [*marks((0, "walking", "onset")), close(1000)])
    with pytest.raises(Refusal, match="there is no balance"):
        etholog.palp_balance(season)
