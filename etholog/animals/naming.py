"""Which names mean one animal: cards say so with `renamed`, and every reader of names goes through here.

No file is rewritten: a session keeps the name that was typed, and a card the name with which it began.
"""

import difflib
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.animals import card as card_
from etholog.animals.card import NAMING, Card, Entry
from etholog.base import files, journal
from etholog.base.refusal import Finding, Refusal

if TYPE_CHECKING:
    from etholog.animals.herd import Animals
    from etholog.session import Session

# Of two names as like as this one may be the other, mistyped: one letter of six or more is another, or missing.
ALIKE = 0.85


def gathered(cards: Iterable[Card]) -> tuple[dict[str, Card], list[Finding]]:
    """Return one card for each animal, by the name that it has now, and what contradicts itself.

    Where a card says that its animal is one that has a card of its own, both are one animal: its entries are those of
    both, and each of the other's says on whose card it stands (`Entry.of`). Of several files of one card the fullest
    counts.
    """
    cards = list(cards)
    found: dict[str, Card] = {}
    findings: list[Finding] = []
    began = _fullest(cards)
    for one in cards:
        if (other := began[one.names[0]]) is not one:
            what = f"{one.names[0]} is on {other.path.name} as well"
            findings.append(Finding(what, "one animal, one card: left out", one.path))
    for one in began.values():
        last = _last(one, began)
        home = began.get(last, one) if last is not None else one
        if last is None:
            findings.append(Finding(f"{one.names[0]} was renamed in a circle", "undo one of the renamings", one.path))
        before = found.get(home.id)
        if before is None:
            found[home.id] = home if home is one else _joined(home, one)
        elif home is not one:
            found[home.id] = _joined(before, one)
    alone = _one_name_each(found, findings)
    now = {name: one.id for one in alone.values() for name in one.names}
    return {name: _said_once(one, now) for name, one in alone.items()}, findings


def _fullest(cards: Iterable[Card]) -> dict[str, Card]:
    """Return the cards by the names with which they began, of several files of one card the fullest."""
    cards = list(cards)
    places = journal.fullest((one.names[0], one.records) for one in cards)
    return {name: cards[at] for name, at in places.items()}


def _said_once(one: Card, now: Mapping[str, str]) -> Card:
    """Return a card on which what two keepers said alike stands once, with the notes of both; one's own word stays."""
    if not any(entry.by for entry in one.entries):
        return one
    kept: dict[tuple[object, ...], int] = {}
    entries: list[Entry] = []
    for entry in one.entries:
        words = entry.words
        if entry.kind in NAMING:
            words = " or ".join(now.get(name, name) for name in words.split(" or "))
        key = (entry.kind, entry.on.text, words, entry.number, entry.sure)
        at = kept.get(key)
        if entry.by and at is not None and entries[at].by not in ("", entry.by):
            notes = dict.fromkeys(filter(None, (entries[at].note, entry.note)))
            entries[at] = replace(entries[at], note="; ".join(notes))
            continue
        kept.setdefault(key, len(entries))
        entries.append(entry)
    return replace(one, entries=tuple(entries))


def _last(one: Card, began: Mapping[str, Card]) -> str | None:
    """Return the name at the end of a card's renamings, those of the cards that they lead to too; None in a circle."""
    name, seen = one.id, {one.names[0]}
    while name in began and began[name].id != name:
        if name in seen:
            return None
        seen.add(name)
        name = began[name].id
    return name


def _joined(home: Card, other: Card) -> Card:
    """Return a card with the entries of another that is the same animal's."""
    taken = [replace(entry, of=entry.of or other.names[0]) for entry in other.entries]
    return replace(
        home,
        entries=tuple(sorted((*home.entries, *taken), key=Entry.in_time)),
        names=tuple(dict.fromkeys((*other.names, *home.names))),
        findings=(*home.findings, *other.findings),
        paths={**home.paths, **other.paths, other.names[0]: other.path},
    )


def _one_name_each(found: dict[str, Card], findings: list[Finding]) -> dict[str, Card]:
    """Leave out a card whose animal has a name of another's."""
    taken: dict[str, Card] = {}
    kept: dict[str, Card] = {}
    for one in found.values():
        twice = next((name for name in one.names if name in taken), None)
        if twice is not None:
            what = f"{twice} is on {taken[twice].path.name} as well"
            findings.append(Finding(what, "one animal, one card: left out", one.path))
            continue
        kept[one.id] = one
        taken |= dict.fromkeys(one.names, one)
    return kept


@dataclass(frozen=True)
class Names:
    """What the animals of a workspace are called now, as the cards say that tell of a renaming."""

    folder: Path
    now: Mapping[str, str]
    """The name that each renamed animal has now, by each name that it had before."""
    renamed: tuple[Card, ...] = ()

    def of(self, name: str) -> str:
        """Return the name that an animal has now."""
        return self.now.get(name, name)

    def card(self, name: str) -> Card | None:
        """Return all that is on an animal's cards, by any of its names; None where it has none that can be read."""
        who = self.of(name)
        own = [one for one in self.renamed if self.of(one.names[0]) == who]
        if who not in {one.names[0] for one in own}:
            with suppress(Refusal, OSError):  # either: no file can be called so
                path = self.folder / "animals" / card_.file_name(who)
                if path.exists():  # to read one loads pydantic, and on a first evening there is none
                    own.append(card_.read(path))
        return gathered(own)[0].get(who)


def names(workspace: Path) -> Names:
    """Return what the animals of a workspace are called now.

    Only cards that say `renamed` are read, so that a folder of thousands costs a look at their bytes.
    """
    cards = []
    for name in files.listed(workspace / "animals", ".jsonl")[0]:
        path = workspace / "animals" / name
        try:
            if b'"do":"renamed"' in files.read(path):
                cards.append(card_.read(path))
        except Refusal:
            continue  # whoever reads the cards tells of it
    began = _fullest(cards)
    ends = {name: last for one in began.values() if (last := _last(one, began)) for name in one.names}
    return Names(workspace, {name: last for name, last in ends.items() if name != last}, tuple(began.values()))


def under(session: "Session", names: Names) -> "Session":
    """Return a session with the names that its animals have now."""
    male, female = (session.header[who] for who in ("male", "female"))
    if male not in names.now and female not in names.now:
        return session
    header = {**session.header, "male": names.of(male), "female": names.of(female)}
    return replace(session, header=header)  # type: ignore[arg-type]


class Alike:
    """Names, ready to be asked which of them another one may be, mistyped.

    Only those that may be as like as that are compared letter by letter, so that thousands of names take seconds.
    """

    def __init__(self, known: Iterable[str]) -> None:
        self._places: dict[str, int] = {}
        self._bits: dict[tuple[str, int], int] = {}
        self._by_letters: dict[str, list[str]] = {}
        self._by_start: dict[tuple[str, ...], list[tuple[str, str, int]]] = {}
        for place, name in enumerate(known):
            self._places[name] = place
            folded = name.casefold()
            self._by_letters.setdefault(_letters(folded), []).append(name)
            self._by_start.setdefault(_start(folded), []).append((name, folded, self._bag(folded)))

    def _bag(self, folded: str) -> int:
        """Return which characters are in a name as bits: one for the first of a kind, another for the second."""
        seen, bag = Counter[str](), 0
        for character in folded:
            seen[character] += 1
            bag |= 1 << self._bits.setdefault((character, seen[character]), len(self._bits))
        return bag

    def to(self, name: str) -> list[str]:
        """Return the names that this one may be, in their own order."""
        folded = name.casefold()
        bag, length = self._bag(folded), len(folded)
        found = {*self._by_letters.get(_letters(folded), ())}
        for other, folded_other, bag_other in self._by_start.get(_start(folded), ()):
            # No order of the characters that both have could make more of them match.
            may_be = 2 * (bag & bag_other).bit_count() >= ALIKE * (length + len(folded_other))
            if may_be and _matching(folded, folded_other) >= ALIKE:
                found.add(other)
        return sorted(found - {name}, key=self._places.__getitem__)


def alike(name: str, known: Iterable[str]) -> list[str]:
    """Return the names that this one may be, mistyped: in other capitals, or with another letter. A number is never
    mistyped for another: F-14 and F-15 are two animals.

    >>> alike("M-Antn", ["M-Anton", "M-Basalt"]), alike("m-anton", ["M-Anton"]), alike("F-14", ["F-15"])
    (['M-Anton'], ['M-Anton'], [])
    """
    return Alike(known).to(name)


def _letters(folded: str) -> str:
    return re.sub(r"[\s_-]", "", folded)


def _start(folded: str) -> tuple[str, ...]:
    return (folded[:1], *re.findall(r"\d+", folded))


def _matching(one: str, other: str) -> float:
    return difflib.SequenceMatcher(None, min(one, other), max(one, other)).ratio()


def asked(male: str, female: str, animals: "Animals") -> list[Finding]:
    """Return what is to be asked about two names before their session begins; where no animal is known yet, no more
    than whether both are one."""
    known = animals.on_record
    found: list[Finding] = []
    if male and animals.id_of(male) == animals.id_of(female):
        found.append(Finding(f"{male} stands here as the male and as the female", "two animals need two names"))
    for name, sex in ((male, "male"), (female, "female")):
        if not name or not known:
            continue
        if animals.id_of(name) not in known:
            near = sorted(alike(name, known), key=lambda other: (other.casefold() != name.casefold(), other))
            remedy = f"did you mean {' or '.join(near)}?" if near else "is that right?"
            found.append(Finding(f"{name} is new: no card and no session has that name", remedy))
        elif animals.sex_of(name) not in (sex, "unknown"):
            what = f"{name} is {animals.sex_of(name)}, as the card or a session says, and stands here as the {sex}"
            found.append(Finding(what, "is that right?"))
        elif animals.id_of(name) != name:
            found.append(Finding(f"{name} is called {animals.id_of(name)} now", "both names mean that animal"))
    return found


def twins(animals: "Animals", of: Sequence[str] = ()) -> Iterator[Finding]:
    """Yield the names that may be one animal's, mistyped, and the animals that stand in two sexes; only what concerns
    the names `of`, where some are given."""
    meant = list(dict.fromkeys(animals.id_of(name) for name in of if name))
    if of and not meant:
        return
    there = animals.on_record
    known = sorted(there)
    near = Alike(known)
    # Whoever has given each of two a card has meant two, so where all are asked about most need not be compared.
    capitals = Counter(name.casefold() for name in known)
    unsure = [name for name in known if name not in animals.cards or capitals[name.casefold()] > 1]
    pairs = {(*sorted((one, other)),) for one in (meant or unsure) if one in there for other in near.to(one)}
    for one, other in sorted(pairs):
        if one in animals.cards and other in animals.cards and one.casefold() != other.casefold():
            continue
        if {animals.sex_of(one), animals.sex_of(other)} == {"male", "female"}:
            continue
        wrong, right = (one, other) if one not in animals.cards else (other, one)
        what = f"{wrong} and {right} may be one animal"
        yield Finding(what, f"if so: etholog card {quoted(wrong)} renamed {quoted(right)}")
    for name in meant or known:
        yield from _sexes(name, animals)


def _sexes(name: str, animals: "Animals") -> Iterator[Finding]:
    card = animals.cards.get(name)
    sexes = {entry.words: entry for entry in card.all("sex") if entry.words != "unknown"} if card else {}
    if card and len(sexes) > 1:
        said = " and ".join(f"{sex} on {entry.on.text}" for sex, entry in sexes.items())
        undo = ", or ".join(f"undo {label(entry)}" for entry in sexes.values())
        remedy = f"take back the one that is wrong: etholog card {quoted(name)} {undo}"
        yield Finding(f"the card of {name} says {said}", remedy, card.path)
    met = [(pairing, pairing.file) for pairing in animals.pairings_of(name) if pairing.file]
    as_male = [file for pairing, file in met if pairing.male == name]
    as_female = [file for pairing, file in met if pairing.female == name]
    if as_male and as_female:
        what = f"{name} is the male here, and the female in {as_female[0].name}"
        yield Finding(what, "give one of the two another name", as_male[0])
        return
    told = animals.cards[name].sex if name in animals.cards else "unknown"
    for sex, files_ in (("male", as_male), ("female", as_female)):
        if files_ and told not in (sex, "unknown"):
            yield Finding(f"{name} is the {sex} here, and the card says {told}", "correct one of them", files_[0])


def quoted(name: str) -> str:
    """Return a name as it is typed on a command line."""
    return name if re.fullmatch(r"[\w.-]+", name) else f"'{name}'"


def renaming(animals: "Animals", one: Card, entry: Entry) -> Finding | None:
    """Return what is to be asked about a renaming. Raises Refusal where it can't be."""
    card_.file_name(entry.words)
    now = animals.id_of(entry.words)
    if now == one.id:
        raise Refusal(f"{one.id} has that name already; nothing was written")
    known = animals.known()
    if now not in known:
        there = one.id in known or one.entries
        return None if there else Finding(f"{one.id} is new: no card and no session has that name to be changed")
    if now != entry.words:
        raise Refusal(f"{entry.words!r} is an earlier name of {now}; write {now}, or another name; nothing was written")
    sexes = {animals.sex_of(one.id), animals.sex_of(now)}
    if sexes == {"male", "female"}:
        raise Refusal(f"{one.id} is {animals.sex_of(one.id)} and {now} {animals.sex_of(now)}; nothing was written")
    if any(now in (pairing.male, pairing.female) for pairing in animals.pairings_of(one.id)):
        raise Refusal(f"{one.id} and {now} have met: they are two animals; nothing was written")
    return Finding(f"{now} is there already: from now on {one.id} and {now} are one animal")


def numbers(one: Card) -> dict[str, Entry]:
    """Return a card's entries by what is shown after `#`: the number, with the other card's name before it where it
    stands on another one."""
    return {label(entry): entry for entry in one.entries}


def label(entry: Entry) -> str:
    """Return what is shown after `#`."""
    return f"{entry.of}:{entry.n}" if entry.of else str(entry.n)


def file_of(one: Card, entry: Entry) -> Path:
    """Return the file in which an entry stands."""
    return one.paths[entry.of] if entry.of else one.path
