"""Writes records, and puts right what was recorded: every correction is one more record, so both values stay."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from etholog.base import system
from etholog.base.journal import Journal
from etholog.ethogram import Behaviour
from etholog.recording.live import Live, clock_face

NOTE_LENGTH = 10_000
WALL_EVERY_S = 60


@dataclass(frozen=True)
class Answer:
    """What became of a press, in a sentence, and the record that came of it."""

    did: str
    text: str
    n: int | None = None


class Corrector:
    """Appends to a journal, keeps `live` up with it, and corrects the mark in hand: the last one."""

    def __init__(self, journal: Journal, live: Live, wall: Callable[[], datetime] = system.wall_now) -> None:
        self.journal = journal
        self.live = live
        self.ethogram = live.ethogram
        self.asks_code = False  # the next key says what the mark in hand should have been
        self.wall = wall
        self._wall_at = -1e9
        self._done: list[tuple[int, ...]] = []  # the records that one undo takes back, together
        self._undone: list[tuple[tuple[int, ...], tuple[int, ...]]] = []

    def in_hand(self) -> Mapping[str, Any] | None:
        """Return the mark that a correction is meant for, as corrected so far."""
        return self.live.last

    @property
    def undo_text(self) -> str:
        """What the next undo takes back; '' when there is nothing."""
        return self.live.told(self._done[-1][-1]) if self._done else ""

    def with_undo(self, answer: str) -> str:
        """Return an answer with what the next undo takes back, named unless the answer has just told it."""
        undo = self.undo_text
        if not undo:
            return answer
        return f"{answer}   [Backspace takes {'it back' if answer.endswith(undo) else f'back: {undo}'}]"

    def undo(self) -> Answer:
        """Take back the last thing that was done; again and again."""
        self.asks_code = False
        if not self._done:
            return Answer("nothing", "nothing left to take back")
        text = self.undo_text
        group = self._done.pop()
        undos = tuple(self._append("undo", of=of) for of in group)
        self._undone.append((undos, group))
        return Answer("undo", f"taken back: {text}", undos[-1])

    def redo(self) -> Answer:
        """Bring back what was taken back last."""
        self.asks_code = False
        if not self._undone:
            return Answer("nothing", "nothing to bring back")
        undos, group = self._undone.pop()
        n = [self._append("undo", of=undo) for undo in undos][-1]
        self._done.append(group)
        return Answer("redo", f"brought back: {self.undo_text}", n)

    def shift(self, seconds: float) -> Answer:
        """Put the mark in hand so many seconds later, or earlier; the time first typed stays in the journal."""
        mark = self.in_hand()
        if mark is None:
            return Answer("nothing", "no mark to move")
        t = max(0, mark["t"] + round(seconds * 1000))
        ends = self.live.ends_of(mark["n"])
        if len(ends) == 2:  # a bout that was turned round would have no end
            least = ends[0] > ends[1]  # of two records of one instant, the one with the higher number comes later
            here = ends.index(mark["n"])
            other = (self.live.lasting(ends[1 - here]) or mark)["t"]
            t = max(t, other + least) if here else min(t, other - least)
        group = [self._append("move", of=back, t=t) for back in self._ends_of_gap_around(t, mark["t"])]
        group.append(self._append("move", of=mark["n"], t=t))
        self._keep(*group)
        return Answer("move", f"moved to {clock_face(t)}: {self.live.told(mark['n'])}", group[-1])

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

    def recode(self, behaviour: Behaviour, choice: str | None) -> Answer:
        """Give the mark in hand another meaning; the two ends of a bout are recoded together."""
        mark = self.in_hand()
        if mark is None or mark["do"] not in ("mark", "stray"):
            return Answer("nothing", "no mark to recode")
        more = {"code": behaviour.code} | ({"qualifier": choice} if choice else {})
        if behaviour.kind == "state" and not self._is_end(mark) and self._ran_until(mark["t"], behaviour.code, choice):
            # The key would have ended it.
            undo = self._append("undo", of=mark["n"])
            n = self._append("mark", t=mark["t"], edge="offset", **more)
            self._keep(undo, n)
            return Answer("recode", f"is now: {self.live.told(n)}", n)
        ends = self.live.ends_of(mark["n"])
        group = [self._append("recode", of=n, **more) for n in (ends if behaviour.kind == "state" else ends[:1])]
        if behaviour.kind == "event":
            group = [*(self._append("undo", of=n) for n in ends[1:]), *group]
        self._keep(*group)
        return Answer(
            "recode", f"is now: {self.live.told(ends[0] if behaviour.kind == 'event' else mark['n'])}", group[-1]
        )

    def recode_or_ask(self) -> Answer:
        """Give the mark in hand its other meaning; where it has none, the next key says which."""
        other = self.other_meaning()
        if other is not None:
            return self.recode(*other)
        mark = self.in_hand()
        if mark is None or mark["do"] not in ("mark", "stray"):
            return Answer("nothing", "no mark to recode")
        self.asks_code = True
        return Answer("asks", f"press the key that it should have been: {self.live.told(mark['n'])}")

    def doubt(self) -> Answer:
        """Mark the mark in hand as unsure, or as sure again; the two ends of a bout together."""
        mark = self.in_hand()
        if mark is None or mark["do"] != "mark":
            return Answer("nothing", "no mark to doubt")
        sure = not mark.get("sure", True)
        group = [self._append("doubt", of=n, sure=sure) for n in self.live.ends_of(mark["n"])]
        self._keep(*group)
        return Answer("doubt", f"{'sure again' if sure else 'unsure'}: {self.live.told(mark['n'])}", group[-1])

    # ------------------------------------------------------------ within

    def _is_end(self, mark: Mapping[str, Any]) -> bool:
        """Return whether it is an end of a state's bout."""
        behaviour = self.ethogram.by_code.get(mark.get("code", ""))
        return mark["do"] == "mark" and behaviour is not None and behaviour.kind == "state"

    def _ran_until(self, t: int, code: str, choice: str | None) -> bool:
        """Return whether a state ran just before `t`, which may have ended it."""
        folding = self.live.folding
        began = [bout.onset for bout in folding.running.values() if bout[1:3] == (code, choice)]
        began += [bout.onset for bout in folding.bouts if bout[1:3] == (code, choice) and t <= bout.offset]
        return any(onset < t for onset in began)

    def _ends_of_gap_around(self, t: int, before: int) -> list[int]:
        """Return what ended the gap that lies around `t` and was over at `before`: who saw something then, watched."""
        ended = [gap.offset for gap in self.live.folding.gaps if gap.onset <= t < gap.offset <= before]
        return [r["n"] for r in self.live.marks_in_time if r["do"] == "back" and r["t"] in ended]

    def _append(self, do: str, **fields: Any) -> int:
        n = self.journal.append(do, **fields)
        self.live.add({"n": n, "do": do, **fields})
        return n

    def _do(self, do: str, **fields: Any) -> int:
        """Append what an undo may take back."""
        n = self._append(do, **fields)
        self._keep(n)
        return n

    def _keep(self, *group: int) -> None:
        """Keep records that one undo is to take back."""
        self.asks_code = False
        self._done.append(group)
        self._undone.clear()
