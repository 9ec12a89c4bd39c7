"""One animal's life: an append-only file of dated entries, the same journal that a session is."""

import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal, NamedTuple

from etholog.animals.lot import CHOICES, of_sac
from etholog.base import files, journal
from etholog.base.dates import Day
from etholog.base.language import gettext
from etholog.base.refusal import Finding, Refusal
from etholog.base.text import like, nearest
from etholog.session.folding import undone

if TYPE_CHECKING:
    from etholog.animals.lines import CardRecord

FORMAT: Final = "etholog-card/1"
# A card that was gathered from others: its lines say whose they are. Version 0.1 can't read it.
GATHERED: Final = "etholog-card/2"


class Kind(NamedTuple):
    """What an entry of one kind says. `takes`: '' nothing, 'words', 'number', or both; `sex`: of whom alone it can be
    said."""

    label: str
    takes: Literal["", "words", "words?", "number", "words number?", "words number", "words? number"] = ""
    choices: tuple[str, ...] = ()
    unit: str = ""
    sex: str = ""


# In the order in which a life goes. A fact that is told again (species, sex, place) replaces the one before.
KINDS: dict[str, Kind] = {
    "born": Kind("born"),
    "got": Kind("got", "words?"),
    "sex": Kind("sex", "words", choices=("male", "female", "unknown")),
    "species": Kind("species", "words"),
    "bought_as": Kind("bought as", "words"),
    "dam": Kind("dam", "words"),
    "sire": Kind("sire", "words"),
    "moved": Kind("moved to", "words"),
    "family": Kind("family", "words"),
    "form": Kind("locality or form", "words"),
    "lent": Kind("lent to", "words"),
    "borrowed": Kind("on loan from", "words"),
    "returned": Kind("returned", "words?"),
    "sold": Kind("sold to", "words?"),
    "given": Kind("given to", "words?"),
    "shares": Kind("shares of the young", "words"),
    "moult": Kind("moult", "words?", choices=("last",)),
    "meal": Kind("meal", "words?", choices=("small", "middling", "large", "refused")),
    "water": Kind("water"),
    "weight": Kind("weight", "number", unit="g"),
    "size": Kind("leg span", "number", unit="mm"),
    "sperm_web": Kind("sperm web", sex="male"),
    "paired": Kind("paired with", "words"),
    "sign": Kind("sign", "words number?"),
    "practice": Kind("practice", "words"),
    "looked": Kind("looked, no sac", sex="female"),
    "sac": Kind("sac laid", sex="female"),
    "eaten": Kind("sac eaten", sex="female"),
    "pulled": Kind("sac pulled", sex="female"),
    "incubated": Kind("sac incubated at", "number", unit="°C", sex="female"),
    "turned": Kind("sac turned", sex="female"),
    "opened": Kind("sac opened", "words?", sex="female"),
    "count": Kind("counted", "words number", sex="female"),
    "split": Kind("young split", "words", sex="female"),
    "placed": Kind("young placed with", "words? number", sex="female"),
    "raised": Kind("raised out of the lot", "words", sex="female"),
    "died": Kind("died", "words?"),
    "renamed": Kind("renamed to", "words"),
    "note": Kind("note", "words"),
}
LASTING = ("sex", "species", "bought_as", "family", "form", "dam", "sire")  # so all its life, whenever it is written
FACTS = (*LASTING, "moved", "shares")
NO_EVENT = ("note", "renamed", *FACTS)  # these may be told of an animal long dead
# A sac and its young may live on when she doesn't.
OF_THE_SAC = ("pulled", "incubated", "turned", "opened", "count", "split", "placed", "raised")
SAC_NAMED = ("eaten", *OF_THE_SAC)  # their words may end with the sac that is meant: of 2026-05-01
NAMING = ("dam", "sire", "paired", "raised", "renamed")  # their words are animals
WHOLE = ("count", "placed")  # animals are counted whole


@dataclass(frozen=True)
class Entry:
    """One thing known of an animal: `kind` of KINDS, the date it is of, and what is said."""

    n: int
    kind: str
    on: Day
    sure: bool = True
    words: str = ""
    number: float | None = None
    note: str = ""
    of: str = ""
    """Whose card it stands on, where two cards are one animal's; '' for the animal's own."""
    by: str = ""
    """Whose word it is on a gathered card: the source's name; '' for one's own."""
    sac: Day | None = None
    """Of which sac it is told, where the keeper said so."""

    def in_time(self) -> tuple[date, str, int]:
        """Return what entries are sorted by: their days, and on one day the order in which they were told."""
        return self.on.first, self.of, self.n

    @property
    def said(self) -> str:
        """What it says, in words: `meal, small`; `weight 21.5 g`."""
        kind = KINDS[self.kind]
        number = "" if self.number is None else f"{self.number:g} {kind.unit}".rstrip()
        label = kind.label if self.words else kind.label.removesuffix(" with")
        label = label if self.words or number else label.removesuffix(" to")
        parts = [label, self.words, number, f"of the sac of {self.sac.text}" if self.sac else ""]
        return " ".join(part for part in parts if part) + ("" if self.sure else " (unsure)")


@dataclass(frozen=True)
class Card:
    """An animal as its card tells: `entries` by date, what was taken back left out.

    `paths`: the files of further cards that are this animal's, by the names with which these began (`Entry.of`).
    `arrives`: when it comes here, where it had not on the day as of which the card is read.
    `records`: how many its file has, what was taken back among them.
    """

    path: Path
    id: str
    entries: tuple[Entry, ...]
    findings: tuple[Finding, ...] = ()
    names: tuple[str, ...] = field(default=())
    paths: Mapping[str, Path] = field(default_factory=dict, hash=False)
    arrives: Day | None = None
    records: int = 0

    def all(self, *kinds: str) -> list[Entry]:
        """Return the entries of these kinds, by date."""
        if len(kinds) == 1:
            return self._by_kind.get(kinds[0], [])
        return [entry for entry in self.entries if entry.kind in kinds]

    @cached_property
    def _by_kind(self) -> dict[str, list[Entry]]:
        found: dict[str, list[Entry]] = {}
        for entry in self.entries:
            found.setdefault(entry.kind, []).append(entry)
        return found

    def last(self, *kinds: str) -> Entry | None:
        """Return the latest entry of these kinds."""
        found = self.all(*kinds)
        return found[-1] if found else None

    def told_last(self, kind: str) -> Entry | None:
        """Return what was told last (not what is dated last) of a fact."""
        return max(self.all(kind), key=lambda entry: (not entry.of, entry.n), default=None)

    def fact(self, kind: str) -> str:
        """Return the words of what was told last of a fact, or ''."""
        entry = self.told_last(kind)
        return entry.words if entry else ""

    def having(self, entry: Entry) -> "Card":
        """Return the card as it would be with one entry more."""
        return replace(self, entries=tuple(sorted((*self.entries, entry), key=Entry.in_time)))

    @cached_property
    def sex(self) -> str:
        """'male', 'female' or 'unknown'."""
        return self.fact("sex") or "unknown"

    @cached_property
    def species(self) -> str:
        """The name of its species as it was told last, accepted or not, or ''."""
        return self.fact("species")

    @property
    def died(self) -> Day | None:
        """When it died, where it did."""
        entry = self.last("died")
        return entry.on if entry else None

    @property
    def last_moult(self) -> Entry | None:
        """The maturing moult: the one told as the last."""
        return next((entry for entry in reversed(self.all("moult")) if entry.words == "last"), None)

    @property
    def is_mature_male(self) -> bool:
        """Whether it is a male after his last moult: he eats little, and some nothing."""
        return self.sex == "male" and self.last_moult is not None


def lasting_id(content: bytes) -> str:
    """Return what every copy of some content is called, whatever its file's name."""
    return hashlib.sha256(content).hexdigest()[:16]


def read(path: Path) -> Card:
    """Read a card. Raises Refusal when there is none in the file; single bad lines are left out and told of."""
    from etholog.animals.lines import lines  # which loads pydantic

    told = lines(path)
    usable, unusable = _entries(path, told.records)
    entries = tuple(sorted(usable, key=Entry.in_time))
    renamed = sorted((entry for entry in entries if entry.kind == "renamed"), key=lambda entry: entry.n)
    names = (told.header["id"], *(entry.words for entry in renamed))
    findings = (*told.findings, *unusable)
    return Card(path, names[-1], entries, findings, tuple(dict.fromkeys(names)), records=len(told.records))


def _entries(path: Path, records: "list[CardRecord]") -> tuple[list[Entry], list[Finding]]:
    entries: list[Entry] = []
    findings: list[Finding] = []
    gone = undone(records)
    for record in records:
        if "of" in record or record["n"] in gone:
            continue
        try:
            entry = _entry(record)
            check(entry)
        except Refusal as refusal:
            findings.append(Finding(str(refusal), gettext(journal.LEFT_OUT), path, record=record["n"]))
            continue
        entries.append(entry)
    return entries, findings


def _entry(record: Mapping[str, Any]) -> Entry:
    words, sac = said_of_sac(record["do"], record.get("words", ""))
    return Entry(
        record["n"],
        record["do"],
        Day.parse(record["on"]),
        record["sure"],
        words,
        record.get("number"),
        record.get("note", ""),
        by=record.get("by", ""),
        sac=Day.parse(sac) if sac else None,
    )


def said_of_sac(kind: str, words: str) -> tuple[str, str]:
    """Return an entry's words, and the date of the sac of which they are told; '' where none is said."""
    return of_sac(words) if kind in SAC_NAMED else (words, "")


def check(entry: Entry) -> None:
    """Raise Refusal where an entry doesn't say what its kind has to say."""
    kind = KINDS.get(entry.kind)
    if kind is None:
        raise Refusal(f"no entry {entry.kind!r}{nearest(entry.kind, KINDS)}")
    if kind.choices and entry.words and entry.words not in kind.choices:
        meant = like(entry.words, kind.choices) or "; put other words into --note"
        raise Refusal(f"{entry.kind} takes {', '.join(kind.choices)}, not {entry.words!r}{meant}")
    if entry.words and kind.takes == "number":
        raise Refusal(f"{entry.kind} wants a number in {kind.unit}, as 21.5; {entry.words!r} is not one")
    if entry.words and "words" not in kind.takes:
        raise Refusal(f"{entry.kind} takes no words ({entry.words!r}); put them into --note")
    if not entry.words.strip() and kind.takes.startswith("words") and not kind.takes.startswith("words?"):
        wanted = CHOICES if entry.kind == "count" else f"{kind.label} ..."
        raise Refusal(f"{entry.kind} wants words: {wanted}")
    if entry.number is not None and "number" not in kind.takes:
        raise Refusal(f"{entry.kind} takes no number")
    if entry.number is None and kind.takes.endswith("number"):
        raise Refusal(f"{entry.kind} wants a number{' in ' + kind.unit if kind.unit else ''}")
    if entry.number is not None and (entry.number < 0 or (entry.kind in ("weight", "size") and entry.number == 0)):
        raise Refusal(f"{entry.kind} can't be {entry.number:g}")
    if entry.kind in WHOLE and entry.number != int(entry.number or 0):
        raise Refusal(f"counted animals are whole: {entry.number:g}")


def file_name(name: str) -> str:
    """Return the name of a card's file. Raises Refusal for a name that no file can carry on every system."""
    bad = set('<>:"/\\|?*') & set(name)
    if not name.strip() or name != name.strip() or name.startswith((".", "-")) or name.endswith(".") or bad:
        raise Refusal(f"{name!r} can't name an animal: no {' '.join(sorted(bad)) or 'empty ends, dot or dash first'}")
    if not name.isprintable() or len(name.encode()) > files.NAME_BYTES:
        raise Refusal(f"{name!r} can't name an animal: too long, or with characters that can't be seen")
    if files.is_device(name):
        raise Refusal(f"{name!r} can't name an animal: Windows keeps that name for a device; add a letter")
    return f"{name}.jsonl"


def open_or_create(path: Path) -> journal.Journal:
    """Open an animal's card to write into it, or begin one."""
    if os.path.lexists(path):  # what is wrong with a link that leads nowhere is said, too
        return journal.Journal.open(path)[0]
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refusal(f"{path.parent}: can't be made ({error.strerror}); {files.remedy(error)}") from error
    other = files.alike(path.name, files.listed(path.parent)[0])
    if other is not None:
        raise Refusal(
            f"{path}: there is {other} already; names that differ in capitals alone are one file on many systems: "
            "write it as there, or choose another"
        )
    return journal.Journal.create(path, {"format": FORMAT, "id": path.stem})


def append(book: journal.Journal, entry: Entry, told: str) -> int:
    """Write an entry and return its number; `told` is when it was typed."""
    return book.append(_draft(entry, told))


def take_back(book: journal.Journal, of: int, told: str) -> int:
    """Write that entry `of` is taken back, and return the number of that record."""
    return book.append(journal.Draft({"do": "undo", "of": of, "told": told}))


def _draft(entry: Entry, told: str) -> journal.Draft:
    draft: dict[str, Any] = {"do": entry.kind, "on": entry.on.text, "sure": entry.sure}
    words = " ".join(filter(None, (entry.words, f"of {entry.sac.text}" if entry.sac else "")))
    if words:
        draft["words"] = words
    if entry.number is not None:
        draft["number"] = float(entry.number)
    if entry.note:
        draft["note"] = entry.note
    return journal.Draft({**draft, "told": told})
