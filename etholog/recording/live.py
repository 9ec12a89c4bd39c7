"""What the records come to so far, kept up record by record, for a screen to follow. No file, clock or keys."""

from collections.abc import Iterable, Mapping
from typing import Any

from etholog.base.clock import clock_face
from etholog.ethogram import Ethogram
from etholog.session.folding import Bout, Folding, corrected
from etholog.session.log import SIGNED, mark_words

UNSURE = " (unsure)"


class Live:
    """The bouts of now, and what a screen asks about them.

    A record that comes in its order costs next to nothing; a correction, or one that comes late, costs a refold of
    all. `end` is where a closed session ended, in milliseconds: in such a one nothing runs.
    """

    def __init__(self, ethogram: Ethogram, records: Iterable[Mapping[str, Any]] = (), end: int | None = None) -> None:
        self.ethogram = ethogram
        self.records = list(records)
        self.end = end  # where the session was closed
        self.refolds = 0  # a screen that keeps bouts of its own starts anew when this has changed
        self.refold()

    def add(self, record: dict[str, Any]) -> None:
        """Take in one more record."""
        self.records.append(record)
        if record["do"] in ("prompt", "clock", "repeat", "tap", "close"):
            return
        if "of" in record or self.end is not None or record["t"] < self._folded_to:
            self.refold()
        else:
            self._take_in(record)

    def refold(self) -> None:
        """Work everything out anew."""
        lasting, _ = corrected(self.records)
        self.folding = Folding(self.ethogram)
        self.refolds += 1
        self.stage, self.marks, self.rescues = "", 0, 0
        self.signs: list[tuple[int, str]] = []  # what has a sign beside the lanes: when, and which
        self.latest: dict[str, int] = {}  # when each behaviour last began
        self.open_gap: int | None = None  # the record that began the gap of now
        self._folded_to = 0
        self._lasting: dict[int, Mapping[str, Any]] = {}
        for record in lasting:
            self._take_in(record)
        if self.end is not None:
            self.end = max(self.end, self._folded_to)
            self.folding.finish(self.end)
        # The last mark is the one that was pressed last, wherever it was moved to.
        self._last_mark = max((r["n"] for r in lasting if r["do"] in ("mark", "stray")), default=None)

    def _take_in(self, record: Mapping[str, Any]) -> None:
        self._folded_to = record["t"]
        self._lasting[record["n"]] = record
        do = record["do"]
        if do in ("mark", "stray"):
            self._last_mark = record["n"]
        elif do in SIGNED:
            self.signs.append((record["t"], do))
        if do == "mark":
            self.marks += 1
            edge = record.get("edge")
            behaviour = self.ethogram.by_code.get(record["code"])
            if behaviour is not None and edge != "offset":
                self.latest[behaviour.code] = record["t"]
                self.stage = behaviour.stage or self.stage
        elif do == "gap":
            self.open_gap = record["n"] if self.folding.gap is None else self.open_gap
        elif do == "back":
            self.open_gap = None
        elif do == "rescue":
            self.rescues += 1
        self.folding.take(record)

    def at(self, t: int, without: int | None = None) -> Folding:
        """Return what was folded up to `t`, as a record put there now would find it; `without` one of the records.

        A film can be wound back, and a closed session walked along, and marked there.
        """
        if self.end is None and without is None and t >= self._folded_to:
            return self.folding
        then = Folding(self.ethogram)
        for record in self._lasting.values():
            if record["t"] <= t and record["n"] != without:
                then.take(record)
        return then

    def runs_at(self, t: int, code: str, qualifier: str | None, without: int | None = None) -> bool:
        """Return whether a state ran at a time, so that its key would end it there."""
        return self.at(t, without).runs(code, qualifier)

    # ------------------------------------------------------------ what a screen asks

    @property
    def rescued(self) -> bool:
        """Whether the keeper had to step in."""
        return self.rescues > 0

    @property
    def last(self) -> Mapping[str, Any] | None:
        """The mark, or stray key, that was pressed last, as corrected."""
        return None if self._last_mark is None else self.lasting(self._last_mark)

    @property
    def last_keyed(self) -> int | None:
        """When that mark was pressed, wherever it was moved to since."""
        if self._last_mark is None:
            return None
        return next((record["t"] for record in reversed(self.records) if record["n"] == self._last_mark), None)

    def lasting(self, n: int) -> Mapping[str, Any] | None:
        """Return record `n` as corrected; None when it was taken back."""
        return self._lasting.get(n)

    @property
    def marks_in_time(self) -> list[Mapping[str, Any]]:
        """All that an observer put there, as corrected, in the order of their times."""
        return [record for record in self._lasting.values() if record["do"] not in ("prompt", "clock")]

    def ends_of(self, n: int) -> tuple[int, ...]:
        """Return the records at both ends of the bout or the gap that `n` began or ended: its onset, and its offset if
        that was marked. Any other record stands alone."""
        mark = self._lasting[n]
        if mark["do"] in ("gap", "back"):
            return self._ends_of_gap(mark)
        behaviour = self.ethogram.by_code.get(mark.get("code", ""))
        if mark["do"] != "mark" or behaviour is None or behaviour.kind == "event":
            return (n,)
        bouts = [bout for bout in self.folding.bouts if bout.code == mark["code"]]
        if mark.get("edge") == "offset":
            onsets = [b.n for b in bouts if b.offset == mark["t"] and mark.get("qualifier") in (None, b.qualifier)]
            return (onsets[-1], n) if onsets else (n,)
        bout = self.bout_begun_by(n)
        ended = None if bout is None else bout.offset
        for record in self._lasting.values():
            if record["t"] == ended and record.get("edge") == "offset" and record["code"] == mark["code"]:
                return n, record["n"]
        return (n,)

    def _ends_of_gap(self, end: Mapping[str, Any]) -> tuple[int, ...]:
        of_gaps = [record for record in self._lasting.values() if record["do"] in ("gap", "back")]
        for gap in self.folding.gaps:
            began = next((r["n"] for r in of_gaps if r["do"] == "gap" and r["t"] == gap.onset), None)
            back = next((r["n"] for r in reversed(of_gaps) if r["do"] == "back" and r["t"] == gap.offset), None)
            if began is not None and back is not None and end["n"] in (began, back):
                return began, back
        return (end["n"],)

    def bout_begun_by(self, n: int) -> Bout | None:
        """Return the bout that mark `n` began and that is over; None where there is none."""
        return next((bout for bout in self.folding.bouts if bout.n == n), None)

    def told(self, n: int) -> str:
        """Say in words what record `n` is, as corrected."""
        record = self._lasting.get(n)
        if record is None:
            raw = next((record for record in reversed(self.records) if record["n"] == n), None)
            if raw is None:
                return "nothing"
            told = {
                "move": "another time",
                "recode": "another code",
                "doubt": "'sure again'" if raw.get("sure") else "'unsure'",
                "undo": "taking out",
                "note": "reason",
            }
            what = told.get(raw["do"], str(raw["do"]))
            return f"{what} of {self.told(raw['of']).removesuffix(UNSURE)}" if "of" in raw else what
        when = clock_face(record["t"])
        if record["do"] != "mark":
            said = record.get("text") or record.get("key") or record.get("why") or ""
            return f"{record['do']} {said[:40]}".strip() + f" {when}"
        return f"{mark_words(self.ethogram, record)} {when}{'' if record.get('sure', True) else UNSURE}"
