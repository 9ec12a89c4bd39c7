"""Latency, duration and transition on recorded sessions: invented ones, small enough to count by hand."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import etholog
from etholog.analysis import chain, survival
from etholog.analysis.duration import duration
from etholog.analysis.sentences.duration import of_season as shares_of
from etholog.analysis.sentences.transition import of_season
from etholog.analysis.transition import transition, transition_each
from etholog.base.refusal import Refusal
from etholog.commands import main
from etholog.ethogram import Ethogram, from_plain
from etholog.season import Season
from tests.make import marks, small_ethogram, write_session


def season_of(folder: Path, *sessions: list[dict[str, Any]]) -> Season:
    for number, made in enumerate(sessions):
        write_session(
            folder / f"s{number}.jsonl", made, male=f"M-{number}", began=f"2026-05-0{number + 1}T21:00:00+02:00"
        )
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


def test_each_session_is_measured_by_the_interval_of_its_own_ethogram(tmp_path: Path) -> None:
    def kept(name: str, *intervals: dict[str, Any]) -> Ethogram:
        return from_plain(small_ethogram().plain() | {"name": name, "interval": list(intervals)})

    display = {"name": "display", "label": "to his display", "since": ["walking"], "to": ["drumming"]}
    other = display | {"since": [], "to": ["touch"], "ends": ["clasp"]}
    made = [*marks((1000, "walking", "onset"), (3000, "drumming", "onset"), (7000, "touch", None)), close(9000)]
    for name, of in (("a", kept("drums", display)), ("b", kept("touches", other)), ("c", kept("neither"))):
        write_session(tmp_path / f"{name}.jsonl", made, of)
    season = etholog.read(tmp_path)
    times = etholog.latency(season, "display", competing=True)
    assert times[["session", "latency_s", "occurred"]].to_numpy().tolist() == [["a", 2.0, True], ["b", 7.0, True]]
    assert (times.attrs["without_since"], times.attrs["without_interval"]) == (0, 1)
    assert times.attrs["to"] == ["drumming", "touch"]
    # As spans and in a picture too: in b the drumming at 3 s is none of its latency's.
    spans = etholog.unseen_onsets(season, times)
    assert spans[["lower_s", "upper_s"]].to_numpy().tolist() == [[2.0, 2.0], [7.0, 7.0]]


def test_a_group_in_which_nobody_looked_for_it_is_not_the_one_with_least_of_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    without = small_ethogram().plain()
    without["behaviour"] = [one for one in without["behaviour"] if one["code"] != "walking"]
    short = from_plain(without | {"name": "short"})
    write_session(tmp_path / "a.jsonl", [*marks((0, "walking", "onset")), close(10_000)], male="M-1")
    write_session(tmp_path / "b.jsonl", [*marks((4_000, "walking", "onset")), close(10_000)], male="M-2")
    write_session(tmp_path / "c.jsonl", [close(10_000)], short, male="M-3")
    season = etholog.read(tmp_path)
    [said] = shares_of(season, duration(season, "male"), "male", {})
    assert "from 60 % of the time (M-2)" in said, said
    main(["repeatability", "--total", "walking", "--folder", str(tmp_path), "--json", "--permutations", "9"])
    told = json.loads(capsys.readouterr().out)
    assert (told["males"], told["sessions"]) == (2, 2)


def test_time_in_which_nobody_looked_for_a_behaviour_is_no_time_without_it(tmp_path: Path) -> None:
    without = small_ethogram().plain()
    without["behaviour"] = [one for one in without["behaviour"] if one["code"] not in ("walking", "touch")]
    short = from_plain(without | {"name": "short"})
    made = marks((0, "walking", "onset"), (6_000, "drumming", "onset"), (7_000, "touch", None))
    write_session(tmp_path / "a.jsonl", [*made, close(10_000)], male="M-1")
    write_session(tmp_path / "b.jsonl", [*marks((0, "drumming", "onset")), close(10_000)], short, male="M-2")
    write_session(tmp_path / "c.jsonl", [close(10_000)], male="M-2")
    season = etholog.read(tmp_path)
    found = duration(season).set_index("behaviour")
    assert found["share"].dropna().round(3).to_dict() == {"walking": 0.3, "drumming": 0.467}  # of 20 s, and of 30
    assert found.loc["touch", "per_hour"] == pytest.approx(3600 / 20)
    touches, walks = (
        etholog.contrast(season, *asked).table for asked in (("touch", "male"), ("walking", "male", "share"))
    )
    assert touches["below"].tolist() == pytest.approx([10 / 3600] * 2)
    assert walks["below"].tolist() == [10.0, 10.0]


def test_onsets_that_nobody_saw_are_those_of_the_sessions_own_ethogram(tmp_path: Path) -> None:
    def kept(name: str, code: str) -> Ethogram:
        asked = {"name": "display", "label": "to his display", "to": [code]}
        return from_plain(small_ethogram().plain() | {"name": name, "interval": [asked]})

    # In both he drums from 3 s on and touches just after a gap: seen by nobody only where the touch is the display.
    made = marks((3000, "drumming", "onset"))
    gap = [{"n": 2, "do": "gap", "t": 5000, "why": "door"}, {"n": 3, "do": "back", "t": 8000}]
    made += [*gap, {"n": 4, "do": "mark", "t": 9000, "code": "touch"}, close(12_000)]
    for name, code in (("a", "drumming"), ("b", "touch")):
        write_session(tmp_path / f"{name}.jsonl", made, kept(name, code))
    season = etholog.read(tmp_path)
    spans = etholog.unseen_onsets(season, etholog.latency(season, "display"))
    assert spans[["lower_s", "upper_s", "unseen"]].to_numpy().tolist() == [[3.0, 3.0, False], [5.0, 9.0, True]]


def test_a_named_interval_and_two_behaviours_are_not_mixed(tmp_path: Path) -> None:
    season = season_of(tmp_path, [close(1000, 1)])
    with pytest.raises(Refusal, match="not both"):
        etholog.latency(season, "courtship", to="drumming")


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


def test_an_event_comes_before_a_censoring_at_the_same_millisecond(tmp_path: Path) -> None:
    # The convention of Kaplan & Meier 1958. 1.1 s less 0.4 s is not 0.7 s in binary, which parted the two.
    came = [*marks((400, "walking", "onset"), (1100, "drumming", "onset")), close(2000)]
    season = season_of(tmp_path, came, [*marks((0, "walking", "onset")), close(700)])
    times = etholog.latency(season, since="walking", to="drumming")
    assert times["latency_s"].tolist() == [0.7, 0.7]
    curve = survival.kaplan_meier(times["latency_s"].to_numpy(), times["occurred"].to_numpy())
    assert curve[["at_risk", "share"]].to_numpy().tolist() == [[2.0, 0.5]]


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
    with pytest.raises(Refusal, match="did you mean 'male'"):
        duration(season, by="males")


def test_rates_and_shares_count_only_what_could_be_seen(tmp_path: Path) -> None:
    made = marks((0, "walking", "onset"), (4000, "hidden", "onset"), (9000, "hidden", "offset"), (9500, "touch", None))
    season = season_of(tmp_path, [*made, close(10_000)])
    table = duration(season).set_index("behaviour")
    assert table.loc["touch", "per_hour"] == pytest.approx(1 / 5 * 3600)  # 5 of 10 s in sight
    assert table.loc["hidden", "share"] == 0.5
    # What is out of sight counts for nothing (Martin & Bateson, Measuring Behaviour), above the line as below.
    assert table.loc["walking", "share_in_sight"] == 1.0
    assert table.loc["hidden", "share_in_sight"] == 0.0


def test_one_actor_hidden_twice_over_is_out_of_sight_once(tmp_path: Path) -> None:
    plain = small_ethogram().plain()
    hidden = next(b for b in plain["behaviour"] if b["code"] == "hidden")
    kept = from_plain(plain | {"behaviour": [*plain["behaviour"], hidden | {"code": "burrow", "label": "burrow"}]})
    made = marks(
        (0, "walking", "onset"), (1000, "hidden", "onset"), (4000, "burrow", "onset"), (6000, "walking", "offset"),
        (7000, "hidden", "offset"), (8000, "burrow", "offset"), (9000, "touch", None),
    )  # fmt: skip
    write_session(tmp_path / "s.jsonl", [*made, close(10_000)], kept)
    table = duration(etholog.read(tmp_path)).set_index("behaviour")
    assert table.loc["touch", "per_hour"] == pytest.approx(1 / 3 * 3600)  # 7 of 10 s hidden, not 9
    assert table.loc["walking", "share_in_sight"] == pytest.approx(1 / 3)


def test_one_male_has_a_rate_and_no_limits(tmp_path: Path) -> None:
    season = season_of(tmp_path, [*marks((0, "touch", None)), close(9000)])
    row = duration(season).iloc[0]
    assert np.isnan(row[["per_hour_low", "per_hour_high", "typical_low", "typical_high"]].astype(float)).all()
    assert (row["per_hour"], row["males"], row["limits"]) == (400, 1, "one male")


def test_a_season_without_bouts_has_an_empty_table(tmp_path: Path) -> None:
    assert duration(season_of(tmp_path, [close(1000)])).empty
    assert duration(etholog.read(tmp_path), by="male").empty


def test_the_budget_of_each_session_is_its_duration_table() -> None:
    season = etholog.read("examples/season")
    keys = ["session", "behaviour", "qualifier"]
    each, table = (
        one.assign(**one[keys].astype(object).fillna("").astype(str)).sort_values(keys, ignore_index=True)
        for one in (etholog.time_shares(season), duration(season, by="session"))
    )
    columns = [*keys, "actor", "kind", "count", "cut", "total_s", "share"]
    pd.testing.assert_frame_equal(
        each[columns].astype({"actor": object, "kind": object}),
        table[columns].astype({"actor": object, "kind": object}),
        check_dtype=False,
    )


def test_durations_are_those_of_pandas_on_the_example_season() -> None:
    season = etholog.read("examples/season")
    ours = duration(season, by="female")
    keys = ["female", "actor", "behaviour", "qualifier"]
    grouped = season.bouts.assign(qualifier=season.bouts["qualifier"].astype(object).fillna("")).groupby(
        keys, observed=True
    )
    reference = grouped.agg(
        count=("n", "size"), total=("duration_s", "sum"), cut=("whole", lambda w: int((~w).sum())),
        sessions=("session", "nunique"),
    )  # fmt: skip
    ours = ours.assign(qualifier=ours["qualifier"].fillna("")).set_index(keys).reindex(reference.index)
    for name in ("count", "cut", "sessions"):
        assert ours[name].tolist() == reference[name].tolist()
    states = (ours["kind"] == "state").to_numpy()
    np.testing.assert_allclose(ours["total_s"][states], reference["total"][states])


CODES = {"D": "drumming", "P": "walking", "I": "touch", "R": "flees"}
ORDER = list(CODES.values())


def sequence(letters: str) -> list[dict[str, Any]]:
    made: list[tuple[int, str, str | None]] = []
    for second, letter in enumerate(letters):
        state = letter in "DP"
        made.append((second * 1000, CODES[letter], "onset" if state else None))
        if state:
            made.append((second * 1000 + 500, CODES[letter], "offset"))
    return [*marks(*made), close(len(letters) * 1000)]


@pytest.mark.parametrize(
    ("lag", "counts"),
    [  # invented sequences, counted by hand
        (1, [[1, 5, 0, 0], [1, 0, 3, 1], [1, 0, 0, 2], [0, 0, 0, 0]]),
        (2, [[1, 1, 3, 1], [1, 1, 0, 2], [0, 1, 0, 0], [0, 0, 0, 0]]),
        (3, [[1, 1, 0, 3], [0, 1, 1, 0], [0, 0, 1, 0], [0, 0, 0, 0]]),
    ],
)
def test_lags_never_reach_across_sessions(tmp_path: Path, lag: int, counts: list[list[int]]) -> None:
    season = season_of(tmp_path, *map(sequence, ("DPDPIR", "DPIDPIR", "DDPR")))
    found = transition(season, repeats=True, lag=lag).counts.reindex(index=ORDER, columns=ORDER)
    assert found.to_numpy().tolist() == counts


def test_without_repeats_a_behaviour_that_comes_again_counts_as_one(tmp_path: Path) -> None:
    season = season_of(tmp_path, *map(sequence, ("DPDPIR", "DPIDPIR", "DDPR")))
    found = transition(season).counts.reindex(index=ORDER, columns=ORDER).to_numpy()
    assert np.isnan(np.diag(found)).all()  # can't follow itself
    assert found[0, 1] == 5


def test_each_male_and_each_session(tmp_path: Path) -> None:
    season = season_of(tmp_path, *map(sequence, ("DPDPIR", "DPIDPIR", "DDPR")))
    each = transition_each(season, "male", repeats=True)
    assert list(each) == ["M-0", "M-1", "M-2"]
    assert [int(one.counts.to_numpy().sum()) for one in each.values()] == [5, 6, 3]
    assert list(transition_each(season, "session", repeats=True)) == ["s0", "s1", "s2"]
    assert "Pooled from 3 sessions of 3 males" in transition(season).sentence
    assert "Pooled" not in each["M-1"].sentence
    with pytest.raises(Refusal, match="did you mean 'male'"):
        transition_each(season, "mael")


def test_the_ethogram_knows_what_cannot_follow(tmp_path: Path) -> None:
    # 'flees' ends the clasp, and an insertion needs one: a new clasp must begin in between.
    def clasped(t: int) -> list[tuple[int, str, str | None]]:
        return [(t, "clasp", "onset"), (t + 1000, "insertion", "onset"), (t + 2000, "flees", None)]

    made = [*clasped(0), (3000, "touch", None), *clasped(4000), (7000, "walking", "onset")]
    season = season_of(tmp_path, [*marks(*made), close(9000)])
    counts = transition(season).counts
    assert np.isnan(counts.loc["flees", "insertion"])
    assert counts.loc["flees", "touch"] == 1
    assert counts.loc["touch", "insertion"] == 0  # a clasp may have been going on
    assert transition(season, repeats=True).counts.loc["flees", "insertion"] == 0


def test_what_was_counted_is_never_called_impossible(tmp_path: Path) -> None:
    made = [(0, "clasp", "onset"), (1000, "flees", None), (2000, "insertion", "onset")]  # a slip of the observer
    counts = transition(season_of(tmp_path, [*marks(*made), close(9000)])).counts
    assert counts.loc["flees", "insertion"] == 1


def test_chains_break_at_gaps_and_out_of_sight(tmp_path: Path) -> None:
    made = [
        *marks((1000, "walking", "onset"), (2000, "hidden", "onset"), (3000, "drumming", "onset")),
        {"n": 4, "do": "gap", "t": 4000, "why": ""},
        {"n": 5, "do": "back", "t": 5000},
        {"n": 6, "do": "mark", "t": 6000, "code": "touch"},
        {"n": 7, "do": "mark", "t": 7000, "code": "flees"},
        close(9000),
    ]
    season = season_of(tmp_path, made)
    found = transition(season)
    assert found.long()[["first", "next", "count"]].to_numpy().tolist() == [["touch", "flees", 1]]
    assert transition(season, longest_pause_s=0.5).long().empty


def hers() -> Ethogram:
    """The small ethogram, but what she may do is hers."""
    plain = small_ethogram().plain()
    for behaviour in plain["behaviour"]:
        behaviour.pop("ends", None)
        if behaviour["code"] in ("touch", "flees", "hidden"):
            behaviour["actor"] = "female"
    return from_plain(plain)


def test_what_she_does_within_seconds_of_what_he_does(tmp_path: Path) -> None:
    made = [
        *((0, "walking", "onset"), (1000, "touch", None)),  # answered
        *((2000, "drumming", "onset"), (4000, "drumming", "offset"), (7500, "flees", None)),  # too late: nothing
        *((8000, "walking", "onset"), (9000, "hidden", "onset"), (9500, "touch", None)),  # she is hidden: not known
        *((12_000, "drumming", "onset"), (13_000, "hidden", "offset")),  # hidden as he begins: not known
        *((14_000, "walking", "onset"), (17_000, "touch", None)),  # answered at the very edge
        (19_000, "drumming", "onset"),  # the session ends first: not known
    ]
    write_session(tmp_path / "a.jsonl", [*marks(*made), close(21_000)], ethogram=hers())
    found = transition(etholog.read(tmp_path), actor="male", answer="female", within_s=3.0).counts
    assert found.loc["walking"].to_dict() == {"touch": 2, "flees": 0, "(nothing)": 0}
    assert found.loc["drumming"].to_dict() == {"touch": 0, "flees": 0, "(nothing)": 1}
    with pytest.raises(Refusal, match="two different actors"):
        transition(etholog.read(tmp_path), actor="male", answer="male", within_s=3)
    with pytest.raises(Refusal, match="how many seconds"):
        transition(etholog.read(tmp_path), actor="male", answer="female")


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"actor": "male", "answer": "female", "within_s": 30.0}, "one act can answer several"),
        ({"lag": 2}, "what can come between"),
        ({"repeats": True}, "seem to follow themselves"),
    ],
)
def test_no_p_where_chi_squared_holds_no_level(how: dict[str, Any], says: str) -> None:
    # Simulated: of 300 seasons of 20 sessions in which nothing depends on anything, some cell was under .05 after Holm
    # in 65 to 79 of 100 where his acts come in bursts, in 95 to 100 at a lag of 2, in 28 with repeats.
    season = etholog.read("examples/season")
    found = transition(season, **how)
    assert found.df > 0 and found.residuals.notna().any(axis=None)
    assert np.isnan(found.p) and found.p_holm.isna().all(axis=None)
    assert not found.certain.any(axis=None) and not found.holding
    assert says in found.sentence and "take p" not in found.sentence
    assert of_season(season, found, {})[0].startswith("Most often: ")


@pytest.mark.slow
def test_shuffles_of_a_season_and_its_questions_of_order_and_males() -> None:
    season = etholog.read("examples/season")
    found = transition(season, shuffles=500, seed=3)
    assert found.p_shuffled is not None
    assert found.p_shuffled.loc["palp_probing", "insertion"] == pytest.approx(2 / 501)
    assert np.isnan(found.p_shuffled.loc["insertion", "insertion"])
    assert found.p_whole == pytest.approx(1 / 501)
    assert {"few", "p_shuffled", "p_shuffled_holm"} <= set(found.long().columns)
    # Homogeneity of males, from tables of each male counted apart.
    names = list(found.counts.index)
    tables = [
        one.counts.reindex(index=names, columns=names).fillna(0).to_numpy()
        for one in transition_each(season, "male").values()
    ]
    assert etholog.chain_homogeneity(season, "male") == chain.homogeneity(tables)
    order = etholog.chain_order(season)
    assert order.df > 0
    assert order.rough


def test_a_pair_is_in_sight_while_neither_is_out_of_it(tmp_path: Path) -> None:
    plain = small_ethogram().plain()
    changed = {"clasp": {"actor": "pair"}, "probing": {"actor": "female", "hides": True, "chain": None, "within": None}}
    kept = from_plain(plain | {"behaviour": [b | changed.get(b["code"], {}) for b in plain["behaviour"]]})
    made = marks(
        *((0, "clasp", "onset"), (0, "walking", "onset"), (1000, "hidden", "onset"), (2000, "probing", "onset")),
        *((3000, "hidden", "offset"), (5000, "probing", "offset")),
    )
    write_session(tmp_path / "a.jsonl", [*made, close(10_000)], kept)
    found = duration(etholog.read(tmp_path)).set_index("behaviour")
    # Of ten seconds he is out of sight for two, she for three, one of them or both for four.
    assert found.loc[["walking", "probing", "clasp"], "per_hour"].tolist() == [
        pytest.approx(3600 / seconds) for seconds in (8, 7, 6)
    ]
    assert found.loc[["walking", "clasp"], "share_in_sight"].tolist() == [1.0, 1.0]
    assert found.loc[["walking", "clasp"], "share"].tolist() == [1.0, 1.0]


def test_of_a_session_that_nobody_watched_no_share_is_told(tmp_path: Path) -> None:
    made = [{"n": 1, "do": "mark", "t": 0, "code": "touch"}, {"n": 2, "do": "gap", "t": 0, "why": ""}]
    season = season_of(tmp_path, [*made, close(0)], [*marks((0, "walking", "onset")), close(4000)])
    shares = etholog.time_shares(season)
    assert shares.loc[shares["behaviour"] == "touch", "share"].isna().all()
    assert shares.loc[shares["behaviour"] == "walking", "share"].tolist() == [1.0]
