"""Who has an animal now, and until when."""

import re
from dataclasses import replace
from typing import Literal, NamedTuple

from etholog.animals.card import NO_EVENT, Card, Entry
from etholog.base.dates import Day
from etholog.base.language import gettext, gettext_noop

Where = Literal["coming", "here", "borrowed", "lent", "sold", "given", "back"]
KINDS = ("got", "lent", "borrowed", "returned", "sold", "given", "moved")
NEAR_DAYS = 14  # two keepers' dates of one event, such as a handing over, may differ by so much (our own choice)
# `moved` takes any words; these are what keepers wrote there before there were entries of their own.
AWAY = re.compile(
    r"((lent|loaned|borrowed|sold|given|returned|back)\b(?:\s+(?:away|out|home))?)(?:(\s+(?:to|from))\s+(.+))?", re.I
)
_UNTIL = re.compile(r"(.*?),?\s*\buntil (\d{4}(?:-\d{2}){0,2})", re.ASCII)
_SHARE = re.compile(r"(.+?)\s+(\d+(?:\.\d+)?)\s*%?", re.ASCII)
_ALONE = {
    "here": gettext_noop("here"),
    "borrowed": gettext_noop("borrowed"),
    "lent": gettext_noop("lent"),
    "sold": gettext_noop("sold"),
    "given": gettext_noop("given"),
    "back": gettext_noop("back"),
}
_WITH_WHOM = {
    "borrowed": gettext_noop("on loan from {who}"),
    "lent": gettext_noop("lent to {who}"),
    "sold": gettext_noop("sold to {who}"),
    "given": gettext_noop("given to {who}"),
    "back": gettext_noop("returned to {who}"),
}


class Custody(NamedTuple):
    """Where an animal is, since a date: here; here on loan from `who` (`borrowed`); lent, sold or given to `who`, or
    given `back` to its owner; `coming` on that date. `until` where that was agreed on; `keeper`: of several that were
    gathered, who has it."""

    where: Where = "here"
    who: str = ""
    since: Day | None = None
    until: Day | None = None
    keeper: str = ""

    @property
    def at_hand(self) -> bool:
        """Whether this keeper has it in the house, and looks after it."""
        return self.where in ("here", "borrowed")

    @property
    def gone(self) -> bool:
        """Whether it is another's now, and does not come back."""
        return self.where in ("sold", "given", "back")

    @property
    def words(self) -> str:
        """`lent to Anna since 2026-03-01, until 2026-06-01`."""
        if self.where == "coming" and self.since:
            return gettext("not here before {day}", day=self.since.text)
        said = gettext(_WITH_WHOM[self.where], who=self.who) if self.who else gettext(_ALONE[self.where])
        since = gettext(" since {day}", day=self.since.text) if self.since else ""
        until = gettext(", until {day}", day=self.until.text) if self.until else ""
        keeper = gettext(", with {keeper}", keeper=self.keeper) if self.keeper else ""
        return said + since + until + keeper


def custody(card: Card | None) -> Custody:
    """Return who has the animal, as the last entry of `got`, `lent`, `returned`, `sold`, `given` or `moved` says."""
    now = Custody()
    if card and card.arrives:
        return Custody("coming", since=card.arrives)
    for entry in card.all(*KINDS) if card else []:
        kind, who = entry.kind, entry.words
        if kind == "moved":
            found = AWAY.match(entry.words)
            if found is None:
                continue  # from one shelf to another
            kind, who = found[2].lower(), found[4] or ""
        kind = {"loaned": "lent", "back": "returned"}.get(kind, kind)
        if card and entry.by and kind in ("lent", "sold", "given") and (taker := _taker(card, kind, entry)):
            now = now if kind == "lent" else Custody(since=entry.on, keeper=taker)
        elif card and entry.by and kind == "returned" and _is_anothers(card, entry.by):
            now = Custody()
        elif kind != "got":
            now = _after(now, kind, who, entry)
        elif not now.at_hand:
            now = Custody(since=entry.on, keeper=entry.by)
    return now


def arrival(card: Card) -> Day | None:
    """Return when an animal came here first, got, borrowed or hatched, as its card says; None where it doesn't. What
    stands on it before it was got happened at another keeper's."""
    where, born = next(iter(card.all(*KINDS)), None), card.last("born")
    if where and where.kind in ("got", "borrowed"):
        return where.on
    return born.on if born else None


def _taker(card: Card, kind: str, handed: Entry) -> str:
    """Return which other of several keepers that were gathered has the animal that one of them handed over; '' for
    somebody else.

    One's lending is another's borrowing, and it comes back to one of them. Who bought it wrote on about its life.
    """
    for entry in card.entries:
        if entry.by in ("", handed.by):
            continue
        least, most = entry.on.days_until(handed.on)
        near = max(least, -most) <= NEAR_DAYS
        if kind == "lent":
            if entry.kind == "borrowed" and near:
                return entry.by
        elif (entry.kind == "got" and near) or (
            entry.kind not in (*NO_EVENT, "lent", "sold", "given", "returned") and not entry.on.before(handed.on)
        ):
            return entry.by
    return ""


def _is_anothers(card: Card, by: str) -> bool:
    """Tell whether an animal that one of several gathered keepers returned is another's of them, by that one's own
    entries; else it left the group for its owner's."""
    others = {entry.by for entry in card.entries if entry.kind not in NO_EVENT} - {"", by}
    own = (replace(card, entries=tuple(entry for entry in card.entries if entry.by == other)) for other in others)
    return any(not custody(one).gone for one in own)


def _after(now: Custody, kind: str, words: str, entry: Entry) -> Custody:
    on = entry.on
    who, until = whom(words)
    day = Day.parse(until) if until else None
    if kind == "returned":
        return Custody("back", who or now.who, on) if now.where == "borrowed" else Custody()
    where: Where = "borrowed" if kind == "borrowed" else "lent" if kind == "lent" else "given"
    return Custody("sold" if kind == "sold" else where, who, on, day, entry.by if where == "borrowed" else "")


def whom(words: str) -> tuple[str, str]:
    """Return with whom an animal is, and until when, as the words of a loan or a sale say it; '' where they don't.

    >>> whom("to Anna, until 2026-06"), whom("Anna")
    (('Anna', '2026-06'), ('Anna', ''))
    """
    until = _UNTIL.fullmatch(words.strip())
    who, day = (until[1], until[2]) if until else (words.strip(), "")
    return who.removeprefix("to ").removeprefix("from "), day


def shares(words: str) -> dict[str, float]:
    """Return who gets how large a part of the young, adding up to 1; nothing where the words don't say it.

    >>> shares("Anna 1, me 2")["Anna"]
    0.3333333333333333
    """
    told = [_SHARE.fullmatch(part.strip()) for part in words.split(",")]
    parts = {found[1]: float(found[2]) for found in told if found}
    if len(parts) < len(told) or not sum(parts.values()):
        return {}
    return {who: part / sum(parts.values()) for who, part in parts.items()}
