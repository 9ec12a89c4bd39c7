"""From a key to a record: what a press means, how it is put right, and what runs now. No screen, no thread, no
waiting."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from etholog import session, system
from etholog.ethogram import Behaviour, Ethogram, Hand
from etholog.fold import Folding, corrected
from etholog.journal import Journal
from etholog.refusal import Refusal

# Terminals send a held key as presses: the first again after a quarter to two thirds of a second, then one every 25
# to 40 ms.
# Nobody taps one key twice within 80 ms, so such a stamp is a repeat, and the press before it was the first of them.
REPEAT_S = 0.080
HELD_S = (0.2, 1.0)

WALL_EVERY_S = 60
CLOCK_JUMP_S = 2.0


@dataclass(frozen=True)
class Answer:
    """What became of a press, in a sentence, and the record that came of it."""

    did: str
    text: str
    n: int | None = None


def clock_face(ms: int) -> str:
    """Return milliseconds as h:mm:ss.

    >>> clock_face(3_723_400)
    '1:02:03'
    """
    seconds = ms // 1000
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def wall_now() -> datetime:
    """Return the wall clock's time with its offset from UTC."""
    return datetime.now().astimezone()


def begin(folder: Path, ethogram: Ethogram, began: datetime, clock_at: float, **said: Any) -> Journal:
    """Make the file of a new session, named after its start and its pair. Raises Refusal when that can't be."""
    when = began.strftime("%Y%m%d-%H%M%S")
    pair = "-".join(re.sub(r"[^\w.-]+", "_", said.get(who, "")).strip("._") or who for who in ("male", "female"))
    name = f"{when}-{pair}"[:120]
    header: dict[str, Any] = {
        "id": name,
        "began": began.isoformat(timespec="milliseconds"),
        "male": "",
        "female": "",
        "species": "",
        "observer": "",
        "place": "",
        "clock": system.CLOCK,
        "clock_at": clock_at,
        "boot": system.boot(),
        "conditions": {},
        "source": "live",
    }
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refusal(f"{folder}: can't be made ({error.strerror}); choose a folder that can be written") from error
    return Journal.create(folder / f"{name}.jsonl", session.header_of(ethogram, **header | said))


class Recorder:
    """Writes what is pressed, and keeps the bouts of now.

    Every time is given as `at`, in seconds of `system.now`: that of the key's arrival, never that of its handling.
    """

    def __init__(
        self,
        journal: Journal,
        ethogram: Ethogram,
        hand: Hand,
        began: datetime,
        clock_at: float,
        wall: Callable[[], datetime] = wall_now,
    ) -> None:
        self.journal = journal
        self.ethogram = ethogram
        self.layout = ethogram.layout(hand)
        self.began = began
        self.records: list[dict[str, Any]] = []
        self.folding = Folding(ethogram)
        self.refolds = 0  # a screen that keeps bouts of its own starts anew when this has changed
        self.stage = ""
        self.marks = 0
        self.latest: dict[str, int] = {}  # when each behaviour last began
        self.asks_code = False
        self.rescued = False
        self.closed = False
        self._clock_at = clock_at
        self._wall = wall
        self._folded_to = 0
        self._lasting: dict[int, dict[str, Any]] = {}
        self._last_mark: int | None = None
        self._done: list[int] = []
        self._undone: list[tuple[int, int]] = []
        self._key, self._key_at, self._key_gap = "", -1e9, 1e9
        self._key_n: int | None = None
        self._wall_at = -1e9
        self._clocks: tuple[float, float] | None = None

    @classmethod
    def resume(
        cls, path: Path, hand: Hand, now: float, wall: datetime, missed: Sequence[tuple[str, int]] = ()
    ) -> "tuple[Recorder, list[str]]":
        """Go on with a session that was broken off; the time away becomes a gap. Returns what there is to tell, too.

        `missed` are keys, with their milliseconds, that arrived and were never handled: they are taken in before
        the gap.
        """
        known = session.read(path)
        if known.fold.closed:
            raise Refusal(f"{path}: is closed; `etholog amend` puts right what is in it")
        journal, reading = Journal.open(path)
        told = [*reading.faults, *(fault for fault in known.faults if fault not in reading.faults)]
        same = known.header["boot"] == system.boot() != "" and known.header["clock"] == system.CLOCK
        by_wall = now - (wall - known.began).total_seconds()
        clock_at = known.header["clock_at"] if same else by_wall
        last = known.fold.end
        if not same:
            told.append("the machine was started again since: the time away is by the wall clock")
        # Whatever the clocks say, nothing comes before what is in the file already.
        clock_at = min(clock_at, now - last / 1000)
        recorder = cls(journal, known.ethogram, hand, known.began, clock_at)
        recorder.records = [{k: v for k, v in record.items() if k != "crc"} for record in known.records]
        recorder._refold()
        for key, t in missed:
            recorder.take(key, clock_at + t / 1000)
            last = max(last, t)
        if recorder.folding.gap is None:
            recorder._append("gap", t=last, why="the recorder was away")
        recorder._append("back", t=recorder.t(now), wall=wall.isoformat(timespec="milliseconds"))
        recorder._refold()
        return recorder, told

    def t(self, at: float) -> int:
        """Return a reading of the clock as milliseconds since the session began."""
        return max(0, round((at - self._clock_at) * 1000))

    # ------------------------------------------------------------ keys

    def take(self, character: str, at: float) -> Answer:
        """Take in a character: one of the screen's own keys, or a `press`."""
        match character:
            case " ":
                return self.rescue(at)
            case "1" | "0":
                return self.earlier(1)
            case "2" | "9":
                return self.recode()
            case "3" | "8":
                return self.doubt()
            case "-":
                return self.gap(at) if self.folding.gap is None else self.back(at)
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
            n = self._do("stray", at, t=t, key=key)
            return Answer("stray", f"key {key!r} means nothing here", n)
        if self.asks_code:
            self.asks_code = False
            return self._recode_to(meant.behaviour, meant.choice)
        if self.folding.gap is not None:
            self.back(at)
        answer = self._mark(meant.behaviour, meant.choice, at, t)
        self._key_n = answer.n
        return answer

    def _repeat(self, key: str, at: float, t: int, gap_s: float) -> Answer:
        if self._key_n is not None and HELD_S[0] <= self._key_gap <= HELD_S[1]:
            # The press before this one was the first repeat already, and had been taken for a second press.
            self._append("undo", of=self._key_n)
            self._done = [n for n in self._done if n != self._key_n]
            self._refold()
        self._key_n = None
        self._key_gap = gap_s
        self._key_at = at
        return Answer("repeat", f"key {key!r} is held down", self._append("repeat", t=t, key=key))

    def _mark(self, behaviour: Behaviour, choice: str | None, at: float, t: int) -> Answer:
        fields: dict[str, Any] = {"t": t, "code": behaviour.code}
        if behaviour.kind == "state":
            lane = behaviour.chain or (behaviour.code, choice)
            now = self.folding.running.get(lane)
            runs = now is not None and now.code == behaviour.code and now.qualifier == choice
            fields["edge"] = "offset" if runs else "onset"
        if choice is not None:
            fields["qualifier"] = choice
        n = self._do("mark", at, **fields)
        return Answer(fields.get("edge", "event"), self.told(n), n)

    # ------------------------------------------------------------ putting it right

    def undo(self) -> Answer:
        """Take back the last thing that was done; again and again."""
        if not self._done:
            return Answer("nothing", "nothing left to take back")
        of = self._done.pop()
        text = self.told(of)
        n = self._append("undo", of=of)
        self._undone.append((n, of))
        self._refold()
        return Answer("undo", f"taken back: {text}", n)

    def redo(self) -> Answer:
        """Bring back what was taken back last."""
        if not self._undone:
            return Answer("nothing", "nothing to bring back")
        undo, of = self._undone.pop()
        n = self._append("undo", of=undo)
        self._done.append(of)
        self._refold()
        return Answer("redo", f"brought back: {self.told(of)}", n)

    def earlier(self, seconds: float) -> Answer:
        """Put the last mark so many seconds earlier; the time first typed stays in the journal."""
        mark = self._last()
        if mark is None:
            return Answer("nothing", "no mark to move")
        t = max(0, mark["t"] - round(seconds * 1000))
        n = self._correct("move", of=mark["n"], t=t)
        return Answer("move", f"moved to {clock_face(t)}: {self.told(mark['n'])}", n)

    def recode(self) -> Answer:
        """Give the last mark its other meaning: the other choice, or what it resembles; else the next key says
        which."""
        mark = self._last()
        if mark is None:
            return Answer("nothing", "no mark to recode")
        behaviour = self.ethogram.by_code.get(mark.get("code", ""))
        if mark["do"] == "mark" and behaviour is not None:
            names = [choice.name for choice in behaviour.choices]
            if mark.get("qualifier") in names and len(names) == 2:
                return self._recode_to(behaviour, names[1 - names.index(mark["qualifier"])])
            if behaviour.resembles is not None:
                return self._recode_to(self.ethogram.by_code[behaviour.resembles], None)
        self.asks_code = True
        return Answer("asks", f"press the key that it should have been: {self.told(mark['n'])}")

    def _recode_to(self, behaviour: Behaviour, choice: str | None) -> Answer:
        mark = self._last()
        if mark is None:
            return Answer("nothing", "no mark to recode")
        more = {"code": behaviour.code} | ({"qualifier": choice} if choice else {})
        began = self._onset_of(mark)
        if began is not None:
            self._append("recode", of=began, **more)
        n = self._correct("recode", of=mark["n"], **more)
        return Answer("recode", f"is now: {self.told(mark['n'])}", n)

    def doubt(self) -> Answer:
        """Mark the last mark as unsure, or as sure again."""
        mark = self._last()
        if mark is None:
            return Answer("nothing", "no mark to doubt")
        sure = not mark.get("sure", True)
        n = self._correct("doubt", of=mark["n"], sure=sure)
        return Answer("doubt", f"{'sure again' if sure else 'unsure'}: {self.told(mark['n'])}", n)

    def line(self, text: str, at: float) -> Answer:
        """Take in a typed line: `-12` moves the last mark 12 s earlier, everything else is a note."""
        text = text.strip()
        if re.fullmatch(r"-\s*\d{1,5}(\.\d+)?", text):
            return self.earlier(float(text[1:]))
        if not text:
            return Answer("nothing", "no note")
        n = self._do("note", at, t=self.t(at), text=text[:10_000])
        return Answer("note", "noted", n)

    # ------------------------------------------------------------ the rest of what can be said

    def gap(self, at: float, why: str = "") -> Answer:
        """From here on nobody watches."""
        n = self._do("gap", at, t=self.t(at), why=why)
        return Answer("gap", "nobody watches: this time counts for nothing", n)

    def back(self, at: float) -> Answer:
        """Somebody watches again."""
        n = self._do("back", at, t=self.t(at))
        return Answer("back", "watching again; what ran before the gap is over", n)

    def sync(self, at: float) -> Answer:
        """A moment that the film shows too."""
        return Answer("sync", "sync: clap or flash the torch now", self._do("sync", at, t=self.t(at)))

    def rescue(self, at: float) -> Answer:
        """The keeper has to step in: other prompts are mute from here on."""
        self.rescued = True
        return Answer("rescue", "RESCUE: the moment is kept", self._do("rescue", at, t=self.t(at)))

    def prompted(self, name: str, at: float) -> None:
        """Keep that a prompt was shown."""
        self._append("prompt", t=self.t(at), name=name)

    def pasted(self, text: str, at: float) -> Answer:
        """Pasted text makes no marks; it is kept as a note."""
        n = self._do("note", at, t=self.t(at), text=f"pasted: {text[:1000]}")
        return Answer("note", "pasted text makes no marks; kept as a note", n)

    def watch_clocks(self, at: float, awake: float, wall: datetime) -> None:
        """Compare three clocks now and then: one that goes on in sleep, one that doesn't, and the wall's."""
        slept, set_by = at - awake, wall.timestamp() - at
        if self._clocks is not None:
            if slept - self._clocks[0] > CLOCK_JUMP_S:
                self._append("clock", t=self.t(at), what=f"the machine slept for {slept - self._clocks[0]:.0f} s")
            if abs(set_by - self._clocks[1]) > CLOCK_JUMP_S:
                self._append("clock", t=self.t(at), what=f"the wall clock was set by {set_by - self._clocks[1]:+.0f} s")
        self._clocks = slept, set_by

    def close(self, at: float, outcome: dict[str, Any] | None = None) -> None:
        """End the session: what runs is cut here."""
        self.closed = True
        self._append("close", t=self.t(at), wall=self._wall().isoformat(timespec="milliseconds"), outcome=outcome or {})

    def close_again(self, outcome: dict[str, Any]) -> None:
        """Tell how it ended, at the time at which it ended."""
        ended = next(record["t"] for record in reversed(self.records) if record["do"] == "close")
        self._append("close", t=ended, outcome=outcome)

    # ------------------------------------------------------------ what a screen asks

    def told(self, n: int) -> str:
        """Say in words what record `n` is, as corrected."""
        record = self._lasting.get(n)
        if record is None:
            raw = next((record for record in reversed(self.records) if record["n"] == n), None)
            if raw is None:
                return "nothing"
            told = {"move": "an earlier time", "recode": "another code", "doubt": "how sure it is"}
            return f"{told.get(raw['do'], raw['do'])} of {self.told(raw['of'])}" if "of" in raw else str(raw["do"])
        when = clock_face(record["t"])
        if record["do"] != "mark":
            said = record.get("text") or record.get("key") or record.get("why") or ""
            return f"{record['do']} {said[:40]}".strip() + f" {when}"
        behaviour = self.ethogram.by_code.get(record["code"])
        label = behaviour.label if behaviour else record["code"]
        side = f" {record['qualifier']}" if record.get("qualifier") else ""
        state = behaviour is not None and behaviour.kind == "state"
        verb = "" if not state else " ended" if record.get("edge") == "offset" else " began"
        return f"{label}{side}{verb} {when}{'' if record.get('sure', True) else ' (unsure)'}"

    @property
    def undo_text(self) -> str:
        """What the next undo takes back; '' when there is nothing."""
        return self.told(self._done[-1]) if self._done else ""

    @property
    def last_mark_t(self) -> int | None:
        """When the last mark was, in milliseconds."""
        mark = self._last()
        return None if mark is None else int(mark["t"])

    # ------------------------------------------------------------ within

    def _append(self, do: str, **fields: Any) -> int:
        n = self.journal.append(do, **fields)
        self.records.append({"n": n, "do": do, **fields})
        return n

    def _do(self, do: str, at: float, **fields: Any) -> int:
        if at - self._wall_at >= WALL_EVERY_S:
            self._wall_at = at
            fields["wall"] = self._wall().isoformat(timespec="milliseconds")
        n = self._append(do, **fields)
        self._done.append(n)
        self._undone.clear()
        self._take_in(self.records[-1])
        return n

    def _correct(self, do: str, **fields: Any) -> int:
        n = self._append(do, **fields)
        self._done.append(n)
        self._undone.clear()
        self._refold()
        return n

    def _take_in(self, record: dict[str, Any]) -> None:
        """Follow one more record, which is nearly always the latest; only one that came out of order costs a refold."""
        if record["t"] < self._folded_to:
            self._refold()
            return
        self._folded_to = record["t"]
        self._lasting[record["n"]] = record
        do = record["do"]
        if do in ("mark", "stray"):
            self._last_mark = record["n"]
        if do == "mark":
            self.marks += 1
            edge = record.get("edge")
            behaviour = self.ethogram.by_code.get(record["code"])
            if behaviour is not None and edge != "offset":
                self.latest[behaviour.code] = record["t"]
                self.stage = behaviour.stage or self.stage
            self.folding.mark(
                record["t"], record["n"], record["code"], edge, record.get("qualifier"), record.get("sure", True)
            )
        elif do == "gap":
            self.folding.start_gap(record["t"], record["why"])
        elif do == "back":
            self.folding.end_gap(record["t"])
        elif do == "rescue":
            self.rescued = True

    def _refold(self) -> None:
        lasting, _ = corrected(self.records)
        self.folding = Folding(self.ethogram)
        self.refolds += 1
        self.stage, self.marks, self.latest, self.rescued = "", 0, {}, False
        self._folded_to, self._last_mark, self._lasting = 0, None, {}
        for record in lasting:
            self._take_in(record)
        # The last mark is the one that was pressed last, wherever it was moved to.
        self._last_mark = max((r["n"] for r in lasting if r["do"] in ("mark", "stray")), default=None)

    def _last(self) -> dict[str, Any] | None:
        return None if self._last_mark is None else self._lasting.get(self._last_mark)

    def _onset_of(self, mark: dict[str, Any]) -> int | None:
        if mark.get("edge") != "offset":
            return None
        for bout in reversed(self.folding.bouts):
            if bout.code == mark["code"] and bout.offset == mark["t"]:
                return bout.n
        return None
