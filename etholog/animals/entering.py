"""The one door by which entries come onto cards: typed, from a table, from a screen, or from Python.

Each entry is judged beside the others of its card and beside the herd: what can't be is refused, and nothing is
written; what is odd is written and asked about.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Literal

from etholog.animals import card as card_
from etholog.animals import naming
from etholog.animals.card import KINDS, Card, Entry
from etholog.animals.doubts import impossible, lot_at, odd, surprising
from etholog.animals.herd import Animals
from etholog.base.dates import Day
from etholog.base.journal import Journal
from etholog.base.numbers import typed_number
from etholog.base.refusal import Finding, Refusal
from etholog.base.text import nearest
from etholog.session.evidence import Evidence

Slashes = Literal["day-first", "month-first"]

_DATE = re.compile(r"\d{4}-\d{2}(-\d{2})?", re.ASCII)
_DOTTED = re.compile(r"(?:(\d{1,2})\.)?(\d{1,2})\.(\d{4})", re.ASCII)
_SLASHED = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})", re.ASCII)


@dataclass(frozen=True)
class NewEntry:
    """An entry that somebody wants on an animal's card, and where it was read. `said`: the date as it was written."""

    animal: str
    entry: Entry
    path: Path | None = None
    line: int | None = None
    said: str = ""


@dataclass(frozen=True)
class Proposed:
    """An entry that may be written: on whose card, whether that is a new one, and what there is to ask about it."""

    card: Card
    entry: Entry
    begins: bool
    asked: tuple[Finding, ...]
    said: str = ""


@dataclass(frozen=True)
class Proposal:
    """What would be written, in the order of the dates; all that there is to ask; what stands in its way; and how many
    entries were on the cards already."""

    proposed: tuple[Proposed, ...]
    asked: tuple[Finding, ...]
    refused: tuple[Finding, ...]
    there: int


def propose(animals: Animals, new_entries: Sequence[NewEntry], today: date, once: bool = False) -> Proposal:
    """Judge entries, all together, and write nothing.

    Parameters
    ----------
    animals: the herd as it is.
    new_entries: the entries; those of one card are judged in the order of their dates, each beside those before it.
    today: a date after it is asked about.
    once: leave out what is on the cards already, so that a table can be taken twice.
    """
    proposed: list[tuple[NewEntry, Card, Entry]] = []
    refused: list[Finding] = []
    cards: dict[str, Card] = {}
    twins: list[Finding] = []
    merging: dict[str, Finding] = {}
    there = 0
    for new_entry in sorted(new_entries, key=lambda new_entry: (new_entry.entry.on.first, new_entry.line or 0)):
        try:
            card_.check(new_entry.entry)
            if new_entry.entry.kind == "raised":
                card_.file_name(new_entry.entry.words)
            one = cards.get(animals.id_of(new_entry.animal)) or _card(animals, new_entry.animal)
            if new_entry.entry.kind == "renamed" and (merged := naming.renaming(animals, one, new_entry.entry)):
                merging[one.id] = merged
        except Refusal as refusal:
            refused += [found._replace(path=new_entry.path, line=new_entry.line) for found in refusal.findings]
            continue
        old = _same(one, new_entry.entry) if once else None
        if old is not None:
            on_card = animals.find(one.id)
            if on_card and old in on_card.entries:
                there += 1
            else:
                twins.append(
                    Finding("the same row stands here twice; one is taken", path=new_entry.path, line=new_entry.line)
                )
            continue
        if why := impossible(one, new_entry.entry):
            what = f"{new_entry.entry.said} on {new_entry.entry.on.text}: {why}"
            refused.append(
                Finding(what, "" if new_entry.path else "nothing was written", new_entry.path, new_entry.line)
            )
            continue
        entry = replace(new_entry.entry, n=max((old.n for old in one.entries), default=0) + 1)
        proposed.append((new_entry, one, entry))
        cards[one.id] = one.having(entry)
    proposed += _raised(animals.having(cards), animals, cards, proposed)
    after = animals.having(cards)
    before = animals.on_record
    near = naming.Alike(sorted(after.on_record))
    result = []
    for new_entry, one, entry in proposed:
        questions = (
            *_dated(entry, today),
            *(_named(one, near) if one.id not in before else ()),
            *([merging[one.id]] if entry.kind == "renamed" and one.id in merging else []),
            *_twice(one, entry),
            *odd(after, one, entry),
            *surprising(after, one, entry),
        )
        told = tuple(found._replace(path=new_entry.path, line=new_entry.line) for found in questions)
        result.append(Proposed(one, entry, not one.entries and one.id not in animals.cards, told, new_entry.said))
    asked = (*twins, *(found for one in result for found in one.asked))
    return Proposal(tuple(result), asked, tuple(refused), there)


Judged = tuple[NewEntry, Card, Entry]


def _raised(after: Animals, animals: Animals, cards: dict[str, Card], proposed: Sequence[Judged]) -> list[Judged]:
    """Return what goes onto the cards of those that were raised out of a lot: who they are, and of whom; nothing that
    is on them already. `cards` are brought up to date."""
    found: list[Judged] = []
    for new_entry, dam, told in [one for one in proposed if one[2].kind == "raised"]:
        of = lot_at(after, after.cards[dam.id], told)
        entries = {"species": after.species_of(dam.id), "form": after.cards[dam.id].fact("form"), "dam": dam.id}
        entries["sire"] = " or ".join(of.sire_words) if of and any(of.sires) else ""
        for kind, words in entries.items():
            one = cards.get(animals.id_of(told.words)) or _card(animals, told.words)
            if not words or one.all(kind):
                continue
            sure = kind != "sire" or (of is not None and of.best >= Evidence.INSERTION)
            entry = Entry(max((old.n for old in one.entries), default=0) + 1, kind, told.on, sure, words)
            cards[one.id] = one.having(entry)
            found.append((replace(new_entry, animal=one.id, entry=entry), one, entry))
    return found


def write(proposal: Proposal, told: str | None = None) -> list[int]:
    """Write what was proposed, wait for the disk, and return the entries' numbers. Raises Refusal, and writes nothing,
    where any of it was refused; Refusal too where the disk fails. `told`: when it was told (RFC 3339), now if None."""
    if proposal.refused:
        raise Refusal(*proposal.refused)
    told = told or datetime.now().astimezone().isoformat(timespec="seconds")
    numbers: dict[int, int] = {}
    for path in dict.fromkeys(one.card.path for one in proposal.proposed):
        book = card_.open_or_create(path)
        try:
            for at, one in enumerate(proposal.proposed):
                if one.card.path == path:
                    numbers[at] = card_.append(book, one.entry, told)
        finally:
            safe = book.close()
        if not safe:
            raise _not_saved(book)
    return [numbers[at] for at in range(len(proposal.proposed))]


def undo(animals: Animals, name: str, number: str) -> Entry:
    """Take an entry back, by the number that its card shows, and return it. Raises Refusal where there is none."""
    one = animals.find(name)
    if one is None:
        raise Refusal(f"no card of {name!r}{nearest(name, animals.known())}")
    numbers = naming.numbers(one)
    number = number.removeprefix("#")
    # By the name with which the other card began, its numbers are meant.
    entry = numbers.get(f"{name}:{number}") or numbers.get(number)
    if entry is None:
        raise Refusal(f"undo wants the number of an entry, as `etholog card {one.id}` shows it after #")
    path = naming.file_of(one, entry)
    book = card_.open_or_create(path)
    card_.take_back(book, entry.n, datetime.now().astimezone().isoformat(timespec="seconds"))
    if not book.close():
        raise _not_saved(book)
    return entry


def _not_saved(book: Journal) -> Refusal:
    remedy = f"when the disk works again, `etholog resume {book.path}` takes them in" if book.rescue else "make room"
    return Refusal(f"{book.unsaved}; {remedy}")


def typed(kind: str, words: Sequence[str], on: str, sure: bool = True, note: str = "") -> Entry:
    """Read an entry as a keeper types it: the last word is the number where the kind takes one.

    >>> typed("weight", ["21,5"], "2026-05-03").number
    21.5
    """
    kind, words = kind_of(kind, words)
    meant = ("until", "of") if kind in card_.SAC_NAMED else ("until",)
    for before, word in zip(["", *words], words, strict=False):
        if kind != "note" and _DATE.fullmatch(word) and before not in meant:
            raise Refusal(f"{word!r} looks like a date; write --on {word}; nothing was written")
    figure = None
    told, sac = card_.said_of_sac(kind, " ".join(words))
    takes = KINDS[kind].takes if kind in KINDS else ""
    if sac or (takes.endswith(" number") and len(words) == 1):  # one pair of quotes around all: "Zoe 30"
        words = told.split()
    if "number" in takes and words:
        if len(words) > 1 and words[-1].casefold() in _PER:  # 7.5 cm
            words = [*words[:-2], words[-2] + words[-1]]
        figure = quantity(words[-1], KINDS[kind].unit)
    said = " ".join(words if figure is None else words[:-1])
    told, before_number = card_.said_of_sac(kind, said)
    meant_sac = sac or before_number
    return Entry(0, kind, day(on), sure, told, figure, note, sac=Day.parse(meant_sac) if meant_sac else None)


def kind_of(kind: str, words: Sequence[str] = ()) -> tuple[str, Sequence[str]]:
    """Return an entry's kind as it is kept, and the words that follow it: `sperm web` and `Sperm-Web` are `sperm_web`.

    >>> kind_of("sperm", ["web"]), kind_of("Bought as", []), kind_of("meal", ["small"])
    (('sperm_web', []), ('bought_as', []), ('meal', ['small']))
    """
    one = re.sub(r"[\s-]+", "_", kind.strip()).casefold()
    if words and (both := f"{one}_{words[0].casefold()}") in KINDS:
        return both, list(words[1:])
    return (one if one in KINDS else kind), words


def read_row(values: Mapping[str, str], slashes: Slashes | None = None) -> tuple[str, Entry]:
    """Read the animal and the entry of a table's row: animal, entry, on, words, number, unsure, note."""
    card_.file_name(values["animal"])
    kind, _ = kind_of(values["entry"])
    unit = KINDS[kind].unit if kind in KINDS else ""
    figure = quantity(values["number"], unit) if values["number"] else None
    if values["number"] and figure is None:
        raise Refusal(f"{values['number']!r} is not a number")
    sure = values["unsure"].lower() not in ("yes", "y", "true", "1", "unsure", "?")
    words, sac = card_.said_of_sac(kind, values["words"])
    of = Day.parse(sac) if sac else None
    entry = Entry(0, kind, day(values["on"], slashes), sure, words, figure, values["note"], sac=of)
    card_.check(entry)
    if entry.kind == "renamed":
        raise Refusal("a renaming can't be taken from a table; use etholog card OLD renamed NEW")
    return values["animal"], entry


# How many of an entry's own unit (g, mm, °C) one of these is.
_PER = {
    "g": ("g", 1.0), "gram": ("g", 1.0), "grams": ("g", 1.0), "mg": ("g", 0.001), "kg": ("g", 1000.0),
    "mm": ("mm", 1.0), "cm": ("mm", 10.0), "in": ("mm", 25.4), "inch": ("mm", 25.4), "inches": ("mm", 25.4),
    "c": ("°C", 1.0), "°c": ("°C", 1.0),
}  # fmt: skip
_MEASURED = re.compile(r"([\d.,]+)\s*(°?[a-z]+)", re.ASCII | re.IGNORECASE)


def quantity(text: str, unit: str) -> float | None:
    """Read a number with or without its unit, as one of `unit`; None where there is none. Raises Refusal for a unit of
    another kind.

    >>> quantity("7.5cm", "mm"), quantity("12,5 g", "g"), quantity("12,5", "g"), quantity("small", "g")
    (75.0, 12.5, 12.5, None)
    """
    found = _MEASURED.fullmatch(text.strip())
    if found is None or found[2].casefold() not in _PER:
        return typed_number(text)
    of, per = _PER[found[2].casefold()]
    if of != unit:
        takes = f"this takes {unit}" if unit else "this takes no unit"
        raise Refusal(f"{text!r} is in {found[2]}; {takes}")
    figure = typed_number(found[1])
    return None if figure is None else round(figure * per, 6)


def day(text: str, slashes: Slashes | None = None) -> Day:
    """Read a date as keepers write it: 2026-05-03, 3.5.2026, or less where less is known. `slashes` says how 3/5/2026
    is meant. Raises Refusal for what is not a date, and for slashes without a word on them where both may be months.

    >>> day("3.5.2026").text, day("5.2026").text, day("3/5/2026", "day-first").text, day("31/5/2026").text
    ('2026-05-03', '2026-05', '2026-05-03', '2026-05-31')
    """
    if dotted := _DOTTED.fullmatch(text):
        return Day.parse("-".join(part.zfill(2) for part in reversed(dotted.groups()) if part))
    if slashed := _SLASHED.fullmatch(text):
        first, second, year = slashed.groups()
        day_first, month_first = (f"{year}-{m.zfill(2)}-{d.zfill(2)}" for d, m in ((first, second), (second, first)))
        if slashes is None and max(int(first), int(second)) <= 12 and int(first) != int(second):
            asked = f"is {text!r} {day_first} or {month_first}? Write that"
            raise Refusal(f"{asked} (for a table with --take: --slashes day-first or month-first)")
        is_day_first = int(first) > 12 if slashes is None else slashes == "day-first"
        return Day.parse(day_first if is_day_first else month_first)
    return Day.parse(text)


def _card(animals: Animals, name: str) -> Card:
    found = animals.find(name)
    if found is not None:
        return found
    return Card(animals.folder / "animals" / card_.file_name(name), name, (), names=(name,))


def _same(one: Card, entry: Entry) -> Entry | None:
    said = entry.on, entry.sure, entry.words, entry.number, entry.sac
    return next(
        (old for old in one.all(entry.kind) if (old.on, old.sure, old.words, old.number, old.sac) == said), None
    )


def _twice(one: Card, entry: Entry) -> Iterator[Finding]:
    old = _same(one, entry)
    if old is not None and entry.kind not in ("note", "moult", "sac", "died", "born"):
        yield Finding(f"{old.said} on {old.on.text} is on the card already, as #{old.n}")


def _dated(entry: Entry, today: date) -> Iterator[Finding]:
    if entry.on.first > today:
        yield Finding(f"{entry.on.text} is still to come")


def _named(one: Card, known: naming.Alike) -> Iterator[Finding]:
    if not one.entries:
        for other in known.to(one.id):
            same = other.casefold() == one.id.casefold()
            how = "they differ in capitals alone" if same else "it may be the same animal"
            yield Finding(f"{one.id} is new, and {other} is there: {how}")
