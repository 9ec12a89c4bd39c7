"""Keys noted as they arrive, before the screen takes them up.

A terminal that stops reading (a frozen ssh, a selection in an old console) stops Textual's event loop, and with it
the journal. So the input thread itself writes each key into a small hidden file beside the session, under a number of
its own. Before the screen takes a key up, it writes that number down too, and the number of the journal's next record:
so what was never handled is known by count, whatever the clocks say, and can be offered back.
"""

import contextlib
import json
import os
from pathlib import Path
from typing import Any, NamedTuple

from etholog.base import files, system
from etholog.base.refusal import Refusal

_SETTLED = ""  # in place of a key's name: all before it is settled
OPENS_AND_ENDS, LEAVES = "enter", "escape"  # what a typed line begins with and ends with
TAP, PASTE = "<tap>", "<paste>"  # in place of a key's name: a tap on the lane of a key, a text that was pasted


class Arrival(NamedTuple):
    """A key by its name and by what it types ('' for nothing), and when it arrived, in milliseconds since the session
    began. Also a tap, or a pasted text."""

    key: str
    character: str
    t: int


class _Taken(NamedTuple):
    """The screen took up key `number` when the journal's next record was `record`, and a line was open or not."""

    number: int
    record: int
    in_line: bool


class Arrivals:
    """The file of a session's arrivals. Losing it loses nothing but this second net, so its errors are passed over."""

    def __init__(self, session: Path) -> None:
        self.path = session.with_name(f".{session.name}.keys")
        self._descriptor = -1
        self._next = 0

    def note(self, key: str, character: str, t: int) -> int:
        """Add a key, from whatever thread, in one write; return its number."""
        if self._descriptor < 0:
            self._next = max(self._read()[0], default=-1) + 1
        number, self._next = self._next, self._next + 1
        self._write([number, key, character, t])
        return number

    def take_up(self, number: int, record: int, in_line: bool) -> None:
        """Write down that the screen is about to handle a key."""
        self._write([number, record, in_line])

    def unhandled(self, next_record: int, last: int) -> list[Arrival]:
        """Return the keys of which a journal, whose next record is `next_record`, shows no handling. Of keys that
        version 0.1 noted, without a number, those that came after `last` ms.

        Where they fall into a line that was being typed, that is from the key that opened it on.
        """
        keys, taken, older = self._read()
        if not keys:
            return [arrival for arrival in older if arrival.t > last]
        start = max(keys) + 1
        if not taken:
            start = min(keys)
        for one, after in zip(taken, [*taken[1:], None], strict=True):
            if after is not None:
                undone = after.record > next_record
            else:  # without a record it may have done nothing, or what it did was lost with the screen
                undone = one.record >= next_record and keys[one.number].key != _SETTLED
            if undone:
                start = one.number
                break
        else:
            if taken:
                ended = taken[-1]
                name = keys[ended.number].key
                start = ended.number + 1
                if (name not in (OPENS_AND_ENDS, LEAVES)) if ended.in_line else name == OPENS_AND_ENDS:
                    start = ended.number  # it left a line open
        in_line = {one.number: one.in_line for one in taken}
        while in_line.get(start, False):
            start -= 1  # back to the key that opened the line
        return [arrival for number, arrival in sorted(keys.items()) if number >= start and arrival.key != _SETTLED]

    def settle(self, next_record: int) -> None:
        """Write down that all keys so far are settled: taken in, or left out by choice."""
        keys = self._read()[0]
        if keys:
            self._next = max(keys) + 1
            self.note(_SETTLED, "", 0)
            self.take_up(self._next - 1, next_record, False)
            os.close(self._descriptor)
            self._descriptor = -1

    def forget(self) -> None:
        """Remove the file: everything is in the journal."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1
        with contextlib.suppress(OSError):
            self.path.unlink()

    def _write(self, line: list[Any]) -> None:
        with contextlib.suppress(OSError, ValueError):
            if self._descriptor < 0:
                self._descriptor = os.open(self.path, system.ADD, 0o644)
            os.write(self._descriptor, json.dumps(line).encode() + b"\n")

    def _read(self) -> tuple[dict[int, Arrival], list[_Taken], list[Arrival]]:
        """Return the keys by number, what the screen took up of them, and keys as version 0.1 noted them."""
        keys: dict[int, Arrival] = {}
        taken: list[_Taken] = []
        older: list[Arrival] = []
        try:
            lines = files.read(self.path).splitlines()
        except Refusal:
            lines = []
        for line in lines:
            match _decoded(line):
                case [int(number), str(key), str(character), int(t)]:
                    keys[number] = Arrival(key, character, t)
                case [int(number), int(record), bool(in_line)] if number in keys:
                    taken.append(_Taken(number, record, in_line))
                case [str(key), int(t)] if len(key) == 1 and key.isprintable():
                    older.append(Arrival(key, key, t))
        return keys, taken, older


def _decoded(line: bytes) -> Any:
    try:
        return json.loads(line)
    except (ValueError, RecursionError):
        return None  # torn, or nothing of ours
