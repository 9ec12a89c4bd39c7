"""Any sequence of keys, corrections, gaps, faults, crashes, resumes and amendments, against a small model.

The model knows nothing of records: it holds what an observer did, in order, and whether it still stands.
"""

import errno
import os
import shutil
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from etholog import ethogram, session
from etholog.base import journal, rescue
from etholog.recording import opening
from etholog.recording.recorder import Recorder
from etholog.session.folding import corrected

BEGAN = datetime(2026, 5, 3, 19, 15, tzinfo=UTC)
ETHOGRAM = ethogram.read(ethogram.find("terrestrial"))
KEYS = sorted(ETHOGRAM.layout("left"))
EVENTS = {behaviour.code for behaviour in ETHOGRAM.behaviour if behaviour.kind == "event"}
_write = os.write


class Pairing(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        os.environ["XDG_STATE_HOME"] = str(self.folder / "state")
        self.at = 100.0
        book = opening.begin(self.folder / "sessions", ETHOGRAM, BEGAN, self.at, male="M", female="F")
        self.recorder = Recorder(book, ETHOGRAM, "left", BEGAN, self.at, wall=lambda: BEGAN)
        self.path = book.path
        self.did: list[list[Any]] = []  # kind, what, whether it stands, and when (ms)
        self.stack: list[int] = []  # what Backspace takes back, last first
        self.undone: list[int] = []
        self.fails = False

    def teardown(self) -> None:
        self.disk_works_again()
        self.recorder.journal.close()
        shutil.rmtree(self.folder)

    def tick(self) -> float:
        self.at += 2.0 + len(self.did) % 3
        return self.at

    def do(self, kind: str, what: Any = "") -> None:
        self.did.append([kind, what, True, round((self.at - 100) * 1000)])
        self.stack.append(len(self.did) - 1)
        self.undone.clear()

    @property
    def away(self) -> bool:
        return self.gaps()[-1:] == ["gap"]

    @property
    def in_hand(self) -> int | None:
        """The mark that a correction is meant for, where it is an event: those of states have two ends."""
        last = next(
            (at for at in reversed(range(len(self.did))) if self.did[at][0] == "mark" and self.did[at][2]), None
        )
        return last if last is not None and self.did[last][1] in EVENTS else None

    @rule()
    def time_passes(self) -> None:
        self.at += 90.0  # so that the wall's time is written again

    @rule(key=st.sampled_from(KEYS))
    def mark(self, key: str) -> None:
        if self.away:
            self.do("back")
        self.recorder.take(key, self.tick())
        self.do("mark", ETHOGRAM.layout("left")[key].behaviour.code)

    @rule()
    def take_back(self) -> None:
        self.recorder.undo()
        if self.stack:
            self.did[self.stack[-1]][2] = False
            self.undone.append(self.stack.pop())

    @rule()
    def bring_back(self) -> None:
        self.recorder.redo()
        if self.undone:
            self.did[self.undone[-1]][2] = True
            self.stack.append(self.undone.pop())

    @precondition(lambda self: self.in_hand is not None)
    @rule()
    def unsure(self) -> None:
        mark = self.in_hand
        self.recorder.take("3", self.tick())
        self.do("doubt", mark)

    @precondition(lambda self: self.in_hand is not None)
    @rule()
    def earlier(self) -> None:
        mark = self.in_hand
        self.recorder.take("1", self.tick())
        self.do("earlier", mark)

    @rule(words=st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=20))
    def note(self, words: str) -> None:
        words = f"n {words} n"
        self.recorder.line(words, self.tick())
        self.do("reason" if self.away else "note", words)  # in a gap, words are its reason

    @rule()
    def nobody_watches(self) -> None:
        if self.away:
            self.recorder.back(self.tick())
            self.do("back")
        else:
            self.recorder.gap(self.tick())
            self.do("gap")

    @rule()
    def disk_fails(self) -> None:
        inode = self.path.stat().st_ino

        def failing(descriptor: int, data: bytes) -> int:
            if os.fstat(descriptor).st_ino == inode:
                raise OSError(errno.ENOSPC, "No space left on device")
            return _write(descriptor, data)

        os.write = failing
        self.fails = True

    @precondition(lambda self: self.fails)
    @rule()
    def disk_works_again(self) -> None:
        os.write = _write
        self.fails = False

    @rule(torn=st.binary(max_size=30))
    def crash_and_resume(self, torn: bytes) -> None:
        """What is in the two files is all that is left: closing adds nothing, since the disk fails until then."""
        self.recorder.journal.close()
        self.disk_works_again()
        with self.path.open("ab") as file:
            file.write(torn.replace(b"\n", b" "))
        for one in rescue.of(self.path)[0]:
            reading = journal.read(self.path)
            assert not one.loose(reading)
            book, _ = journal.Journal.open(self.path)
            book.take_in(one.following(reading))
            assert book.close()
            one.put_away()
        self.at += 5
        self.recorder, _ = opening.resume(self.path, "left", self.at, BEGAN)
        self.did += [] if self.away else [["gap", "", True, 0]]
        self.did.append(["back", "", True, 0])

    @rule()
    def close_and_amend(self) -> None:
        """Take the first mark out of a copy that is closed, and go on with the session itself."""
        if self.fails or self.recorder.journal.trouble or not self.standing("mark"):
            return  # what is in the rescue file alone is in no copy
        copy = self.folder / "copy.jsonl"
        shutil.copyfile(self.path, copy)
        opened, _ = opening.resume(copy, "left", self.at + 1, BEGAN)
        opened.close(self.at + 3)
        assert opened.journal.close()
        amender, _, _ = opening.reopen(copy, "left")
        while (amender.in_hand() or {}).get("do") != "mark":
            before = amender.cursor
            amender.step(1)
            assert amender.cursor >= before
        amender.take_out()
        assert amender.journal.close()
        assert marks(copy) == self.standing("mark")[1:]

    def standing(self, kind: str) -> list[Any]:
        return [what for one, what, stands, _ in self.did if one == kind and stands]

    def gaps(self) -> list[str]:
        return [kind for kind, _, stands, _ in self.did if stands and kind in ("gap", "back")]

    def events(self) -> list[tuple[str, int, bool]]:
        """Code, time and whether it is sure, of each event that stands."""
        moved, doubted = self.standing("earlier"), self.standing("doubt")
        return [
            (what, max(0, t - 1000 * moved.count(at)), doubted.count(at) % 2 == 0)
            for at, (kind, what, stands, t) in enumerate(self.did)
            if kind == "mark" and stands and what in EVENTS
        ]

    @invariant()
    def the_files_hold_what_was_done(self) -> None:
        lines = journal.lines_of(self.path)
        for one in rescue.of(self.path)[0]:
            lines |= one.bodies
        assert sorted(lines) == list(range(self.recorder.journal.n))
        assert marks(self.path, lines) == self.standing("mark")
        assert notes(lines) == self.standing("note")
        records = standing(lines)
        assert [one["do"] for one in records if one["do"] in ("gap", "back")] == self.gaps()
        events = [one for one in records if one["do"] == "mark" and one["code"] in EVENTS]
        assert [(one["code"], one["t"], one.get("sure", True)) for one in events] == self.events()


def standing(lines: dict[int, bytes]) -> list[dict[str, Any]]:
    records = [journal.decoded(body) for n, body in sorted(lines.items()) if n]
    return sorted(corrected(records)[0], key=lambda record: record["n"])  # type: ignore[arg-type, return-value]


def marks(path: Path, lines: dict[int, bytes] | None = None) -> list[str]:
    return [one["code"] for one in standing(lines or journal.lines_of(path)) if one["do"] == "mark"]


def notes(lines: dict[int, bytes]) -> list[str]:
    return [one["text"] for one in standing(lines) if one["do"] == "note"]


TestPairing = pytest.mark.slow(Pairing.TestCase)
Pairing.TestCase.settings = settings(max_examples=25, stateful_step_count=15, deadline=None)


def test_the_model_sees_a_session_at_all() -> None:
    machine = Pairing()
    machine.mark(KEYS[0])
    machine.disk_fails()
    machine.note("a")
    machine.crash_and_resume(b"{")
    machine.the_files_hold_what_was_done()
    assert len(session.read(machine.path).fold.said) == 1
    machine.teardown()
