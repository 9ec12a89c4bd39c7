"""Keys that arrived and were never handled, taken in afterwards as the strip would have taken them."""

from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from typing import cast

from etholog.base.journal import Draft, Journal
from etholog.ethogram import Hand
from etholog.ethogram.own_keys import Act, act_of
from etholog.recording.arrivals import LEAVES, OPENS_AND_ENDS, PASTE, TAP, Arrival
from etholog.recording.keyboard import Keyboard
from etholog.recording.live import Live
from etholog.recording.recorder import Recorder
from etholog.session import Session

NOTHING = "nothing"
LINE_BEGINS = "a line begins"


class _Replay:
    def __init__(self, recorder: Recorder) -> None:
        self._recorder = recorder
        self._line: str | None = None
        self._ending = False

    def take(self, arrival: Arrival, at: float) -> str:
        """Take in a key; return what it does, in words."""
        recorder = self._recorder
        if recorder.closed:
            return NOTHING  # an answer to the form at the end
        if arrival.key == TAP:
            self._ending = False
            return recorder.press(arrival.character, at).text
        if self._line is not None:
            return self._typed(arrival, self._line, at)
        if arrival.key == PASTE:
            return recorder.pasted(arrival.character, at).text
        where = recorder.where
        act = act_of(arrival.key, where) or act_of(recorder.keyboard.place(arrival.character), where)
        ending, self._ending = self._ending, act is Act.END
        match act:
            case Act.LINE if ending:
                recorder.close(at)
                return "the session ends"
            case Act.LINE:
                self._line = ""
                return LINE_BEGINS
            case Act.END:
                recorder.asks_code = False
                return "asks whether to end"
            case Act.SUSPEND | Act.HOW_TO_END | Act.KEYS:
                return NOTHING
        named = not arrival.character or act_of(arrival.key, where) is not None
        return recorder.take(arrival.key if named else arrival.character, at).text or NOTHING

    def end(self, at: float) -> str:
        """Keep a line that was begun and never ended, as a note."""
        return "" if not self._line else f"{self._recorder.line(self._line, at).text}: {self._line}"

    def _typed(self, arrival: Arrival, line: str, at: float) -> str:
        if arrival.key in (OPENS_AND_ENDS, LEAVES):
            self._line = None
            return f"{self._recorder.line(line, at).text}: {line}" if arrival.key == OPENS_AND_ENDS else "line left"
        if arrival.key == "backspace":
            self._line = line[:-1]
        elif arrival.key == PASTE:
            self._line = line + "".join(filter(str.isprintable, "".join(arrival.character.splitlines()[:1])))
        elif arrival.character.isprintable():
            self._line = line + arrival.character
        return f"line: {self._line}"


def replay(recorder: Recorder, missed: Sequence[Arrival], clock_at: float) -> list[str]:
    """Take keys in, and return for each what it does, in words; one more where a line was left open at the end.

    A gap that was put there after they arrived, when the program ended, is taken back first. All of it is written at
    once: of keys that were half taken in, a second crash would leave half to be taken in twice.
    """
    if not missed:
        return []
    with recorder.journal.at_once():
        recorder.take_back_gap_after(missed[0].t)
        machine, recorder.is_late = _Replay(recorder), True
        told = [machine.take(arrival, clock_at + arrival.t / 1000) for arrival in missed]
        rest = machine.end(clock_at + missed[-1].t / 1000)
    recorder.is_late = False
    recorder.asks_code = False  # what was asked before the break: the next key is a mark
    return [*told, rest] if rest else told


class _Rehearsed:
    """Stands in for a journal, and keeps nothing."""

    def __init__(self, n: int) -> None:
        self.n = n

    def append(self, _: Draft) -> int:
        self.n += 1
        return self.n - 1

    def at_once(self) -> AbstractContextManager[None]:
        return nullcontext()


def rehearse(known: Session, hand: Hand, keyboard: Keyboard, missed: Sequence[Arrival]) -> tuple[list[str], int]:
    """Return what each key would do, and how many records would come of all; nothing is written."""
    first = known.records[-1]["n"] + 1 if known.records else 1
    journal = _Rehearsed(first)
    live = Live(known.ethogram, known.records)
    recorder = Recorder(
        cast(Journal, journal), known.ethogram, hand, known.began, clock_at=0.0, live=live, keyboard=keyboard
    )
    told = replay(recorder, missed, 0.0)
    return told, journal.n - first
