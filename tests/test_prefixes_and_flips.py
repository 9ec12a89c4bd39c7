"""Every prefix, and many single bit flips, of cards, film alignments and ethograms: nothing wrong is accepted."""

import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from etholog import ethogram, session
from etholog.animals import card
from etholog.base.refusal import Refusal
from tests.fuzz.targets import originals

FLIPS = 12_000
Read = Callable[[Path], list[Any]]


def entries(path: Path) -> list[Any]:
    return sorted(card.read(path).entries, key=lambda entry: entry.n)


def records(path: Path) -> list[Any]:
    return list(session.read(path).records)


def flipped(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data))
    return data[:at] + bytes([data[at] ^ (1 << chance.randrange(8))]) + data[at + 1 :]


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "read"), [("card", entries), ("session", records)])
def test_a_journal_tells_what_it_holds_or_that_it_does_not(tmp_path: Path, kind: str, read: Read) -> None:
    data = originals(kind)[0]
    path = tmp_path / "a.jsonl"
    path.write_bytes(data)
    whole = read(path)
    first = data.index(b"\n")
    for size in range(len(data)):
        path.write_bytes(data[:size])
        if size < first:
            with pytest.raises(Refusal):
                read(path)
        else:
            assert read(path) == whole[: data[: size + 1].count(b"\n") - 1]
    chance = random.Random(5)
    for _ in range(FLIPS):
        path.write_bytes(flipped(data, chance))
        try:
            found = read(path)
        except Refusal:
            continue
        assert [one for one in found if one not in whole] == []


@pytest.mark.slow
def test_an_ethogram_is_read_or_refused_in_words(tmp_path: Path) -> None:
    """A file of TOML has no checksum, so a letter that is another goes unseen; a session's own copy of it has one."""
    data = originals("ethogram")[0]
    path = tmp_path / "a.toml"
    chance = random.Random(6)
    changed = [data[:size] for size in range(0, len(data), 7)] + [flipped(data, chance) for _ in range(FLIPS // 12)]
    refused = 0
    for one in changed:
        path.write_bytes(one)
        try:
            read = ethogram.read(path)
        except Refusal as refusal:
            assert all(line.startswith(str(path)) for line in str(refusal).splitlines())
            refused += 1
        else:
            assert read.layout("left")
    assert refused > len(changed) / 4
