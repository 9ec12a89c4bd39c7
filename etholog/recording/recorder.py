"""From a key to a record: what a press against the running clock means. No screen, no thread, no waiting."""

import re
from collections.abc import Callable
from datetime import datetime
from typing import Any

from etholog.base import system
from etholog.base.journal import Journal
from etholog.ethogram import Behaviour, Ethogram, Hand
from etholog.recording.corrector import NOTE_LENGTH, WALL_EVERY_S, Answer, Corrector
from etholog.recording.keyboard import QWERTY_KEYBOARD, Keyboard
from etholog.recording.live import Live

# Terminals send a held key as presses: the first again after a quarter to two thirds of a second, then one every 25
# to 40 ms. Nobody taps one key twice within 80 ms, so such a stamp is a repeat, and the press before it was the first
# of them.
REPEAT_S = 0.080
HELD_S = (0.2, 1.0)

CLOCK_JUMP_S = 2.0
STILL_S = 5.0


class Recorder(Corrector):
    """Writes what is pressed.

    Every time is given as `at`, in seconds of `system.now`: that of the key's arrival, never that of its handling.
    """

    def __init__(
        self,
        journal: Journal,
        ethogram: Ethogram,
        hand: Hand,
        began: datetime,
        clock_at: float,
        wall: Callable[[], datetime] = system.wall_now,
        live: Live | None = None,
        keyboard: Keyboard = QWERTY_KEYBOARD,
    ) -> None:
        super().__init__(journal, live or Live(ethogram), wall)
        self.hand, self.keyboard = hand, keyboard
        self.layout = keyboard.layout(ethogram.layout(hand))
        self.began = began
        self.closed = False
        self._clock_at = clock_at
        self._key, self._key_at, self._key_gap = "", -1e9, 1e9
        self._key_n: int | None = None
        self._clocks: tuple[float, float, float] | None = None

    def t(self, at: float) -> int:
        """Return a reading of the clock as milliseconds since the session began."""
        return max(0, round((at - self._clock_at) * 1000))

    def ends_at(self, at: float) -> int:
        """Return where the session ends, in milliseconds, when it is closed at `at`."""
        return self.t(at)

    # ------------------------------------------------------------ keys

    def take(self, character: str, at: float) -> Answer:
        """Take in a character: one of the screen's own keys, or a `press`."""
        match self.keyboard.place(character):
            case " ":
                return self.rescue(at)
            case "1" | "0":
                return self.shift(-1)
            case "2" | "9":
                return self.recode_or_ask()
            case "3" | "8":
                return self.doubt()
            case "-":
                return self.gap(at) if self.live.folding.gap is None else self.back(at)
            case "=":
                return self.sync(at)
        return self.press(character.lower(), at)  # Caps Lock must not turn every key into a stray

    def press(self, key: str, at: float) -> Answer:
        """Take in a key of the ethogram's layout: a mark, a stray, or a repeat of a key held down."""
        t = self.t(at)
        gap_s = at - self._key_at
        if key == self._key and gap_s < REPEAT_S:
            return self._repeat(key, at, t, gap_s)
        self._key_gap = gap_s if key == self._key else 1e9
        self._key, self._key_at, self._key_n = key, at, None
        meant = self.layout.get(key)
        if meant is None:
            self.asks_code = False
            n = self._at("stray", at, key=key)
            return Answer("stray", f"key {key!r} means nothing here", n)
        if self.asks_code:
            self.asks_code = False
            return self.recode(meant.behaviour, meant.choice)
        if self.live.folding.gap is not None:
            self.back(at)
        answer = self._mark(meant.behaviour, meant.choice, at)
        self._key_n = answer.n
        return answer

    def _repeat(self, key: str, at: float, t: int, gap_s: float) -> Answer:
        if self._key_n is not None and HELD_S[0] <= self._key_gap <= HELD_S[1]:
            # The press before this one was the first repeat already, and had been taken for a second press.
            self._done = [group for group in self._done if group != (self._key_n,)]
            self._append("undo", of=self._key_n)
        self._key_n = None
        self._key_gap = gap_s
        self._key_at = at
        return Answer("repeat", f"key {key!r} is held down", self._append("repeat", t=t, key=key))

    def _mark(self, behaviour: Behaviour, choice: str | None, at: float) -> Answer:
        fields: dict[str, Any] = {"code": behaviour.code}
        if behaviour.kind == "state":
            lane = behaviour.chain or (behaviour.code, choice)
            now = self.live.running_at(self.t(at)).get(lane)
            runs = now is not None and now.code == behaviour.code and now.qualifier == choice
            fields["edge"] = "offset" if runs else "onset"
        if choice is not None:
            fields["qualifier"] = choice
        n = self._at("mark", at, **fields)
        return Answer(fields.get("edge", "event"), self.live.told(n), n)

    # ------------------------------------------------------------ the rest of what can be said

    def line(self, text: str, at: float) -> Answer:
        """Take in a typed line: `-12` moves the last mark earlier; other words are a note, or in a gap its reason."""
        text = text.strip()[:NOTE_LENGTH]
        if re.fullmatch(r"-\s*\d{1,5}(\.\d+)?", text):
            return self.shift(-float(text[1:]))
        if not text:
            return Answer("nothing", "no note")
        if self.live.open_gap is not None:
            return Answer("why", f"nobody watches: {text}", self._at("note", at, text=text, of=self.live.open_gap))
        return Answer("note", "noted", self._at("note", at, text=text))

    def gap(self, at: float, why: str = "") -> Answer:
        """From here on nobody watches."""
        return Answer("gap", "nobody watches: this time counts for nothing", self._at("gap", at, why=why))

    def back(self, at: float) -> Answer:
        """Somebody watches again."""
        return Answer("back", "watching again; what ran before the gap is over", self._at("back", at))

    def sync(self, at: float) -> Answer:
        """A moment that the film shows too."""
        return Answer("sync", "sync: clap or flash the torch now", self._at("sync", at))

    def rescue(self, at: float) -> Answer:
        """The keeper has to step in: other prompts are mute from here on."""
        return Answer("rescue", "RESCUE: the moment is kept", self._at("rescue", at))

    def prompted(self, name: str, at: float) -> None:
        """Keep that a prompt was shown."""
        self._append("prompt", t=self.t(at), name=name)

    def pasted(self, text: str, at: float) -> Answer:
        """Pasted text makes no marks; it is kept as a note."""
        n = self._at("note", at, text=f"pasted: {text[:1000]}")
        return Answer("note", "pasted text makes no marks; kept as a note", n)

    def watch_clocks(self, at: float, awake: float, wall: datetime) -> None:
        """Compare three clocks now and then: one that goes on in sleep, one that doesn't, and the wall's.

        A machine that slept recorded nothing, so that time is a gap. A program that stood still (a stalled terminal)
        may have keys waiting, so that is only told.
        """
        slept, set_by = at - awake, wall.timestamp() - at
        if self._clocks is not None:
            before, slept_before, set_before = self._clocks
            asleep = slept - slept_before
            if asleep > CLOCK_JUMP_S:
                self._append("clock", t=self.t(at), what=f"the machine slept for {asleep:.0f} s")
                self.was_away(self.t(before), self.t(at), "the machine slept")
            elif at - before > STILL_S:
                self._append("clock", t=self.t(at), what=f"etholog stood still for {at - before:.0f} s")
            if abs(set_by - set_before) > CLOCK_JUMP_S:
                self._append("clock", t=self.t(at), what=f"the wall clock was set by {set_by - set_before:+.0f} s")
        self._clocks = at, slept, set_by

    def stopped(self, at: float) -> Answer:
        """The program was stopped since the clocks were compared last, and goes on now: nobody watched in between."""
        since = self.t(self._clocks[0]) if self._clocks is not None else self.t(at)
        self._clocks = None
        self.was_away(since, self.t(at), "etholog was stopped")
        return Answer("stopped", "etholog was stopped: that time counts for nothing; what ran is over")

    def was_away(self, since: int, until: int, why: str) -> None:
        """Nobody could record in between (milliseconds of the session): a gap, if there was none already."""
        if self.live.folding.gap is None:
            self._append("gap", t=since, why=why)
        self._append("back", t=until, wall=self.wall().isoformat(timespec="milliseconds"))

    def close(self, at: float, outcome: dict[str, Any] | None = None) -> None:
        """End the session: what runs is cut here."""
        self.closed = True
        self._append(
            "close", t=self.ends_at(at), wall=self.wall().isoformat(timespec="milliseconds"), outcome=outcome or {}
        )

    def close_again(self, outcome: dict[str, Any]) -> None:
        """Tell how it ended, at the time at which it ended."""
        ended = next(record["t"] for record in reversed(self.live.records) if record["do"] == "close")
        self._append("close", t=ended, outcome=outcome)

    def _at(self, do: str, at: float, **fields: Any) -> int:
        """Append what happened at one moment of the clock, the wall's time beside it once a minute."""
        if at - self._wall_at >= WALL_EVERY_S:
            self._wall_at = at
            fields["wall"] = self.wall().isoformat(timespec="milliseconds")
        return self._do(do, t=self.t(at), **fields)
