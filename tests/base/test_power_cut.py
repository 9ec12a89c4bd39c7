"""A power cut at any moment: what was told as safe is there, in every order in which a file system may keep the rest.

The journal's real writes and syncs are logged. After each step the file is built as a disk may hold it: what was synced
is there; of each later write all, nothing (zeros, or beyond the end), or a part (POSIX `fdatasync`; Pillai et al. 2014,
"All File Systems Are Not Created Equal", on what may be lost and reordered between two syncs).
"""

import itertools
import json
import os
import random
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from etholog.base import journal, system
from etholog.base.journal import Journal
from etholog.session.drafts import note

HEADER = {"format": "etholog-session/1", "id": "a"}


class Step(NamedTuple):
    """After it, so many bytes of the file are on the disk for sure, these later writes may be, and `safe` was told."""

    synced: int
    later: tuple[bytes, ...]
    safe: int


def logged(path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[list[Step], bytes]:
    chance = random.Random(3)
    steps: list[Step] = []
    written = b""
    synced = 0
    later: list[bytes] = []
    write, sync = os.write, system.sync

    def writes(descriptor: int, data: bytes) -> int:
        nonlocal written
        size = write(descriptor, data)
        if os.fstat(descriptor).st_ino == path.stat().st_ino:
            written += data[:size]
            later.append(data[:size])
        return size

    def syncs(descriptor: int) -> None:
        nonlocal synced
        size = len(written)
        sync(descriptor)
        rest = written[size:]
        synced = size
        later[:] = [rest] if rest else []

    monkeypatch.setattr(os, "write", writes)
    monkeypatch.setattr(system, "sync", syncs)
    kept = Journal.create(path, HEADER)
    for i in range(60):
        kept.append(note(i, "x" * chance.randrange(60)))
        if chance.random() < 0.4:
            while kept.waiting_s:
                pass
        safe = kept.n - 1 if not kept.waiting_s else -1
        steps.append(Step(synced, tuple(later), safe))
    assert kept.close()
    steps.append(Step(synced, tuple(later), kept.n - 1))
    return steps, written


def states(step: Step, written: bytes, chance: random.Random) -> Iterator[bytes]:
    """Yield how the disk may hold the file then."""
    base = written[: step.synced]
    for kept in itertools.islice(itertools.product((True, False), repeat=len(step.later)), 32):
        tail = b"".join(data if there else bytes(len(data)) for data, there in zip(step.later, kept, strict=True))
        for size in {0, len(tail), *(chance.randrange(len(tail) + 1) for _ in range(4))}:
            yield base + tail[:size]


@pytest.mark.slow
def test_what_was_told_as_safe_outlives_a_power_cut(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    steps, written = logged(tmp_path / "a.jsonl", monkeypatch)
    assert any(step.later for step in steps)
    assert sum(step.safe >= 0 for step in steps) > 10
    monkeypatch.undo()
    chance = random.Random(4)
    path = tmp_path / "cut.jsonl"
    tried, told = 0, 0
    whole = [line for line in written.split(b"\n") if line]
    for step in steps:
        told = max(told, step.safe)  # what was told once holds for ever
        for state in states(step, written, chance):
            path.write_bytes(state)
            kept, reading = Journal.open(path)
            numbers = [journal.number(body) for body in reading.bodies]
            assert set(range(told + 1)) <= set(numbers)
            assert all(
                journal.sealed(body) == whole[n] + b"\n" for n, body in zip(numbers, reading.bodies, strict=True)
            )
            n = kept.append(note(9, "after"))
            assert kept.close()
            assert json.loads(path.read_bytes().splitlines()[-1])["n"] == n
            tried += 1
    assert tried > 200
