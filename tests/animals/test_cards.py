"""What is kept of a large folder's cards: with it and without it the same, and never in the way."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from etholog import animals
from etholog.animals import card, cards
from etholog.animals.card import Entry
from etholog.base import cache
from etholog.base.dates import Day

SEASON = Path("examples/season")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The invented cards, taken for a large folder whose files have settled."""
    monkeypatch.setattr(cards, "AT_LEAST", 5)
    monkeypatch.setattr(cache, "_SETTLED_S", -1.0)
    shutil.copytree(SEASON, tmp_path, dirs_exist_ok=True)
    for name, entry in (
        ("F-Umbra", Entry(0, "weight", Day.parse("2026-04-01"), number=21.5, note="after the meal")),
        ("F-Umbra", Entry(0, "meal", Day.parse("2026-03"), sure=False, words="small")),
        ("F-Umbra", Entry(0, "pulled", Day.parse("2026-06-01"), sac=Day.parse("2026-05-20"))),
        ("M-Amber", Entry(0, "renamed", Day.parse("2026-04-02"), words="M-Ambra")),
        ("M-Amber", Entry(0, "renamed", Day.parse("2026-04-03"), words="M-Amber")),
    ):
        write(tmp_path / "animals" / f"{name}.jsonl", entry)
    yield tmp_path / "animals"


def write(path: Path, entry: Entry) -> None:
    book = card.open_or_create(path)
    card.append(book, entry, "2026-06-02T20:00:00+00:00")
    book.close()


def kept(folder: Path) -> Path:
    return folder / cache.FOLDER / cards.FILE


def fresh(folder: Path) -> list[card.Card]:
    return [card.read(file) for file in sorted(folder.glob("*.jsonl"))]


def test_what_is_kept_is_what_the_files_say(folder: Path) -> None:
    first, _ = cards.read(folder)
    assert kept(folder).exists()
    again, findings = cards.read(folder)
    assert first == again == fresh(folder)
    assert [one.id for one in again] == [one.id for one in fresh(folder)]
    assert findings == []


def test_only_what_is_kept_is_not_read_again(folder: Path) -> None:
    cards.read(folder)
    a_file = sorted(folder.glob("*.jsonl"))[0]
    before = a_file.stat()
    a_file.write_bytes(b"x" * before.st_size)
    os.utime(a_file, ns=(before.st_atime_ns, before.st_mtime_ns))
    found, findings = cards.read(folder)
    assert a_file not in {one.path for one in found}
    assert [a_file.name in str(finding) for finding in findings] == [True]
    a_file.unlink()
    assert a_file not in {one.path for one in cards.read(folder)[0]}


def test_a_new_entry_is_read(folder: Path) -> None:
    cards.read(folder)
    write(folder / "F-Umbra.jsonl", Entry(0, "meal", Day.parse("2026-06-02"), words="small"))
    assert cards.read(folder)[0] == fresh(folder)


def test_what_is_wrong_with_a_card_is_told_each_time(folder: Path) -> None:
    broken = folder / "F-Umbra.jsonl"
    broken.write_bytes(broken.read_bytes() + b"nonsense\n")
    told = [cards.read(folder)[1] for _ in range(3)]
    assert told[0]
    assert told[0] == told[1] == told[2]


@pytest.mark.parametrize("damage", ["emptied", "cut", "a bit", "another head", "nonsense"])
def test_whatever_is_wrong_with_it_the_files_are_read(folder: Path, damage: str) -> None:
    cards.read(folder)
    content = kept(folder).read_bytes()
    head, _, body = content.partition(b"\n")
    kept(folder).write_bytes(
        {
            "emptied": b"",
            "cut": content[: len(content) // 2],
            "a bit": head + b"\n" + body.replace(b"M-Amber", b"M-Ambra"),
            "another head": b"0" * 64 + b"\n" + body,
            "nonsense": json.dumps([3]).encode(),
        }[damage]
    )
    assert cards.read(folder)[0] == fresh(folder)


@pytest.mark.parametrize(
    ("member", "value"), [("words", 3), ("kind", "mould"), ("on", "some day"), ("n", "one"), ("sure", "yes")]
)
def test_nonsense_that_was_kept_is_not_believed(folder: Path, member: str, value: object) -> None:
    cards.read(folder)
    at = ("n", "kind", "on", "sure", "words").index(member)
    told = cache.kept_values(folder, cards.FILE, cards._code())
    for one in told:
        for row in one[3]:
            row[at] = value
    cache.keep_values(folder, cards.FILE, cards._code(), told)
    assert cards.read(folder)[0] == fresh(folder)


def test_a_name_that_was_kept_and_is_none_is_not_believed(folder: Path) -> None:
    cards.read(folder)
    told = cache.kept_values(folder, cards.FILE, cards._code())
    for one in told:
        one[2] = [3]
    cache.keep_values(folder, cards.FILE, cards._code(), told)
    assert cards.read(folder)[0] == fresh(folder)


def test_few_cards_keep_nothing(tmp_path: Path) -> None:
    shutil.copytree(SEASON, tmp_path, dirs_exist_ok=True)
    cards.read(tmp_path / "animals")
    assert not (tmp_path / "animals" / cache.FOLDER).exists()


def test_the_herd_is_the_same(folder: Path) -> None:
    first, again = animals.read(folder.parent), animals.read(folder.parent)
    assert first.cards == again.cards
    assert first.pairings == again.pairings
    assert first.findings == again.findings


@pytest.mark.slow
def test_what_is_kept_is_read_without_models(folder: Path, repository: Path) -> None:
    cards.read(folder)
    script = (
        "import sys; from pathlib import Path; from etholog.animals import cards\n"
        f"cards.AT_LEAST = 5; told, _ = cards.read(Path({str(folder)!r}))\n"
        "print(len(told), 'pydantic' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], cwd=repository, capture_output=True, text=True, check=True)
    assert done.stdout.split() == [str(len(fresh(folder))), "False"]
