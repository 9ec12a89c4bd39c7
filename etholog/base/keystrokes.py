"""What a terminal sends, taken apart: keys, pastes, reports. Pure: text in, with the seconds at which it came.

A terminal answers questions (colours, versions, where the cursor is) in the same stream as the keys, sometimes late and
in pieces, and over a slow line an answer or a paste may never end. None of that is ever a key. After ECMA-48 (control
sequences and strings), xterm's control sequences (https://invisible-island.net/xterm/ctlseqs/ctlseqs.html) and kitty's
keyboard protocol (https://sw.kovidgoyal.net/kitty/keyboard-protocol/). No library that we know of does this without a
terminal of its own.
"""

import re
from collections.abc import Iterator
from typing import Literal, NamedTuple

ESC = "\x1b"
PASTE_BEGINS, PASTE_ENDS = "\x1b[200~", "\x1b[201~"
ESCAPE_S = 0.1  # so long after Esc, it was the key
STRING_S = 0.5  # so long without a further character, an answer has no end
PASTE_S = 1.0
TYPED_S = 0.15  # a single character after so long a pause was typed, and is no more of the paste
ORPHAN_S = 5.0  # so long the rest of an answer or a paste that was given up may still come
AT_ONCE = 8  # nobody types so many characters within one read

_SEQUENCE = re.compile(r"\x1b\[([0-?]*)([ -/]*)([@-~])")
_SEQUENCE_SO_FAR = re.compile(r"\x1b\[[0-?]*[ -/]*")
_STRING = re.compile(r"\x1b[\]P_^X]([^\x07\x1b]|\x1b(?!\\))*(\x07|\x1b\\)")
_SEQUENCE_GOES_ON = re.compile(r"[0-?]+[ -/]*[@-~]")
_KITTY = re.compile(r"(\d+)(?::[\d:]*)?(?:;(\d*)(?::(\d))?(?:;([\d:]*))?)?")
_KITTY_FLAGS = re.compile(r"\?(\d+)")
_EVENT_TYPES = 2  # the flag of the protocol: the terminal says press, repeat or release


class Stroke(NamedTuple):
    """Something that the terminal sent, whole: a key or report as its own characters, or the text of a paste.

    `held` says whether a key came because it is held down, where the terminal tells; else it is None.
    """

    kind: Literal["key", "paste", "report"]
    text: str
    held: bool | None = None


class Keystrokes:
    """Takes the stream apart as it comes. What is not finished yet waits for the next `feed`, or for `tick`."""

    def __init__(self) -> None:
        self._waiting = ""
        self._at = 0.0
        self._orphan, self._orphaned_at = "", 0.0
        self._tells = False  # whether the terminal tells presses, repeats and releases apart

    @property
    def waits(self) -> bool:
        """Whether something was begun that may be finished by time alone."""
        return bool(self._waiting)

    def feed(self, text: str, at: float) -> Iterator[Stroke]:
        """Take in characters that came at one moment, and yield what is whole by now."""
        typed = len(text) == 1 and self._waiting.startswith(PASTE_BEGINS) and at - self._at > TYPED_S
        yield from self.tick(at + PASTE_S if typed else at)
        self._waiting += self._with_orphan(text, at)
        self._at = at
        while self._waiting:
            whole = self._next()
            if whole is None:
                return
            length, stroke = whole
            self._waiting = self._waiting[length:]
            if stroke is not None:
                yield stroke

    def tick(self, at: float) -> Iterator[Stroke]:
        """Yield what was waiting for more that did not come in time; call this now and then."""
        waiting, quiet = self._waiting, at - self._at
        if waiting.startswith(PASTE_BEGINS):
            if quiet > PASTE_S:
                self._waiting, self._orphan, self._orphaned_at = "", PASTE_BEGINS, at
                yield Stroke("paste", waiting[len(PASTE_BEGINS) :])
        elif len(waiting) > 2:
            if quiet > STRING_S:
                self._waiting, self._orphan, self._orphaned_at = "", waiting, at
        elif waiting and quiet > ESCAPE_S:
            self._waiting = ""
            yield Stroke("key", waiting)

    def _with_orphan(self, text: str, at: float) -> str:
        """Return what came, behind what had been given up where it is the rest of that."""
        orphan = self._orphan
        if not orphan or at - self._orphaned_at > ORPHAN_S:
            return text
        if orphan == PASTE_BEGINS:
            goes_on = PASTE_ENDS in text or len(text) >= AT_ONCE
        elif orphan[1] == "[":
            goes_on = len(text) > 1 and _SEQUENCE_GOES_ON.match(text) is not None
        else:
            goes_on = len(text) > 1 and (_STRING.match(orphan + text) is not None or len(text) >= AT_ONCE)
        if not goes_on:
            return text
        self._orphan = ""
        return orphan + text

    def _next(self) -> tuple[int, Stroke | None] | None:
        """Return how many characters make the next stroke, and the stroke, None where it says nothing to us; or None
        where more has to come."""
        waiting = self._waiting
        if waiting[0] != ESC:
            return 1, Stroke("key", waiting[0])
        if waiting.startswith(PASTE_BEGINS):
            end = waiting.find(PASTE_ENDS)
            text = waiting[len(PASTE_BEGINS) : end]
            return None if end < 0 else (end + len(PASTE_ENDS), Stroke("paste", text))
        if len(waiting) == 1:
            return None
        if waiting[1] == "[":
            if found := _SEQUENCE.match(waiting):
                return self._sequence(found)
            # A character that no sequence can hold ends it; what it was nobody knows.
            so_far = _SEQUENCE_SO_FAR.match(waiting)
            length = so_far.end() if so_far else 1
            return None if length == len(waiting) else (length, None)
        if waiting[1] in "]P_^X":
            found = _STRING.match(waiting)
            return None if found is None else (found.end(), None)
        if waiting[1] == "O":
            return (3, Stroke("key", waiting[:3])) if len(waiting) > 2 else None
        if waiting[1] == ESC:
            return 1, Stroke("key", ESC)
        return 2, Stroke("key", waiting[:2])

    def _sequence(self, found: re.Match[str]) -> tuple[int, Stroke | None] | None:
        given, between, final = found.groups()
        length, text = found.end(), found[0]
        if given.startswith("<") and final in "Mm":
            return length, Stroke("report", text)  # the mouse
        if final == "M" and not given:  # the mouse of old, in three characters more
            return None if len(self._waiting) < length + 3 else (length + 3, None)
        if final in "IO" and not given:
            return length, Stroke("report", text)  # the focus
        if (final == "y" and between == "$") or (final == "t" and given.startswith("48;")):
            return length, Stroke("report", text)  # a mode; the size
        if final == "u" and (flags := _KITTY_FLAGS.fullmatch(given)):
            self._tells = bool(int(flags[1]) & _EVENT_TYPES)
            return length, None
        if final in "Rcntxy" or between or given[:1] in ("<", "=", ">", "?") or text == PASTE_ENDS:
            return length, None  # the cursor's place, what the terminal is
        return length, self._key(given, final, text)

    def _key(self, given: str, final: str, text: str) -> Stroke | None:
        told = _KITTY.fullmatch(given)
        if told is None:
            return Stroke("key", text)
        code, modifiers, event, typed = told.groups()
        if event == "3":  # let go
            return None
        held = event == "2" if event or self._tells else None
        parts = [code, modifiers or "", typed or ""]
        while len(parts) > 1 and not parts[-1]:
            parts.pop()
        return Stroke("key", f"{ESC}[{';'.join(parts)}{final}", held)
