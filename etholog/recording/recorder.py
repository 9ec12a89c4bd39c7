"""From a key to a record: what a press against the running clock means. No screen, no thread, no waiting."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from functools import cached_property

from etholog.animals.cautions import poison_centre
from etholog.base import system
from etholog.base.clock import clock_face
from etholog.base.journal import Draft, Journal, Scalar
from etholog.base.workspace import workspace_of
from etholog.ethogram import Behaviour, Ethogram, Hand, Press
from etholog.ethogram.own_keys import Act, Where, act_of
from etholog.recording.corrector import NOTE_LENGTH, WALL_EVERY_S, Answer, Corrector, in_one_write, shift_typed
from etholog.recording.held import HeldKey
from etholog.recording.history import history
from etholog.recording.keyboard import QWERTY_KEYBOARD, Keyboard
from etholog.recording.live import Live
from etholog.recording.taps import ACTS, NOTE, Tap
from etholog.session import drafts
from etholog.session.folding import Bout, Span

CLOCK_JUMP_S = 2.0
STILL_S = 5.0
SLEPT, STOPPED = "the machine slept", "etholog was stopped"


class Recorder(Corrector):
    """Writes what is pressed.

    Every time is given as `at`, in seconds of `system.now`: that of the key's arrival, never that of its handling.
    """

    where: Where = Where.STRIP

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
        self._done, self._undone = history(self.live.records)
        self.hand, self.keyboard = hand, keyboard
        self.layout = keyboard.layout(ethogram.layout(hand))
        self.began = began
        self.closed = False
        self._clock_at = clock_at
        self._held = HeldKey()
        self._doubtful: list[int] = []  # what was written by presses that may turn out to be repeats
        self._before_doubtful = self._done, self._undone
        self._clocks: tuple[float, float, float] | None = None
        self.is_late = False  # what is written now happened a while ago: the wall's time of now is not its own
        self._tapped = {r["id"]: (r["n"], tuple(r["made"])) for r in self.live.records if r["do"] == "tap"}

    @cached_property
    def rescue_lines(self) -> tuple[str, ...]:
        """What to do at once, and the keeper's own line for the poison centre, where there is one."""
        own = poison_centre(workspace_of(self.journal.path))
        return (*self.live.ethogram.rescue, *([own] if own else []))

    def t(self, at: float) -> int:
        """Return a reading of the clock as milliseconds since the session began."""
        return max(0, round(self.exact_ms(at)))

    def exact_ms(self, at: float) -> float:
        """Return the same to a fraction, for clocks to be compared."""
        return (at - self._clock_at) * 1000

    def ends_at(self, at: float) -> int:
        """Return where the session ends, in milliseconds, when it is closed at `at`."""
        return self.t(at)

    # ------------------------------------------------------------ keys

    def take(self, key: str, at: float, held: bool | None = None) -> Answer:
        """Take in a key, by what it types or else by its name: one of the screen's own, or a `press`.

        `held` says whether it came because the key is held down, where the terminal can tell.
        """
        place = self.keyboard.place(key)
        act = act_of(place, self.where)
        if act is None:
            return self.press(key.lower(), at, held)  # Caps Lock must not turn every key into a stray
        return self._unless_held(place, at, held, lambda: self.act(act, at))

    def act(self, act: Act, at: float) -> Answer:
        """Do what a key of the screen's own is for; those that are the screen's affair alone do nothing here."""
        match act:
            case Act.UNDO:
                return self.undo()
            case Act.REDO:
                return self.redo()
            case Act.RESCUE:
                return self.rescue(at)
            case Act.EARLIER:
                return self.shift(-1)
            case Act.OTHER:
                return self.recode_or_ask()
            case Act.DOUBT:
                return self.doubt()
            case Act.AWAY:
                return self.gap(at) if self.live.at(self.t(at)).gap is None else self.back(at)
            case Act.SYNC:
                return self.sync(at)
        return Answer("")

    def press(self, key: str, at: float, held: bool | None = None) -> Answer:
        """Take in a key of the ethogram's layout: a mark, a stray, or a repeat of a key held down."""
        return self._unless_held(key, at, held, lambda: self._pressed(key, at))

    def _pressed(self, key: str, at: float) -> Answer:
        meant = self.layout.get(key)
        if meant is None:
            self.asks_code = False
            if len(key) != 1 or not key.isprintable():
                return Answer(f"key {key} means nothing here")  # and could never have been meant for a mark
            return Answer(f"key {key!r} means nothing here", self._at(drafts.stray(self.t(at), key), at))
        if self.asks_code:
            self.asks_code = False
            return self.recode(meant.behaviour, meant.choice)
        return self._seen(meant, at)

    def _seen(self, meant: Press, at: float) -> Answer:
        """Mark what somebody saw, and so watched."""
        gap = self.live.folding.gap
        if gap is not None and not (self.is_late and self.t(at) < gap.onset):
            self.back(at)
        return self._mark(meant.behaviour, meant.choice, at)

    # ------------------------------------------------------------ taps on a phone

    def record_of(self, tap_id: str) -> int | None:
        """Return the record of a tap that came before; None where it never came."""
        return self._tapped[tap_id][0] if tap_id in self._tapped else None

    @in_one_write
    def tap(self, tap: Tap, late: bool = False) -> Answer:
        """Take in a tap at its own time, by the rules of a key; once, however often it comes.

        `late`: it was made a while ago. What was keyed since stays as it is.
        """
        if (n := self.record_of(tap.id)) is not None:
            return Answer("", n)
        first, done = self.journal.n, len(self._done)
        self.asks_code, self.is_late = False, late
        answer = self._done_by(tap, self._clock_at + tap.t / 1000)
        if not tap.sure:
            self._say_unsure(range(first, self.journal.n), tap)
        if self._doubtful:
            self._before_doubtful[0].extend(self._done[done:])
        made = tuple(range(first, self.journal.n))
        n = self._append(drafts.tap(tap.t, tap.id, tap.act or tap.what, tap.earliest, tap.latest, made))
        self._tapped[tap.id] = n, made
        self.is_late = False
        return Answer(answer.text, n)

    def _done_by(self, tap: Tap, at: float) -> Answer:
        of = self._meant_by(tap)
        if tap.of is not None and not of:
            return Answer("what it corrects is not here")
        if tap.act == NOTE:
            return self.line(tap.text, at)
        if tap.act == "undo":
            return self.undo(of)
        if tap.act:
            marks = [n for n in of if (self.live.lasting(n) or {}).get("do") in ("mark", "stray")]
            if of and not marks:
                return Answer("it was taken back already")
            self.meant = marks[-1] if marks else None
            meant = self._press_of(tap.what)
            try:
                if tap.act == "other" and meant is not None:
                    return self.recode(meant.behaviour, meant.choice)
                return self._away_late(at) if tap.act == "away" and self.is_late else self.act(ACTS[tap.act], at)
            finally:
                self.meant, self.asks_code = None, False
        meant = self._press_of(tap.what)
        if meant is None:
            return Answer(f"{tap.what!r} means nothing here", self._at(drafts.stray(tap.t, tap.what), at))
        self._was_watching(tap.t)
        return self._seen(meant, at)

    def _press_of(self, what: str) -> Press | None:
        code, _, choice = what.partition(":")
        behaviour = self.ethogram.by_code.get(code)
        if behaviour is None or (choice and choice not in [one.name for one in behaviour.choices]):
            return None
        return Press(behaviour, choice or None)

    def _meant_by(self, tap: Tap) -> tuple[int, ...]:
        """Return the records that a correction is of; none where the phone named nothing that is here."""
        if isinstance(tap.of, str):
            return self._tapped[tap.of][1] if tap.of in self._tapped else ()
        return () if tap.of is None else (tap.of,)

    def _say_unsure(self, made: Iterable[int], tap: Tap) -> None:
        """Say so of the mark that a tap made; taking back the mark takes back both."""
        bounds = f"between {clock_face(tap.earliest)} and {clock_face(tap.latest)}"
        for n in made:
            if (self.live.lasting(n) or {}).get("do") == "mark":
                doubt = self._append(drafts.doubt(n, False))
                words = f"from the phone, whose clock could not be compared: {bounds}"
                self._done[-1] = (self._append(drafts.note(tap.t, words, n)), doubt, *self._done[-1])

    def _was_watching(self, t: int) -> None:
        """Somebody saw something at `t`, and so watched: take that out of a gap that was over by now.

        A gap that the program made itself (it was away, and the phone was not) begins after it; one that was keyed ends
        there, as a mark ends it at any time.
        """
        gap = next((gap for gap in self.live.folding.gaps if gap.onset <= t < gap.offset), None)
        if gap is None:
            return
        began = self._at_edge("gap", gap.onset)
        if any(record["n"] in began and record["why"] for record in self.live.records if record["do"] == "gap"):
            self._append(drafts.move(began[-1], min(t + 1, gap.offset)))
        else:
            self._end_gap_at(gap, t)

    def _keep_gap_clear(self, t: int) -> None:
        """A key may arrive as the machine or the program wakes, a moment before that is noticed; or in the moment
        before it slept. It was seen: the gap ends at it, or begins after it."""
        for gap in self.live.folding.gaps[-1:]:
            if gap.why in (SLEPT, STOPPED) and gap.onset <= t < gap.offset:
                if gap.offset - t < t - gap.onset:
                    self._end_gap_at(gap, t)
                else:
                    self._append(drafts.move(self._at_edge("gap", gap.onset)[-1], t + 1))

    def _end_gap_at(self, gap: Span, t: int) -> None:
        for back in self._at_edge("back", gap.offset):
            self._append(drafts.move(back, t))

    def _at_edge(self, do: str, t: int) -> list[int]:
        """Return the records that begin or end a gap at `t`."""
        return [r["n"] for r in self.live.marks_in_time if r["do"] == do and r["t"] == t]

    def _away_late(self, at: float) -> Answer:
        """Nobody watched from a moment that is past, until the next thing that somebody saw."""
        t = self.t(at)
        answer = self.act(Act.AWAY, at)
        seen = [r["t"] for r in self.live.marks_in_time if r["do"] in ("mark", "stray", "rescue") and r["t"] > t]
        if seen and self.live.at(t).gap is not None:
            self._append(drafts.back(min(seen) - 1))  # before it: of one instant, the earlier record counts first
        return answer

    @in_one_write
    def _unless_held(self, key: str, at: float, told: bool | None, do: Callable[[], Answer]) -> Answer:
        guessed = self._held.again(key, at)
        if told or (told is None and guessed):
            self._take_back_doubtful()
            self._append(drafts.repeat(self.t(at), key))
            return Answer(f"key {key!r} is held down: one press")
        if not (self._doubtful and self._held.beats):
            self._doubtful = []
            if self._held.is_doubtful:  # to copy it takes the longer, the more was done
                self._before_doubtful = list(self._done), list(self._undone)
        self._keep_gap_clear(self.t(at))
        first = self.journal.n
        answer = do()
        if told is None and self._held.is_doubtful:
            self._doubtful += range(first, self.journal.n)
        return answer

    def _take_back_doubtful(self) -> None:
        """Take back what presses wrote that turned out to be repeats."""
        if self._doubtful:
            self._done, self._undone = self._before_doubtful
        for n in reversed(self._doubtful):
            self._append(drafts.undo(n))
        self._doubtful = []

    def _mark(self, behaviour: Behaviour, choice: str | None, at: float) -> Answer:
        t = self.t(at)
        draft = drafts.mark(t, behaviour.code, self.edge(t, behaviour, choice), choice)
        before = dict(self.live.at(t).running)
        n = self._at(draft, at)
        return Answer(self.live.told(n) + self._ended(before, self.live.at(t).running, behaviour), n)

    def _ended(self, before: Mapping[object, Bout], after: Mapping[object, Bout], by: Behaviour) -> str:
        """Name what a mark ended by itself; what it follows in its own chain goes without saying."""
        names = self.ethogram.by_code
        ended = [names[bout.code] for lane, bout in before.items() if lane not in after]
        told = [one.words for one in ended if one.code != by.code and (one.chain is None or one.chain != by.chain)]
        return f"; {', '.join(told)} ended with it" if told else ""

    # ------------------------------------------------------------ the rest of what can be said

    def line(self, text: str, at: float) -> Answer:
        """Take in a typed line: `-12` moves the last mark earlier; other words are a note, or in a gap its reason."""
        text = text.strip()[:NOTE_LENGTH]
        self._held.forget()
        if (by := shift_typed(text)) is not None:
            return self.shift(by, self.ends_at(at))
        if not text:
            return Answer("no note")
        of = self.live.open_gap
        n = self._at(drafts.note(self.t(at), text, of), at)
        return Answer("noted" if of is None else f"nobody watches: {text}", n)

    def gap(self, at: float, why: str = "") -> Answer:
        """From here on nobody watches."""
        return Answer("nobody watches: this time counts for nothing", self._at(drafts.gap(self.t(at), why), at))

    def back(self, at: float) -> Answer:
        """Somebody watches again."""
        # Without the wall's time: `history` tells by that what the program has written itself.
        return Answer("watching again; what ran before the gap is over", self._do(drafts.back(self.t(at))))

    def sync(self, at: float) -> Answer:
        """A moment that the film shows too."""
        return Answer("sync: clap or flash the torch now", self._at(drafts.sync(self.t(at)), at))

    def rescue(self, at: float) -> Answer:
        """The keeper has to step in: other prompts are mute from here on."""
        return Answer("RESCUE: the moment is kept", self._at(drafts.rescue(self.t(at)), at))

    def prompted(self, name: str, at: float) -> None:
        """Keep that a prompt was shown."""
        self._append(drafts.prompt(self.t(at), name))

    def pasted(self, text: str, at: float) -> Answer:
        """Pasted text makes no marks; it is kept as a note."""
        n = self._at(drafts.note(self.t(at), f"pasted: {text[:1000]}"), at)
        return Answer("pasted text makes no marks; kept as a note", n)

    @in_one_write
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
                self._append(drafts.clock(self.t(at), f"the machine slept for {asleep:.0f} s"))
                if self.live.folding.gap is None:  # else nobody watched, and a machine that wakes can't say who does
                    self.was_away(self.t(before), self.t(at), SLEPT)
            elif at - before > STILL_S:
                self._append(drafts.clock(self.t(at), f"etholog stood still for {at - before:.0f} s"))
            if abs(set_by - set_before) > CLOCK_JUMP_S:
                told = drafts.clock(self.t(at), f"the wall clock was set by {set_by - set_before:+.0f} s")
                self._append(drafts.at_wall(told, wall))
        self._clocks = at, slept, set_by

    def stopped(self, at: float) -> Answer:
        """The program was stopped since the clocks were compared last, and goes on now: nobody watched in between."""
        since = self.t(self._clocks[0]) if self._clocks is not None else self.t(at)
        self._clocks = None
        self.was_away(since, self.t(at), STOPPED)
        return Answer("etholog was stopped: that time counts for nothing; what ran is over")

    @in_one_write
    def was_away(self, since: int, until: int, why: str) -> None:
        """Nobody could record in between (milliseconds of the session): a gap, if there was none already."""
        if self.live.folding.gap is None:
            self._append(drafts.gap(since, why))
        self._append(drafts.at_wall(drafts.back(until), self.wall()))

    def take_back_gap_after(self, t: int) -> None:
        """Take back the gap of now where it begins after `t` ms: keys of that time were found."""
        gap = self.live.folding.gap
        if gap is not None and self.live.open_gap is not None and gap.onset >= t:
            self._append(drafts.undo(self.live.open_gap))

    def close(self, at: float, outcome: dict[str, Scalar] | None = None) -> None:
        """End the session: what runs is cut here."""
        self.closed = True
        self._append(drafts.close(self.ends_at(at), outcome, None if self.is_late else self.wall()))

    def _at(self, draft: Draft, at: float) -> int:
        """Append what happened at one moment of the clock, the wall's time beside it once a minute."""
        if at - self._wall_at >= WALL_EVERY_S and not self.is_late:
            self._wall_at = at
            draft = drafts.at_wall(draft, self.wall())
        return self._do(draft)
