"""Who has an animal now, and until when."""

import re
from dataclasses import dataclass
from typing import Literal

from etholog.animals.card import Card
from etholog.base.dates import Day

Where = Literal["here", "lent", "sold", "given"]
KINDS = ("lent", "returned", "sold", "given", "moved")
# `moved` takes any words; these are what keepers wrote there before there were entries of their own.
_MOVED = re.compile(
    r"(lent|loaned|sold|given|returned|back)\b(?:\s+(?:away|out|home))?(?:\s+(?:to|from)\s+(.+))?", re.I
)
_UNTIL = re.compile(r"(.*?),?\s+until (\d{4}(?:-\d{2}){0,2})", re.ASCII)


@dataclass(frozen=True)
class Custody:
    """Where an animal is: here, or lent, sold or given to `who`, since a date; `until` where that was agreed on."""

    where: Where = "here"
    who: str = ""
    since: Day | None = None
    until: Day | None = None

    @property
    def words(self) -> str:
        """`lent to Anna since 2026-03-01, until 2026-06-01`."""
        parts = [
            self.where,
            *([f"to {self.who}"] if self.who else []),
            *([f"since {self.since.text}"] if self.since else []),
        ]
        return " ".join(parts) + (f", until {self.until.text}" if self.until else "")


def custody(card: Card | None) -> Custody:
    """Return who has the animal, as the last entry of `lent`, `returned`, `sold`, `given` or `moved` says."""
    now = Custody()
    for entry in card.all(*KINDS) if card else []:
        kind, who = entry.kind, entry.words
        if kind == "moved":
            found = _MOVED.match(entry.words)
            if found is None:
                continue  # from one shelf to another
            kind, who = found[1].lower(), found[2] or ""
        kind = {"loaned": "lent", "back": "returned"}.get(kind, kind)
        if kind == "returned":
            now = Custody()
        else:
            until = _UNTIL.fullmatch(who)
            who, day = (until[1], Day.parse(until[2])) if until else (who, None)
            where: Where = "lent" if kind == "lent" else "sold" if kind == "sold" else "given"
            now = Custody(where, who.removeprefix("to "), entry.on, day)
    return now
