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


def put(path: Path, data: bytes) -> None:
    """Write a file anew: to cut one short and write it again takes some file systems thirty times as long."""
    path.unlink(missing_ok=True)
    path.write_bytes(data)


def flipped(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data))
    return data[:at] + bytes([data[at] ^ (1 << chance.randrange(8))]) + data[at + 1 :]


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "read"), [("card", entries), ("session", records)])
def test_a_journal_tells_what_it_holds_or_that_it_does_not(tmp_path: Path, kind: str, read: Read) -> None:
    data = originals(kind)[0]
    path = tmp_path / "a.jsonl"
    put(path, data)
    whole = read(path)
    first = data.index(b"\n")
    for size in range(len(data)):
        put(path, data[:size])
        if size < first:
            with pytest.raises(Refusal):
                read(path)
        else:
            assert read(path) == whole[: data[: size + 1].count(b"\n") - 1]
    chance = random.Random(5)
    for _ in range(FLIPS):
        put(path, flipped(data, chance))
        try:
            found = read(path)
        except Refusal:
            continue
        assert [one for one in found if one not in whole] == []


# One table of each kind and little more, so that each change counts and thousands are soon read.
SMALL = b"""format = "etholog-ethogram/2"
name = "small"
title = "Small"
version = "1"
about = "for tests"
cautions = ["Bites: c"]
rescue = ["r"]
[[behaviour]]
code = "introduced"
label = "introduced"
actor = "keeper"
kind = "event"
definition = "d"
source = "s"
role = "introduced"
key = { left = "e", right = "i" }
[[behaviour]]
code = "clasp"
label = "clasp"
actor = "pair"
kind = "state"
chain = "acts"
definition = "d"
source = "s"
role = "clasp"
key = { left = "f", right = "j" }
[[behaviour]]
code = "insertion"
label = "insertion"
actor = "male"
kind = "state"
within = "clasp"
qualifier = "palp"
choices = [
  { name = "left", key = { left = "x", right = "," } },
  { name = "right", key = { left = "c", right = "." } },
]
definition = "d"
source = "s"
role = "insertion"
[[interval]]
name = "held"
label = "until the clasp"
since = ["introduced"]
to = ["clasp"]
[[prompt]]
name = "leave"
text = "Leave him be."
during = "clasp"
minutes = 10
[[limit]]
of = "held"
measure = "latency"
most = 3600
source = "own"
[[aftercare]]
sac = [7, 56]
free = [21, 42]
meal = [2, 7]
water = 2
prime = [3, 120]
source = "own"
"""


@pytest.mark.slow
def test_an_ethogram_is_read_whole_or_refused_in_words(tmp_path: Path) -> None:
    """A file of TOML has no checksum, so a letter that is another goes unseen; a session's own copy of it has one. What
    is read makes sense, and is the same when a session has kept it."""
    path = tmp_path / "a.toml"
    chance = random.Random(6)
    put(path, SMALL)
    assert len(ethogram.read(path).behaviour) == 3
    shipped = originals("ethogram")[0]
    changed = [
        *(SMALL[:size] for size in range(len(SMALL))),
        *(flipped(SMALL, chance) for _ in range(FLIPS)),
        *(shipped[: chance.randrange(len(shipped))] for _ in range(100)),
        *(flipped(shipped, chance) for _ in range(300)),
    ]
    refused = 0
    for one in changed:
        put(path, one)
        try:
            read = ethogram.read(path)
        except Refusal as refusal:
            assert all(line.startswith(str(path)) for line in str(refusal).splitlines())
            refused += 1
        else:
            assert read.layout("left") is not None
            assert ethogram.from_plain(read.plain()) == read
    assert refused > len(changed) / 4
