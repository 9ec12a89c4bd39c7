"""Corrects a session that is closed: a cursor walks along it, and what is changed is appended to the same journal."""

import re
from collections.abc import Mapping
from typing import Any

from etholog.base.clock import clock_face, seconds_typed
from etholog.base.journal import Journal
from etholog.ethogram import Behaviour, Hand
from etholog.recording.corrector import NOTE_LENGTH, Answer, Corrector, shift_typed
from etholog.recording.keyboard import QWERTY_KEYBOARD, Keyboard
from etholog.recording.live import Live
from etholog.session import drafts

_TIME = re.compile(r"@\s*(\d.*)")


class Amender(Corrector):
    """A corrector whose mark in hand is the one at the `cursor` (ms), or the last one before it."""

    def __init__(self, journal: Journal, live: Live, hand: Hand, keyboard: Keyboard = QWERTY_KEYBOARD) -> None:
        super().__init__(journal, live)
        self.keyboard = keyboard
        self.hand = hand
        self.layout = keyboard.layout(live.ethogram.layout(hand))
        self.cursor = 0
        self._chosen: int | None = None

    @property
    def end(self) -> int:
        """Where the session ended, in milliseconds."""
        return self.live.end or 0

    def in_hand(self) -> Mapping[str, Any] | None:
        """Return what was walked to, or the last before the cursor: a mark, a stray key, a note, an end of a gap."""
        if self._chosen is not None and (chosen := self.live.lasting(self._chosen)) is not None:
            return chosen
        return max((r for r in self.live.marks_in_time if r["t"] <= self.cursor), key=_order, default=None)

    def go(self, t: int) -> None:
        """Put the cursor somewhere within the session."""
        self.asks_code = False
        self.cursor, self._chosen = min(max(t, 0), self.end), None

    def step(self, steps: int) -> None:
        """Walk to the next mark (1) or the one before (-1)."""
        self.asks_code = False
        marks = sorted(self.live.marks_in_time, key=_order)
        here = self._chosen if self._chosen is not None and self.live.lasting(self._chosen) else None
        if here is not None:
            at = next(i for i, record in enumerate(marks) if record["n"] == here) + steps
        elif steps > 0:
            at = next((i for i, record in enumerate(marks) if record["t"] > self.cursor), len(marks))
        else:
            at = next((i for i in reversed(range(len(marks))) if marks[i]["t"] < self.cursor), -1)
        if 0 <= at < len(marks):
            self._hold(marks[at]["n"])

    def press(self, key: str) -> Answer:
        """Take in a key of the ethogram's layout: a mark at the cursor, or what the mark in hand should have been."""
        meant = self.layout.get(key.lower())
        asked, self.asks_code = self.asks_code, False
        if meant is None:
            return Answer(f"key {key!r} means nothing here")
        if asked:
            return self.recode(meant.behaviour, meant.choice)
        return self._add(meant.behaviour, meant.choice)

    def _add(self, behaviour: Behaviour, choice: str | None) -> Answer:
        n = self._do(drafts.mark(self.cursor, behaviour.code, self.edge(self.cursor, behaviour, choice), choice))
        self._hold(n)
        return Answer(f"added: {self.live.told(n)}", n)

    def add(self, behaviour: Behaviour, onset: int, offset: int, note: str) -> None:
        """Add a bout, or an event at its onset, with a note that says where it comes from."""
        if behaviour.kind == "event":
            n = self._do(drafts.mark(onset, behaviour.code))
        else:
            n = self._do(drafts.mark(onset, behaviour.code, "onset"))
            self._do(drafts.mark(offset, behaviour.code, "offset"))
        self._do(drafts.note(onset, note[:NOTE_LENGTH], n))

    def gap(self) -> Answer:
        """Say that nobody watched from the cursor on; within a gap, that watching began again there."""
        if any(gap.onset <= self.cursor < gap.offset for gap in self.live.folding.gaps):
            answer = Answer(f"watched again from {clock_face(self.cursor)}", self._do(drafts.back(self.cursor)))
        else:
            n = self._do(drafts.gap(self.cursor))
            answer = Answer(f"nobody watched from {clock_face(self.cursor)}; - again ends the gap", n)
        self._hold(answer.n or 0)
        return answer

    def take_out(self) -> Answer:
        """Take out the mark in hand; it stays in the journal, as undone."""
        mark = self.in_hand()
        if mark is None:
            return Answer("no mark to take out")
        told = self.live.told(mark["n"])
        self._chosen = None
        return Answer(f"taken out: {told}", self._do(drafts.undo(mark["n"])))

    def shift(self, seconds: float, latest: int | None = None) -> Answer:
        """Move the mark in hand; the cursor goes with it."""
        mark = self.in_hand()
        answer = super().shift(seconds, latest)
        if mark is not None:
            self._hold(mark["n"])
        return answer

    def line(self, text: str) -> Answer:
        """Take in a typed line: `-12` and `+3` move the mark in hand, `@2:30` the cursor; other words are its note."""
        text = text.strip()
        if (by := shift_typed(text)) is not None:
            return self.shift(by)
        if (found := _TIME.fullmatch(text)) and (seconds := seconds_typed(found[1])) is not None:
            self.go(round(seconds * 1000))
            return Answer(f"at {clock_face(self.cursor)}")
        if not text:
            return Answer("no note")
        mark = self.in_hand()
        of = mark["n"] if mark is not None and mark["do"] != "note" else None
        return Answer("noted", self._do(drafts.note(self.cursor, text[:NOTE_LENGTH], of)))

    def _hold(self, n: int) -> None:
        record = self.live.lasting(n)
        if record is not None:
            self.cursor, self._chosen = record["t"], n


def _order(record: Mapping[str, Any]) -> tuple[int, int]:
    return record["t"], record["n"]
