"""Writes records, and corrects what was recorded: every correction is one more record, so both values stay."""

from collections.abc import Callable, Collection, Mapping
from datetime import datetime
from functools import wraps
from typing import Any, NamedTuple, TypeVar, cast

from etholog.base import system
from etholog.base.clock import clock_face, seconds_typed
from etholog.base.journal import Draft, Journal, Scalar
from etholog.ethogram import Behaviour
from etholog.recording import moving
from etholog.recording.live import Live
from etholog.session import closing, drafts
from etholog.session.folding import last_close

NOTE_LENGTH = 10_000
WALL_EVERY_S = 60


_Do = TypeVar("_Do", bound=Callable[..., Any])


def in_one_write(do: _Do) -> _Do:
    """Have all that one key says written at once: a crash in between would keep half of what it meant."""

    @wraps(do)
    def done(self: "Corrector", *args: Any, **named: Any) -> Any:
        with self.journal.at_once():
            return do(self, *args, **named)

    return cast("_Do", done)


class Answer(NamedTuple):
    """What became of a press, in a sentence, and the record that came of it: None where nothing was written."""

    text: str
    n: int | None = None


def shift_typed(text: str) -> float | None:
    """Return by how many seconds a typed line moves a mark: `-12`, `+3`, `-90 s`, `-1:30`; None for other words.

    >>> shift_typed("-1:30"), shift_typed("+3"), shift_typed("-90 s"), shift_typed("- she turned")
    (-90.0, 3.0, -90.0, None)
    """
    seconds = seconds_typed(text[1:]) if text[:1] in ("-", "+", "\N{MINUS SIGN}") else None
    return None if seconds is None else seconds if text[0] == "+" else -seconds


class Corrector:
    """Appends to a journal, keeps `live` up with it, and corrects the mark in hand: the last one."""

    def __init__(self, journal: Journal, live: Live, wall: Callable[[], datetime] = system.wall_now) -> None:
        self.journal = journal
        self.live = live
        self.ethogram = live.ethogram
        self.asks_code = False  # the next key says what the mark in hand should have been
        self.meant: int | None = None  # the mark that a correction is for, where it is not the last one
        self.wall = wall
        self._wall_at = -1e9
        self._done: list[tuple[int, ...]] = []  # the records that one undo takes back, together
        self._undone: list[tuple[tuple[int, ...], tuple[int, ...]]] = []

    def in_hand(self) -> Mapping[str, Any] | None:
        """Return the mark that a correction is meant for, as corrected so far."""
        return self.live.last if self.meant is None else self.live.lasting(self.meant)

    @property
    def undo_text(self) -> str:
        """What the next undo takes back; '' when there is nothing."""
        return self.live.told(self._done[-1][-1]) if self._done else ""

    def undoable(self, most: int) -> list[tuple[int, str]]:
        """Return what can be taken back, the last first: a record of each, and what it is in words."""
        return [(group[-1], self.live.told(group[-1])) for group in self._done[: -most - 1 : -1]]

    def with_undo(self, answer: str) -> str:
        """Return an answer with what the next undo takes back, named unless the answer has just told it."""
        undo = self.undo_text
        if not undo:
            return answer
        told = "Backspace takes it back" if undo in answer else f"Backspace takes back: {undo}"
        return f"{answer}   [{told}]"

    def with_undo_key(self, answer: str) -> str:
        """Return an answer with the key of undo, where undo takes back what the answer has just told."""
        undo = self.undo_text
        return f"{answer}   [Backspace takes it back]" if undo and undo in answer else answer

    @in_one_write
    def undo(self, of: Collection[int] = ()) -> Answer:
        """Take back the last thing that was done, again and again; or what made one of the records `of`."""
        self.asks_code = False
        places = reversed(range(len(self._done)))
        at = next((at for at in places if not of or any(n in of for n in self._done[at])), None)
        if at is None:
            return Answer("it was taken back already" if of else "nothing left to take back")
        group = self._done.pop(at)
        text = self.live.told(group[-1])
        undos = tuple(self._append(drafts.undo(of)) for of in group)
        self._undone.append((undos, group))
        return Answer(f"taken back: {text}", undos[-1])

    @in_one_write
    def redo(self) -> Answer:
        """Bring back what was taken back last."""
        self.asks_code = False
        if not self._undone:
            return Answer("nothing to bring back")
        undos, group = self._undone.pop()
        n = [self._append(drafts.undo(undo)) for undo in undos][-1]
        self._done.append(group)
        return Answer(f"brought back: {self.undo_text}", n)

    @in_one_write
    def shift(self, seconds: float, latest: int | None = None) -> Answer:
        """Put the mark in hand so many seconds later, or earlier; the time first typed stays in the journal.

        Never later than `latest` (ms), or than a closed session's end: what nobody has watched would count as watched.
        Never so far that other bouts would change.
        """
        mark = self.in_hand()
        if mark is None:
            return Answer("no mark to move")
        n, here = mark["n"], mark["t"]
        wanted = max(0, here + round(seconds * 1000))
        if (last := self.live.end if latest is None else latest) is not None:
            wanted = min(wanted, max(last, here))
        times = moving.places(self.ethogram, self.live.marks_in_time, n, wanted)
        if (t := times[n]) == here:
            return Answer(f"not moved: {'other bouts would change' if wanted != here else 'there is no time beyond'}")
        self._keep(*[self._append(drafts.move(of, times[of])) for of in sorted(times, key=n.__eq__)])
        held = ", no further (other bouts would change)" if t != wanted else ""
        return Answer(f"moved to {clock_face(t)}{held}: {self.live.told(n)}", self._done[-1][-1])

    def other_meaning(self) -> tuple[Behaviour, str | None] | None:
        """Return what the mark in hand is easily taken for: its other choice, or what it resembles."""
        mark = self.in_hand()
        behaviour = self.ethogram.by_code.get(mark.get("code", "")) if mark is not None else None
        if mark is None or mark["do"] != "mark" or behaviour is None:
            return None
        names = [choice.name for choice in behaviour.choices]
        if mark.get("qualifier") in names and len(names) == 2:
            return behaviour, names[1 - names.index(mark["qualifier"])]
        return None if behaviour.resembles is None else (self.ethogram.by_code[behaviour.resembles], None)

    @in_one_write
    def recode(self, behaviour: Behaviour, choice: str | None) -> Answer:
        """Give the mark in hand another meaning; the two ends of a bout are recoded together."""
        mark = self.in_hand()
        if mark is None or mark["do"] not in ("mark", "stray"):
            return Answer("no mark to recode")
        if (
            behaviour.kind == "state"
            and mark.get("edge") != "offset"
            and len(self.live.ends_of(mark["n"])) == 1
            and self.live.runs_at(mark["t"], behaviour.code, choice, without=mark["n"])
        ):
            # The key would have ended it.
            undo = self._append(drafts.undo(mark["n"]))
            n = self._append(drafts.mark(mark["t"], behaviour.code, "offset", choice))
            self._keep(undo, n)
            return Answer(f"is now: {self.live.told(n)}", n)
        ends = self.live.ends_of(mark["n"])
        group = [
            self._append(drafts.recode(n, behaviour.code, choice))
            for n in (ends if behaviour.kind == "state" else ends[:1])
        ]
        if behaviour.kind == "event":
            group = [*(self._append(drafts.undo(n)) for n in ends[1:]), *group]
        self._keep(*group)
        return Answer(f"is now: {self.live.told(ends[0] if behaviour.kind == 'event' else mark['n'])}", group[-1])

    def recode_or_ask(self) -> Answer:
        """Give the mark in hand its other meaning; where it has none, the next key says which."""
        other = self.other_meaning()
        if other is not None:
            return self.recode(*other)
        mark = self.in_hand()
        if mark is None or mark["do"] not in ("mark", "stray"):
            return Answer("no mark to recode")
        self.asks_code = True
        return Answer(f"press the key that it should have been: {self.live.told(mark['n'])}")

    @in_one_write
    def doubt(self) -> Answer:
        """Mark the mark in hand as unsure, or as sure again; the two ends of a bout together."""
        mark = self.in_hand()
        if mark is None or mark["do"] != "mark":
            return Answer("no mark to doubt")
        sure = not mark.get("sure", True)
        group = [self._append(drafts.doubt(n, sure)) for n in self.live.ends_of(mark["n"])]
        self._keep(*group)
        return Answer(f"{'sure again' if sure else 'unsure'}: {self.live.told(mark['n'])}", group[-1])

    @property
    def outcome(self) -> dict[str, Scalar]:
        """The answers about the end, as they stand now."""
        return dict(last_close(self.live.records).get("outcome", {}))

    def answer(self, answers: Mapping[str, Scalar]) -> None:
        """Keep answers about the end, at the time at which it ended; None takes one away."""
        outcome = closing.changed(self.outcome, answers)
        if outcome != self.outcome:
            self._append(drafts.close(last_close(self.live.records)["t"], outcome))

    # ------------------------------------------------------------ within

    def edge(self, t: int, behaviour: Behaviour, choice: str | None) -> drafts.Edge | None:
        """Return what a key of that behaviour means at a time: it ends what runs, or begins it; None for an event."""
        if behaviour.kind == "event":
            return None
        return "offset" if self.live.runs_at(t, behaviour.code, choice) else "onset"

    def _append(self, draft: Draft) -> int:
        n = self.journal.append(draft)
        self.live.add({"n": n, **draft})
        return n

    def _do(self, draft: Draft) -> int:
        """Append what an undo may take back."""
        n = self._append(draft)
        self._keep(n)
        return n

    def _keep(self, *group: int) -> None:
        """Keep records that one undo is to take back."""
        self.asks_code = False
        self._done.append(group)
        self._undone.clear()
