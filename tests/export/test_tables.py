"""The exported tables, read by pandas with nothing but the types that their description declares."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import etholog
from etholog import season
from etholog.export import folder
from etholog.season import Season
from tests.export.conftest import read
from tests.make import season_of, write_session


@pytest.mark.slow
def test_pandas_reads_the_declared_types_and_the_same_numbers(exported: Path, known: Season) -> None:
    sessions, bouts = read(exported, "sessions"), read(exported, "bouts")
    np.testing.assert_array_equal(bouts["onset_s"], known.bouts["onset_s"])  # as text that gives the same double back
    np.testing.assert_array_equal(bouts["duration_s"], known.bouts["duration_s"])
    assert bouts["whole"].tolist() == known.bouts["whole"].tolist()
    assert bouts["behaviour"].tolist() == known.bouts["behaviour"].tolist()
    assert bouts["qualifier"].isna().tolist() == known.bouts["qualifier"].isna().tolist()
    assert sessions["began"].tolist() == known.sessions["began"].tolist()
    assert sessions["marks"].tolist() == known.sessions["marks"].tolist()
    keys = ["session", "behaviour", "qualifier"]
    both = read(exported, "durations"), etholog.duration(known, by="session")
    spans, ours = (one.assign(**one[keys].astype(object).fillna("").astype(str)).sort_values(keys) for one in both)
    assert spans["behaviour"].tolist() == ours["behaviour"].tolist()
    assert spans[["count", "cut"]].to_numpy().tolist() == ours[["count", "cut"]].to_numpy().tolist()
    np.testing.assert_allclose(spans[["total_s", "share"]].to_numpy(float), ours[["total_s", "share"]], rtol=1e-12)
    times = etholog.latency(known, "courtship")
    own = read(exported, "latencies").query("interval == 'courtship'")
    np.testing.assert_array_equal(own["latency_s"], times["latency_s"].round(3))  # taken in milliseconds
    assert own["occurred"].tolist() == times["occurred"].tolist()
    found = etholog.transition(known, actor="male").long()
    own = read(exported, "transitions").query("whose == 'male'")
    np.testing.assert_array_equal(own["residual"], found["residual"])


def test_durations_say_who_was_together(exported: Path) -> None:
    own = read(exported, "durations").merge(read(exported, "sessions"), on="session", suffixes=("", "_told"))
    assert len(own) > 100
    assert (own["male"] == own["male_told"]).all()
    assert (own["female"] == own["female_told"]).all()


def test_a_p_that_means_little_is_left_out_and_none_is_0(exported: Path) -> None:
    own = read(exported, "transitions")
    assert own["few"].any()
    assert (own["p_holm"].isna() == own["few"]).all()
    assert (own["p_holm"].dropna() > 0).all()


def test_seconds_have_no_more_figures_than_were_taken(exported: Path) -> None:
    own = pd.read_csv(exported / "latencies.csv", dtype=str)["latency_s"]
    assert own.str.fullmatch(r"\d+\.\d{1,3}").all()


def test_cards_keep_what_is_known_of_a_date(exported: Path, known: Season) -> None:
    cards = read(exported, "cards")
    assert len(cards) == sum(len(card.entries) for card in known.animals.cards.values()) > 20
    days = cards[cards["on"].str.len() == 10]
    assert (days["first_on"] == days["on"]).all()
    assert (days["first_on"] == days["last_on"]).all()
    assert (cards["first_on"] <= cards["last_on"]).all()
    weights = cards[cards["entry"] == "weight"]
    told = [e.number for card in known.animals.cards.values() for e in card.entries if e.kind == "weight"]
    assert weights["number"].tolist() == told


@pytest.mark.slow
def test_a_day_is_the_day_on_the_wall_there(tmp_path: Path) -> None:
    season_of(tmp_path, began="2026-05-04T00:30:00+02:00")
    folder.write(season.read(tmp_path), tmp_path / "tables")
    row = read(tmp_path / "tables", "sessions").iloc[0]
    assert row["date"] == pd.Timestamp("2026-05-04")
    assert row["began"] == pd.Timestamp("2026-05-03T22:30:00Z")


def test_marks_tell_what_was_recorded_and_what_it_was_corrected_to(tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    write_session(
        tmp_path / "sessions" / "a.jsonl",
        [
            {"do": "mark", "t": 1000, "code": "touch"},
            {"do": "undo", "of": 1},
            {"do": "mark", "t": 2500, "code": "touch"},
            {"do": "move", "of": 3, "t": 1500},
            {"do": "doubt", "of": 3, "sure": False},
            {"do": "stray", "t": 3000, "key": "#"},
            {"do": "recode", "of": 6, "code": "flees"},
            {"do": "note", "t": 4000, "text": "well", "of": 3},
        ],
    )
    folder.write(season.read(tmp_path), tmp_path / "tables")
    marks = read(tmp_path / "tables", "marks").set_index("n")
    assert marks["record"].tolist() == ["mark", "undo", "mark", "move", "doubt", "stray", "recode", "note"]
    assert marks["in_force"].tolist() == [False] + [True] * 7
    assert marks["amends"].fillna(0).tolist() == [0, 1, 0, 3, 3, 0, 6, 3]
    assert marks.loc[3, ["at_s", "stands_at_s", "confident"]].tolist() == [2.5, 1.5, False]
    assert pd.isna(marks.loc[1, "stands_at_s"])
    assert marks.loc[6, ["said", "stands_behaviour", "confident"]].tolist() == ["#", "flees", True]
    assert marks.loc[8, "said"] == "well"


def test_the_same_sessions_give_the_same_bytes(exported: Path, known: Season, tmp_path: Path) -> None:
    folder.write(known, tmp_path / "again", also=("parquet",))
    for file in (tmp_path / "again").rglob("*"):
        if file.is_file() and file.name != "datapackage.json":
            assert file.read_bytes() == (exported / file.relative_to(tmp_path / "again")).read_bytes(), file.name
