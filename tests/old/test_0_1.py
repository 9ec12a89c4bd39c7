"""Files that version 0.1 wrote are read with no loss and no question, and go on.

`tests/old/0.1` was written by that version itself; `told.json` beside the sessions is what its own reader made of them.
"""

import json
import shutil
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

import etholog
from etholog import ethogram, session
from etholog.base import cache as caches
from etholog.base import system
from etholog.film import alignment
from etholog.recording.opening import reopen, resume
from etholog.season import cache
from tests.make import assert_same_season

OLD = Path(__file__).parent / "0.1"
TOLD: dict[str, dict[str, Any]] = json.loads((OLD / "told.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", sorted(TOLD))
def test_a_session_folds_as_it_did(name: str) -> None:
    told = TOLD[name]
    read = session.read(OLD / "sessions" / f"{name}.jsonl")
    assert read.findings == []
    assert [list(bout) for bout in read.fold.bouts] == told["bouts"]
    assert [list(gap) for gap in read.fold.gaps] == told["gaps"]
    assert [list(said) for said in read.fold.said] == told["said"]
    assert (len(read.records), read.fold.marks, read.fold.end) == (told["records"], told["marks"], told["end"])
    assert (read.fold.closed, read.fold.outcome) == (told["closed"], told["outcome"])
    assert read.ethogram.hash == told["hash"]


def test_a_session_that_was_broken_off_goes_on(tmp_path: Path) -> None:
    file = Path(shutil.copy(OLD / "sessions" / "broken-off.jsonl", tmp_path))
    an_hour_later = session.read(file).began + timedelta(hours=1)
    recorder, _ = resume(file, "left", system.now(), an_hour_later)
    recorder.line("and goes on", system.now())
    recorder.close(system.now(), {"ended": "parted"})
    assert recorder.journal.close()
    read = session.read(file)
    assert read.findings == []
    assert read.fold.closed
    assert [said.text for said in read.fold.said if said.do == "note"] == ["broken off here", "and goes on"]


def test_a_session_that_was_broken_off_a_year_ago_loses_nothing_that_follows(tmp_path: Path) -> None:
    file = Path(shutil.copy(OLD / "sessions" / "broken-off.jsonl", tmp_path))
    recorder, told = resume(file, "left", system.now(), session.read(file).began + timedelta(days=365))
    assert any("365 days" in line for line in told)
    recorder.line("a year later", system.now())
    recorder.close(system.now(), {"ended": "parted"})
    assert recorder.journal.close()
    read = session.read(file)
    assert read.findings == []
    assert [said.text for said in read.fold.said if said.do == "note"] == ["broken off here", "a year later"]


def test_a_closed_session_can_be_amended(tmp_path: Path) -> None:
    file = Path(shutil.copy(OLD / "sessions" / "everything.jsonl", tmp_path))
    before = session.read(file)
    amender, _, findings = reopen(file, "left")
    assert not findings
    amender.shift(-1)
    assert amender.journal.close()
    after = session.read(file)
    assert after.records[: len(before.records)] == before.records
    assert after.findings == []


def test_a_workspace_becomes_a_season() -> None:
    season = etholog.read(OLD)
    assert season.findings == []
    assert sorted(season.sessions["session"]) == sorted(TOLD)
    assert len(season.bouts) == sum(len(told["bouts"]) for told in TOLD.values())


def test_an_ethogram_of_ones_own_is_read() -> None:
    assert ethogram.read(OLD / "ethograms" / "own.toml").hash == TOLD["own-codes"]["hash"]


@pytest.mark.slow
def test_a_cache_of_0_1_is_made_anew_in_silence(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(caches, "AT_LEAST", 1)
    folder = Path(shutil.copytree(OLD / "sessions", tmp_path / "sessions"))
    (folder / caches.FOLDER).mkdir()
    kept = Path(shutil.copyfile(OLD / "cache" / "season.npz", folder / caches.FOLDER / cache.FILE))
    time.sleep(2.1)  # only files that have rested are kept
    season = etholog.read(folder)
    assert len(season.bouts) == sum(len(told["bouts"]) for told in TOLD.values())
    assert kept.read_bytes() != (OLD / "cache" / "season.npz").read_bytes()
    assert_same_season(etholog.read(folder), season)
    assert capfd.readouterr() == ("", "")


def test_where_a_film_stood_on_the_clock_is_read() -> None:
    (clip,) = alignment.clips_of(session.read(OLD / "sessions" / "everything.jsonl"))
    assert (clip.path.name, clip.begins, clip.ppm) == ("evening.mp4", -1200.0, 12.5)
