"""What is kept of a large folder's sessions: with it and without it the same, and never in the way."""

import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from etholog import animals, session
from etholog.base import cache
from etholog.commands import main
from etholog.ethogram import from_plain
from etholog.session import digest
from tests.make import ETHOGRAM, marks, write_session

SEASON = Path("examples/season")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The invented season, taken for a large folder whose files have settled."""
    monkeypatch.setattr(cache, "AT_LEAST", 5)
    monkeypatch.setattr(cache, "_SETTLED_S", -1.0)
    shutil.copytree(SEASON, tmp_path, dirs_exist_ok=True)
    yield tmp_path / "sessions"


def kept(folder: Path) -> Path:
    return folder / cache.FOLDER / digest.FILE


def fresh(folder: Path) -> list[digest.Digest]:
    """Return what the sessions say, each read from its file."""
    return [digest.of(session.read(file)) for file in sorted(folder.glob("*.jsonl"))]


def test_what_is_kept_is_what_the_files_say(folder: Path) -> None:
    first, _ = digest.read(folder)
    assert kept(folder).exists()
    again, findings = digest.read(folder)
    assert first == again == fresh(folder)
    assert len(again) == 29  # with the second observer's record of one of them
    assert len(digest.counted(again)) == 28
    assert findings == []


def test_only_what_is_kept_is_not_read_again(folder: Path) -> None:
    digest.read(folder)
    a_file = sorted(folder.glob("*.jsonl"))[0]
    before = a_file.stat()
    content = a_file.read_bytes()
    a_file.write_bytes(b"x" * len(content))  # as large as before
    os.utime(a_file, ns=(before.st_atime_ns, before.st_mtime_ns))
    found, findings = digest.read(folder)
    assert a_file.name not in {one.name for one in found}
    assert [a_file.name in str(finding) for finding in findings] == [True]
    a_file.unlink()
    assert a_file.name not in {one.name for one in digest.read(folder)[0]}


def test_answers_changed_later_are_read(folder: Path) -> None:
    one = digest.read(folder)[0][0]
    assert main(["amend", str(folder / one.name), "--answer", "ended=killed"]) == 0
    assert digest.read(folder)[0][0] == one._replace(
        answers={**one.answers, "ended": "he was killed"}, records=one.records + 1
    )


@pytest.mark.parametrize(
    ("close", "ended"),
    [((), "he was killed"), (({"do": "close", "t": 60_000, "outcome": {"ended": "she withdrew"}},), "she withdrew")],
)
def test_a_mark_that_she_killed_him_says_how_it_ended_where_no_answer_does(
    close: tuple[dict[str, Any], ...], ended: str, tmp_path: Path
) -> None:
    plain = ETHOGRAM.plain()
    own = from_plain(
        plain
        | {"behaviour": [one | ({"role": "killed"} if one["code"] == "flees" else {}) for one in plain["behaviour"]]}
    )
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", [*marks((1000, "flees", None)), *close], own)
    known = animals.read(tmp_path)
    assert known.pairings[0].ended == ended
    assert bool(known.died("M-1")) == (ended == "he was killed")


@pytest.mark.parametrize("damage", ["emptied", "cut", "a bit", "another head", "nonsense"])
def test_whatever_is_wrong_with_it_the_files_are_read(folder: Path, damage: str) -> None:
    digest.read(folder)
    content = kept(folder).read_bytes()
    head, _, body = content.partition(b"\n")
    changed = body.replace(b"M-Amber", b"M-Ambra")
    kept(folder).write_bytes(
        {
            "emptied": b"",
            "cut": content[: len(content) // 2],
            "a bit": head + b"\n" + changed,
            "another head": b"0" * 64 + b"\n" + body,
            "nonsense": json.dumps({"ethograms": 3}).encode(),
        }[damage]
    )
    assert digest.read(folder)[0] == fresh(folder)


def test_a_small_folder_keeps_nothing(tmp_path: Path) -> None:
    shutil.copytree(SEASON, tmp_path, dirs_exist_ok=True)
    digest.read(tmp_path / "sessions")
    assert not (tmp_path / "sessions" / cache.FOLDER).exists()


def test_few_files_that_are_large_are_kept(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "AT_LEAST", 1000)
    monkeypatch.setattr(cache, "AT_LEAST_BYTES", 1000)
    digest.read(folder)
    assert kept(folder).exists()


def test_the_workspace_s_own_ethogram_counts(folder: Path) -> None:
    """Sessions may have their roles from it, and so what was reached."""
    digest.read(folder)
    then = kept(folder).read_bytes()
    (folder.parent / "ethograms").mkdir()
    shutil.copy("ethograms/arboreal.toml", folder.parent / "ethograms" / "own.toml")
    assert digest.read(folder)[0] == fresh(folder)
    assert kept(folder).read_bytes() != then


def test_the_herd_has_the_same_pairings(folder: Path) -> None:
    first, again = animals.read(folder.parent), animals.read(folder.parent)
    assert first.pairings == again.pairings
    assert len([pairing for pairing in again.pairings if pairing.file]) == 28
