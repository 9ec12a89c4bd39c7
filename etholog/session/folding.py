"""From records to bouts: corrections applied, chains kept, what makes no sense told and never raised. Pure."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from operator import itemgetter
from typing import Any, NamedTuple, cast

from etholog.base.journal import Scalar
from etholog.base.language import gettext, number
from etholog.base.refusal import Finding
from etholog.ethogram import Ethogram


class Bout(NamedTuple):
    """One run of a state, or one event (onset = offset). `whole` is False where a gap or the session's end cut it."""

    n: int
    code: str
    qualifier: str | None
    onset: int
    offset: int
    whole: bool
    sure: bool


# A named tuple's own constructor takes twice as long, and bouts are what a season is made of.
_bout = cast("Callable[[tuple[int, str, str | None, int, int, bool, bool]], Bout]", partial(tuple.__new__, Bout))


class Span(NamedTuple):
    """A stretch of time and what was said of it."""

    onset: int
    offset: int
    why: str


class Said(NamedTuple):
    """A note, a stray key, a sync, a rescue, a prompt: something at one instant that is not a behaviour."""

    n: int
    t: int
    do: str
    text: str


class _Rule(NamedTuple):
    """What one behaviour's mark does; read from here, it costs a third of what the ethogram's own entry would."""

    is_event: bool
    chain: str | None
    ends: tuple[str, ...]
    within: str | None


def _lane(rule: _Rule, code: str, qualifier: str | None) -> object:
    """Return what only one bout can run in at a time: the chain; without one, the behaviour with its qualifier."""
    return rule.chain or (code, qualifier)


class Folding:
    """Folds marks, given in the order of (t, n), into bouts, one at a time, so that a screen can follow.

    Rules: an onset ends whatever else runs in its chain, and the states that its `ends` name; the end of a state
    ends those `within` it; a gap ends all. What makes no sense is told in `remarks` and never raised.
    """

    def __init__(self, ethogram: Ethogram) -> None:
        self.bouts: list[Bout] = []
        self.running: dict[object, Bout] = {}
        self.gaps: list[Span] = []
        self.gap: Span | None = None
        self.remarks: list[Finding] = []
        self._rules = {b.code: _Rule(b.kind == "event", b.chain, b.ends, b.within) for b in ethogram.behaviour}
        self._inner: dict[str, list[str]] = {}
        for code, rule in self._rules.items():
            if rule.within is not None:
                self._inner.setdefault(rule.within, []).append(code)

    def take(self, record: Mapping[str, Any]) -> None:
        """Take in one record as corrected; what changes nothing that runs is passed over."""
        do = record["do"]
        if do == "mark":
            self.mark(
                record["t"],
                record["n"],
                record["code"],
                record.get("edge"),
                record.get("qualifier"),
                record.get("sure", True),
            )
        elif do == "gap":
            self.start_gap(record["t"], record["why"])
        elif do == "back":
            self.end_gap(record["t"])

    def runs(self, code: str, qualifier: str | None) -> bool:
        """Return whether this state runs, with this qualifier: its key ends it then."""
        now = self.running.get(_lane(self._rules[code], code, qualifier))
        return now is not None and now.code == code and now.qualifier == qualifier

    def mark(self, t: int, n: int, code: str, edge: str | None, qualifier: str | None, sure: bool = True) -> None:
        """Take in one mark."""
        rule = self._rules.get(code)
        if rule is None:
            what = gettext("{code} is not in this session's ethogram", code=repr(code))
            self.remarks.append(Finding(what, gettext("left out"), record=n))
            return
        if self.gap is not None:
            what = gettext("{code} lies in a gap, when nobody was watching", code=repr(code))
            self.remarks.append(Finding(what, record=n))
        if rule.is_event:
            self.bouts.append(_bout((n, code, qualifier, t, t, True, sure)))
            for other in rule.ends:
                self._end_code(other, t)
        elif edge == "offset":
            self._offset(rule, t, n, code, qualifier)
        else:
            self._onset(rule, t, n, code, qualifier, sure)

    def start_gap(self, t: int, why: str) -> None:
        """Nobody is watching from here on: what runs is cut."""
        if self.gap is None:
            self._cut(t)
            self.gap = Span(t, t, why)

    def end_gap(self, t: int) -> None:
        """Somebody is watching again."""
        if self.gap is None:
            at = number(t / 1000, ".1f")
            self.remarks.append(Finding(gettext("watched again at {at} s without a gap before it", at=at)))
        else:
            self.gaps.append(self.gap._replace(offset=t))
            self.gap = None

    def finish(self, t: int) -> None:
        """The session is over: what runs is cut."""
        self._cut(t)
        if self.gap is not None:
            self.end_gap(t)

    def _onset(self, rule: _Rule, t: int, n: int, code: str, qualifier: str | None, sure: bool) -> None:
        _, _, ends, within = rule
        running, lane = self.running, _lane(rule, code, qualifier)
        now = running.get(lane)
        if now is not None:
            if now.code == code and now.qualifier == qualifier:
                what = gettext("{code} began while it was running", code=repr(code))
                self.remarks.append(Finding(what, gettext("it goes on"), record=n))
                return
            self._end(lane, t)
        for other in ends:
            self._end_code(other, t)
        if within is not None and not any(bout.code == within for bout in running.values()):
            at = number(t / 1000, ".1f")
            what = gettext("{code} at {at} s, outside any {within}", code=repr(code), at=at, within=repr(within))
            self.remarks.append(Finding(what, record=n))
        running[lane] = _bout((n, code, qualifier, t, t, False, sure))

    def _offset(self, rule: _Rule, t: int, n: int, code: str, qualifier: str | None) -> None:
        lane = _lane(rule, code, qualifier)
        bout = self.running.get(lane)
        if bout is None and qualifier is None:  # ends it whichever it is
            lane, bout = next(((at, now) for at, now in self.running.items() if now.code == code), (lane, None))
        if bout is None or bout.code != code or qualifier not in (None, bout.qualifier):
            self.remarks.append(Finding(gettext("{code} ended without having begun", code=repr(code)), record=n))
        else:
            self._end(lane, t)

    def _end_code(self, code: str, t: int) -> None:
        for lane in [lane for lane, bout in self.running.items() if bout.code == code]:
            self._end(lane, t)

    def _end(self, lane: object, t: int) -> None:
        bout = self.running.pop(lane, None)
        if bout is None:
            return  # what it lay within has ended it already
        n, code, qualifier, onset, _, _, sure = bout
        self.bouts.append(_bout((n, code, qualifier, onset, t, True, sure)))
        if self.running:
            for inner in self._inner.get(code, ()):
                self._end_code(inner, t)

    def _cut(self, t: int) -> None:
        self.bouts += [bout._replace(offset=t) for bout in self.running.values()]
        self.running.clear()


@dataclass(frozen=True)
class Fold:
    """What the records come to: bouts sorted by (onset, n), gaps, the rest of what was said, and what made no sense."""

    bouts: list[Bout]
    gaps: list[Span]
    said: list[Said]
    remarks: list[Finding]
    end: int
    closed: bool
    outcome: dict[str, Scalar]
    marks: int


_ORDER = itemgetter(Bout._fields.index("onset"), Bout._fields.index("n"))
_NOT_IN_TIME = frozenset({"undo", "film", "sound", "close", "repeat", "tap"})
_ABOUT_ANOTHER = frozenset({"move", "recode", "doubt", "note"})
_SAID = {"note": "text", "stray": "key", "prompt": "name", "sync": None, "rescue": None, "clock": "what"}


def undone(records: Iterable[Mapping[str, Any]]) -> set[int]:
    """Return the numbers of the records that were taken back; an undo that was itself taken back takes nothing back."""
    gone: set[int] = set()
    for record in reversed([record for record in records if record["do"] == "undo"]):
        if record["n"] not in gone:
            gone.add(record["of"])
    return gone


def last_close(records: Sequence[Mapping[str, Any]]) -> Mapping[str, Any]:
    """Return the close that counts, which is the last; nothing where there is none."""
    return next((record for record in reversed(records) if record["do"] == "close"), {})


def corrected(records: Iterable[Mapping[str, Any]]) -> tuple[list[Mapping[str, Any]], list[Finding]]:
    """Apply undo, move, recode, doubt, and the reasons of gaps.

    Returns what lasts in time, sorted by (t, n), and remarks on what made no sense.
    """
    records = list(records)
    if not [record for record in records if "of" in record]:
        return sorted([record for record in records if record["do"] not in _NOT_IN_TIME], key=itemgetter("t")), []
    gone = undone(records)
    live: dict[int, Mapping[str, Any]] = {}  # what is corrected is made anew, the records stay as they are
    remarks: list[Finding] = []
    for record in records:
        do = record["do"]
        n = record["n"]
        if n in gone or do in _NOT_IN_TIME:
            continue
        if do not in _ABOUT_ANOTHER:
            live[n] = record
            continue
        of = record.get("of", -1)
        target = live.get(of)
        if do == "note":
            if target is not None and target["do"] == "gap":
                live[of] = {**target, "why": record["text"]}
            else:
                live[n] = record
        elif target is None:
            if of not in gone:
                what = gettext("{do} of {number}, which is nothing that can be changed", do=do, number=of)
                remarks.append(Finding(what, record=n))
        elif do == "move":
            live[of] = {**target, "t": record["t"]}
        elif do == "doubt":
            live[of] = {**target, "sure": record["sure"]}
        elif target["do"] in ("mark", "stray"):
            live[of] = {**target, "do": "mark", "code": record["code"], "qualifier": record.get("qualifier")}
        else:
            remarks.append(Finding(gettext("only a mark or a stray key can be recoded"), record=n))
    return sorted(live.values(), key=itemgetter("t", "n")), remarks


def fold(ethogram: Ethogram, records: Iterable[Mapping[str, Any]]) -> Fold:
    """Fold records into bouts. Pure: every reader (screen, tables, film) gets its bouts from here, by `Folding`."""
    records = list(records)
    lasting, remarks = corrected(records)
    folding = Folding(ethogram)
    said: list[Said] = []
    marks = 0
    for record in lasting:
        do = record["do"]
        if do in _SAID:
            named = _SAID[do]
            said.append(Said(record["n"], record["t"], do, record[named] if named else ""))
        else:
            marks += do == "mark"
            folding.take(record)
    last = lasting[-1]["t"] if lasting else 0
    close = last_close(records)
    if close:
        end = max(close["t"], last)
    else:
        # Somebody was there while keys came, so a session that was never closed was watched until its last record.
        end = max((record.get("t", 0) for record in records if record["do"] != "move"), default=0)
        end = max(end, last)
    folding.finish(end)
    folding.bouts.sort(key=_ORDER)
    return Fold(
        folding.bouts,
        folding.gaps,
        said,
        remarks + folding.remarks,
        end,
        bool(close),
        dict(close.get("outcome", {})),
        marks,
    )
