"""Which sessions of a folder can be gone on with."""

from pathlib import Path

import pytest

from etholog import animals
from etholog.base.journal import Journal
from etholog.commands import main
from etholog.session.broken_off import broken_off
from tests.make import RECORDS, write_card, write_session


def test_only_a_session_that_can_be_read_can_be_gone_on_with(tmp_path: Path) -> None:
    folder = tmp_path / "sessions"
    folder.mkdir()
    write_session(folder / "a.jsonl", RECORDS)
    write_session(folder / "b.jsonl", RECORDS[:-1])
    # All of these hold no end, and `resume` can't go on with any of them.
    Journal.create(folder / "c.jsonl", {"format": "etholog-session/1", "id": "c", "began": 5}).close()
    Journal.create(folder / "d.jsonl", {"format": "etholog-session/99", "id": "d", "ethogram": {}}).close()
    (folder / "e.jsonl").write_bytes((folder / "b.jsonl").read_bytes()[:200])
    write_card(tmp_path, "F-1", ("sex", "2025", "female"))
    (tmp_path / "animals" / "F-1.jsonl").rename(folder / "f.jsonl")
    assert broken_off(folder) == animals.read(tmp_path).broken_off == [folder / "b.jsonl"]
    for name in "cdef":
        assert main(["check", str(folder / f"{name}.jsonl")]) == 1


def test_what_is_being_recorded_is_not_broken_off(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "sessions"
    folder.mkdir()
    write_session(folder / "b.jsonl", RECORDS[:-1])
    journal, _ = Journal.open(folder / "b.jsonl")
    assert main(["check", str(tmp_path)]) == 0
    assert broken_off(folder) == []
    assert journal.close()
    assert main(["check", str(tmp_path)]) == 1
    assert "was broken off" in capsys.readouterr().out
    assert broken_off(folder) == [folder / "b.jsonl"]
