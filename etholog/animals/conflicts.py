"""What several keepers say of one animal and can't both be so; and which animals of theirs may be one.

Nothing is decided here: both values are shown with who said them, and two are joined by a person's word alone.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from etholog.animals.card import KINDS, Card, Entry
from etholog.animals.herd import Animals
from etholog.animals.naming import Alike, label
from etholog.base.refusal import Finding

ONCE = ("sex", "species", "form", "family", "dam", "sire", "born", "died")  # there is one true value of each
EVENTS = ("moult", "sac")
NEAR_DAYS = 14  # two keepers' dates of one event may differ by so much (our own choice)
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
        remedy = f"write what is right: etholog card {_quoted(one.id)} {kind} ..."
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
            remedy = f"if it is one, take the wrong date back: etholog card {_quoted(one.id)} undo NUMBER"
            yield Finding(what, remedy, one.path)


def _said(entry: Entry) -> str:
    return f"{entry.words or entry.on.text} ({entry.by}, #{label(entry)})"


def twins(animals: Animals, known_by: Mapping[str, set[str]]) -> Iterator[Finding]:
    """Yield the animals of different sources that may be one, with what speaks for it. `known_by`: the sources that
    know each name; two that one keeper knows are two."""
    by: dict[str, set[str]] = {}
    for name, sources in known_by.items():
        by.setdefault(animals.id_of(name), set()).update(sources)
    names = sorted(by)
    dates = {name: _dates(animals.find(name)) for name in names}
    for (a, b), like in sorted(_candidates(names, dates).items()):
        if by[a] & by[b] or not _may_be_one(animals, a, b):
            continue
        why = [like] if like else []
        why += [f"{KINDS[kind].label} {on} on both cards" for kind, on in sorted(dates[a] & dates[b])]
        parents = [animals.parents.get(name) for name in (a, b)]
        why += ["the same parents"] if parents[0] and parents[0] == parents[1] and parents[0].named else []
        wrong, right = sorted((a, b), key=lambda name: (name not in animals.cards, len(name)), reverse=True)
        remedy = f"if so: etholog card {_quoted(wrong)} renamed {_quoted(right)} (`undo` takes it back)"
        yield Finding(f"{a} and {b} may be one animal: {', '.join(why)}", remedy)


def _candidates(names: Sequence[str], dates: Mapping[str, set[tuple[str, str]]]) -> dict[tuple[str, str], str]:
    """Return the pairs that are worth a look, and what their names say: alike, the same, or ''."""
    plain = {name: bare[1] if (bare := _LABELLED.fullmatch(name)) else name for name in names}
    of: dict[str, list[str]] = {}
    for name in names:
        of.setdefault(plain[name], []).append(name)
    found: dict[tuple[str, str], str] = {}
    for own in _grouped(dates).values():
        found |= dict.fromkeys(combinations(sorted(own), 2), "")
    near = Alike(sorted(of))
    for word, own in of.items():
        for other in near.to(word):
            found |= {(min(a, b), max(a, b)): "names that are alike" for a in own for b in of[other]}
        found |= dict.fromkeys(combinations(sorted(own), 2), "the same name")
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
    return not any(b in (met.male, met.female) for met in animals.pairings_of(a))


def _quoted(name: str) -> str:
    return name if re.fullmatch(r"[\w.-]+", name) else f"'{name}'"
