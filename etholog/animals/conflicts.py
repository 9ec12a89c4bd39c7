"""What several keepers say of one animal and can't both be so; and which animals of theirs may be one.

Nothing is decided here: both values are shown with who said them, and two are joined by a person's word alone.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from etholog.animals.card import KINDS, Card, Entry
from etholog.animals.custody import NEAR_DAYS
from etholog.animals.herd import Animals
from etholog.animals.naming import Alike, label, quoted
from etholog.base.refusal import Finding

ONCE = ("sex", "species", "form", "family", "dam", "sire", "born", "died")  # there is one true value of each
EVENTS = ("moult", "sac")
SAME_NAME = "the same name"
_LABELLED = re.compile(r"(.+) \([^()]+\)")


def conflicts(animals: Animals) -> Iterator[Finding]:
    """Yield what sources contradict each other in, where one's own word has not settled it."""
    for one in animals.cards.values():
        if len({entry.by for entry in one.entries}) > 1:
            for kind in ONCE:
                yield from _fact(animals, one, kind)
            for kind in EVENTS:
                yield from _event(one, kind)


def _fact(animals: Animals, one: Card, kind: str) -> Iterator[Finding]:
    told = sorted(one.all(kind), key=lambda entry: (entry.of, entry.n))
    if any(not entry.by for entry in told):
        return
    last = {entry.by: entry for entry in told}
    if any(_differ(animals, kind, a, b) for a, b in combinations(last.values(), 2)):
        said = " or ".join(_said(entry) for entry in last.values())
        remedy = f"write what is right: etholog card {quoted(one.id)} {kind} ..."
        yield Finding(f"{one.id}: {KINDS[kind].label}: {said}", remedy, one.path)


def _differ(animals: Animals, kind: str, a: Entry, b: Entry) -> bool:
    if kind in ("born", "died"):
        return a.on.before(b.on) or b.on.before(a.on)
    if kind == "species":
        return not animals.synonyms.same(a.words, b.words)
    if kind in ("dam", "sire"):
        return dict(animals.possible(a.words)) != dict(animals.possible(b.words))
    return a.words.casefold() != b.words.casefold()


def _event(one: Card, kind: str) -> Iterator[Finding]:
    for a, b in combinations(one.all(kind), 2):
        apart = a.on.days_until(b.on)
        if a.by and b.by and a.by != b.by and a.on.text != b.on.text and apart[0] <= NEAR_DAYS:
            what = f"{one.id}: {KINDS[kind].label}: {_said(a)} or {_said(b)}, or two of them"
            remedy = f"if it is one, take the wrong date back: etholog card {quoted(one.id)} undo NUMBER"
            yield Finding(what, remedy, one.path)


def _said(entry: Entry) -> str:
    return f"{entry.words or entry.on.text} ({entry.by}, #{label(entry)})"


@dataclass(frozen=True)
class Twins:
    """Two names that may be one animal's, and what speaks for it. `wrong` is the one to be renamed; `named`: it has no
    card, has the name of `right` at its keeper's, and no other animal here has."""

    wrong: str
    right: str
    why: tuple[str, ...]
    named: bool

    @property
    def finding(self) -> Finding:
        """What there is to decide, and how."""
        what = f"{self.right} and {self.wrong} may be one animal: {', '.join(self.why)}"
        remedy = f"etholog card {quoted(self.wrong)} renamed {quoted(self.right)}"
        return Finding(f"? {what}", f"if so: {remedy} (`undo` takes it back)")


def twins(animals: Animals, known_by: Mapping[str, set[str]]) -> Iterator[Twins]:
    """Yield the animals of different sources that may be one. `known_by`: the sources that know each name; two that one
    keeper knows are two."""
    by: dict[str, set[str]] = {}
    for name, sources in known_by.items():
        by.setdefault(animals.id_of(name), set()).update(sources)
    names = sorted(by)
    dates = {name: _dates(animals.find(name)) for name in names}
    with_card = Counter(_bare(name) for name in names if name in animals.cards)
    for (a, b), like in sorted(_candidates(names, dates).items()):
        if by[a] & by[b] or not _may_be_one(animals, a, b):
            continue
        why = [like] if like else []
        why += [f"{KINDS[kind].label} {on} on both cards" for kind, on in sorted(dates[a] & dates[b])]
        parents = [animals.parents.get(name) for name in (a, b)]
        why += ["the same parents"] if parents[0] and parents[0] == parents[1] and parents[0].named else []
        # Of two names the one that is told less often is the likelier to be misspelt.
        told = {name: len(animals.pairings_of(name)) + _entries(animals.find(name)) for name in (a, b)}
        right, wrong = sorted(
            (a, b), key=lambda name: (name not in animals.cards, _bare(name) != name, -told[name], name)
        )
        named = like == SAME_NAME and wrong not in animals.cards and with_card[_bare(right)] == 1
        yield Twins(wrong, right, tuple(why), named and right in animals.cards)


def _entries(card: Card | None) -> int:
    return len(card.entries) if card else 0


def _bare(name: str) -> str:
    labelled = _LABELLED.fullmatch(name)
    return labelled[1] if labelled else name


def _candidates(names: Sequence[str], dates: Mapping[str, set[tuple[str, str]]]) -> dict[tuple[str, str], str]:
    """Return the pairs that are worth a look, and what their names say: alike, the same, or ''."""
    of: dict[str, list[str]] = {}
    for name in names:
        of.setdefault(_bare(name), []).append(name)
    found: dict[tuple[str, str], str] = {}
    for own in _grouped(dates).values():
        found |= dict.fromkeys(combinations(sorted(own), 2), "")
    near = Alike(sorted(of))
    for word, own in of.items():
        for other in near.to(word):
            found |= {(min(a, b), max(a, b)): "names that are alike" for a in own for b in of[other]}
        found |= dict.fromkeys(combinations(sorted(own), 2), SAME_NAME)
    return found


def _grouped(dates: Mapping[str, set[tuple[str, str]]]) -> dict[tuple[str, str], list[str]]:
    of: dict[tuple[str, str], list[str]] = {}
    for name, told in dates.items():
        for one in told:
            of.setdefault(one, []).append(name)
    return of


def _dates(one: Card | None) -> set[tuple[str, str]]:
    told = one.all("moult", "sac", "born") if one else []
    return {(entry.kind, entry.on.text) for entry in told if entry.on.exact}


def _may_be_one(animals: Animals, a: str, b: str) -> bool:
    if {animals.sex_of(a), animals.sex_of(b)} == {"male", "female"}:
        return False
    species = [animals.species_of(name) for name in (a, b)]
    if all(species) and not animals.synonyms.same(*species):
        return False
    cards = [animals.find(name) for name in (a, b)]
    for kind in ("born", "died"):
        told = [card.last(kind) if card else None for card in cards]
        if told[0] and told[1] and _differ(animals, kind, told[0], told[1]):
            return False
    return not any(b in (met.male, met.female) for met in animals.pairings_of(a))
