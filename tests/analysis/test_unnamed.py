"""Sessions of animals that nobody named: they are no animal, and no group, of their own."""

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from etholog import season
from etholog.analysis.compare import compare
from etholog.analysis.duration import duration
from etholog.analysis.ending import BY_THE_KEEPER
from etholog.analysis.hazard import hazards
from etholog.analysis.incidence import first_ends
from etholog.analysis.latency import latency
from etholog.analysis.outcome import outcomes
from etholog.analysis.proportional import proportional
from etholog.analysis.repeatability import mixed, repeatability
from etholog.analysis.rivals import rivals
from etholog.analysis.sensitivity import AS_SHOWN, AT_ONCE, CENSORED_UNSEEN, sensitivity
from etholog.analysis.sentences import duration as of_durations
from etholog.analysis.sentences import latency as of_latencies
from etholog.commands import main
from tests.make import marks, write_card, write_session

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
        assert ("4 sessions are left out" in compare(table, "male", permutations=99).sentence) == (table is times)
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


def test_other_cases_are_counted_over_the_sessions_that_are_compared(times: pd.DataFrame) -> None:
    ended = np.where(times["occurred"], "he got out", BY_THE_KEEPER)
    hidden = times.assign(occurred=False, ended_by="unseen")
    found = sensitivity(times.assign(ended=ended), "male", permutations=99, otherwise=hidden).set_index("case")
    known = times[times["male"] != ""]
    came = int(known["occurred"].sum())
    assert found.loc[AS_SHOWN, ["concerned", "occurred"]].tolist() == [36, came]
    assert found.loc[CENSORED_UNSEEN, "concerned"] == 36
    assert found.loc[AT_ONCE, ["concerned", "occurred"]].tolist() == [36 - came, 36]


def test_a_mate_without_a_name_is_called_unknown_on_every_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "sessions").mkdir()
    made = marks((1000, "clasp", "onset"), (9000, "clasp", "offset"))
    made.append({"n": 3, "do": "close", "t": 20_000, "outcome": {}})
    for day, male in ((3, "M-1"), (4, "")):
        began = f"2026-05-0{day}T21:15:00.000+02:00"
        write_session(tmp_path / "sessions" / f"{day}.jsonl", made, male=male, female="F-1", began=began)
    write_card(tmp_path, "F-1", ("sex", "2026-01-01", "female"))
    said = ""
    for words in (["card", "F-1"], ["label", "F-1"], ["ready", "F-1", "--today", "2026-05-09"]):
        assert main([*words, "--folder", str(tmp_path)]) == 0
        said += capsys.readouterr().out
    assert "paired with unknown: a clasp" in said
    assert "with M-1 and unknown, last 2026-05-04" in said
    assert "paired 2026-05-04 with unknown" in said
    assert said.count("sire unsure: M-1 or unknown") == 2
    row = outcomes(season.read(tmp_path), date(2026, 5, 9)).iloc[0]
    assert (row["males"], row["sires"]) == ("M-1", 2)
    write_card(tmp_path, "F-1", ("sac", "2026-07-01"))
    assert main(["label", "F-1", "--folder", str(tmp_path)]) == 0
    assert "sire: M-1 or unknown" in capsys.readouterr().out
