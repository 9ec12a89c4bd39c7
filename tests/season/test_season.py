"""The season's tables, from real folders with all that can lie in one."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from subprocess import CompletedProcess

import pandas as pd
import pytest

import etholog
from etholog import animals, engine
from etholog import season as season_
from etholog.base.refusal import Refusal
from etholog.commands import main
from etholog.season import store
from tests.make import ETHOGRAM, RECORDS, marks, season_of, write_session


def test_columns_hold_what_was_recorded(tmp_path: Path) -> None:
    season = etholog.read(season_of(tmp_path, conditions={"temperature_c": 24.5}))
    row = season.sessions.iloc[0]
    assert (row["session"], row["male"], row["length_s"], row["watched_s"]) == ("a", "M-1", 20.0, 14.0)
    assert (row["out_of_sight_s"], row["marks"], row["closed"], row["ended"]) == (4.0, 5, True, "parted")
    assert row["temperature_c"] == 24.5
    assert row["began"] == pd.Timestamp("2026-05-03T19:15:00Z")
    bouts = season.bouts.set_index("behaviour")
    assert list(bouts.index) == ["walking", "clasp", "insertion", "hidden", "touch"]
    assert not bouts.loc["walking", "whole"]  # the gap cut it
    assert bouts.loc["walking", "duration_s"] == 9.0
    assert not bouts.loc["touch", "confident"]
    assert season.gaps[["onset_s", "offset_s"]].to_numpy().tolist() == [[10.0, 16.0]]
    assert "1 session of 1 male and 1 female, 5 bouts." in season._repr_html_()


def test_the_folder_of_sessions_and_its_workspace_are_the_same(tmp_path: Path) -> None:
    season_of(tmp_path)
    pd.testing.assert_frame_equal(etholog.read(tmp_path).bouts, etholog.read(tmp_path / "sessions").bouts)


def test_a_part_has_the_bouts_that_are_looked_at_by_each_ethogram(tmp_path: Path) -> None:
    season_of(tmp_path)
    other = replace(ETHOGRAM, name="other")
    write_session(tmp_path / "sessions" / "b.jsonl", RECORDS, other)
    write_session(tmp_path / "sessions" / "c.jsonl", [], other)
    whole = etholog.read(tmp_path)
    part = season_.part(tmp_path, lambda one: ["walking", "touch"] if one.name == "small" else ["clasp"])
    told = whole.bouts[["session", "behaviour"]].astype(str).agg(" ".join, axis=1)
    looked_at = told.isin(["a walking", "a touch", "b clasp"])
    pd.testing.assert_frame_equal(part.bouts, whole.bouts[looked_at].reset_index(drop=True), check_categorical=False)
    pd.testing.assert_frame_equal(part.sessions, whole.sessions)
    assert looked_at.sum() == 3


def test_no_behaviour_is_lost_however_many_there_are(tmp_path: Path) -> None:
    codes = [f"act{number}" for number in range(150)]  # more than a number of one byte can tell apart
    event = ETHOGRAM.by_code["touch"]
    wide = replace(ETHOGRAM, behaviour=tuple(replace(event, code=code, label=code) for code in codes))
    (tmp_path / "sessions").mkdir()
    seen = marks(*((1000 * at, code, None) for at, code in enumerate(codes)))
    write_session(tmp_path / "sessions" / "a.jsonl", seen, wide)
    assert etholog.read(tmp_path).bouts["behaviour"].tolist() == codes


@pytest.mark.slow
def test_what_is_no_session_is_named_and_the_rest_counts(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    season_of(tmp_path)
    folder = tmp_path / "sessions"
    whole = (folder / "a.jsonl").read_bytes()
    (folder / "empty.jsonl").touch()
    (folder / "binary.jsonl").write_bytes(bytes(range(256)) * 9)
    (folder / "foreign.txt").write_text("milk, bread\n")
    (folder / "short.jsonl").write_bytes(whole[:300])
    (folder / "again.jsonl").write_bytes(whole)
    (folder / ".hidden").write_text("not ours to read")
    checked = etholog("check", tmp_path)
    assert checked.returncode == 1
    assert "Traceback" not in checked.stderr
    measured = etholog("duration", "--folder", tmp_path)
    assert measured.returncode == 1
    assert "walking" in measured.stdout
    assert measured.stderr.count(str(tmp_path)) == 5  # beside the sentences
    import etholog as package

    season = package.read(tmp_path)
    assert len(season.sessions) == 1
    told = "\n".join(season.faults)
    assert len(season.findings) == 5
    for name in ("empty.jsonl", "binary.jsonl", "foreign.txt", "short.jsonl", "again.jsonl: is session a again"):
        assert name in told


def test_a_second_observers_record_is_not_counted_again(tmp_path: Path) -> None:
    season_of(tmp_path)
    write_session(tmp_path / "sessions" / "b.jsonl", RECORDS, record_of="a", observer="other")
    season = etholog.read(tmp_path)
    assert list(season.sessions["session"]) == ["a"]
    assert not season.findings


@pytest.mark.parametrize("beside", ["a (1).jsonl", "a (conflicted copy).jsonl", "z.jsonl"])
def test_of_two_files_of_a_session_the_fuller_counts(
    tmp_path: Path, beside: str, capsys: pytest.CaptureFixture[str]
) -> None:
    # A program that keeps two machines alike has taken a copy early in the evening, whatever it called it.
    folder = season_of(tmp_path) / "sessions"
    lines = (folder / "a.jsonl").read_bytes().splitlines(keepends=True)
    (folder / beside).write_bytes(b"".join(lines[:4]))
    season = etholog.read(tmp_path)
    assert season.sessions[["marks", "closed"]].to_numpy().tolist() == [[5, True]]
    assert season.faults == [f"{folder / beside}: is session a again, as a.jsonl is; left out"]
    assert main(["check", str(tmp_path)]) == 1
    assert capsys.readouterr().out.splitlines() == season.faults
    known = animals.read(tmp_path)
    assert [pairing.file for pairing in known.pairings] == [folder / "a.jsonl"]
    assert known.broken_off == []
    store.write(folder, tmp_path / "large")
    assert etholog.read(tmp_path / "large").bouts.equals(season.bouts)
    assert [len(part.season().sessions) for part in engine.parts(tmp_path / "large")] == [1]


@pytest.mark.slow
def test_an_earlier_copy_of_a_session_is_in_no_page_no_table_and_no_comparison(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    def told(folder: Path) -> list[str | bytes]:
        page, out = tmp_path / "page.html", tmp_path / "out"
        etholog("report", "--season", "--folder", folder, "--out", page)
        etholog("export", out, "--folder", folder)
        agreed = etholog("agree", folder, "--json").stdout
        tables = [(out / name).read_bytes() for name in ("marks.csv", "bouts.csv", "sessions.csv")]
        return [page.read_text("utf-8"), agreed, *tables]

    folder = season_of(tmp_path) / "sessions"
    write_session(folder / "b.jsonl", RECORDS, record_of="a")
    write_session(folder / "c.jsonl", RECORDS)
    alone = told(tmp_path)
    for name in ("a", "b", "c"):
        lines = (folder / f"{name}.jsonl").read_bytes().splitlines(keepends=True)
        (folder / f"{name} (1).jsonl").write_bytes(b"".join(lines[:4]))
    beside = told(tmp_path)
    assert beside[1:] == alone[1:]
    sections = r'<section (?:class="short"|aria-labelledby="sessions").*?</section>'
    whole, page = (re.findall(sections, str(one[0]), re.S) for one in (alone, beside))
    assert page == whole
    assert len(page) == 2


def test_a_session_begun_by_mistake_does_not_count_by_an_earlier_copy(tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    wrong = tmp_path / "sessions" / "a.jsonl"
    write_session(wrong, [*RECORDS[:-1], {"n": 9, "do": "close", "t": 20_000, "outcome": {"accident": True}}])
    lines = wrong.read_bytes().splitlines(keepends=True)
    wrong.with_name("a (1).jsonl").write_bytes(b"".join(lines[:-1]))
    write_session(tmp_path / "sessions" / "b.jsonl", RECORDS, record_of="a")
    assert list(etholog.read(tmp_path).sessions["session"]) == ["b"]
    known = animals.read(tmp_path)
    assert [pairing.file for pairing in known.pairings] == [tmp_path / "sessions" / "b.jsonl"]
    assert known.broken_off == []


def test_the_latest_that_was_broken_off_is_told_by_its_time(tmp_path: Path) -> None:
    folder = season_of(tmp_path) / "sessions"
    for name, began in (("z", "2026-05-03T22:00:00.000+02:00"), ("b", "2026-05-03T21:00:00.000+00:00")):
        write_session(folder / f"{name}.jsonl", RECORDS[:2], began=began)
    assert animals.read(tmp_path).broken_off == [folder / "b.jsonl", folder / "z.jsonl"]


def test_an_empty_folder_is_an_empty_season(tmp_path: Path) -> None:
    season = etholog.read(tmp_path)
    assert season.sessions.empty
    assert season.bouts.empty


def test_no_folder_is_refused() -> None:
    with pytest.raises(Refusal, match="is not a folder"):
        etholog.read("nowhere")
