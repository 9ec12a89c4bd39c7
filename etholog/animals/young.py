"""The page of one lot: the young of one sac, whose they are, how many there are, and where they went."""

from collections.abc import Iterator, Sequence
from datetime import date

from etholog.animals import care
from etholog.animals.attempts import Attempt, attempts
from etholog.animals.card import Entry
from etholog.animals.custody import shares
from etholog.animals.herd import Animals
from etholog.animals.life import Section
from etholog.animals.lot import parted
from etholog.animals.naming import quoted
from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.ethogram import Ethogram

_TASKS = ("incubator", "free", "count", "young", "pull", "orphan")


def lot(animals: Animals, name: str, sac: str = "") -> Attempt:
    """Return the attempt whose sac is meant: the one of that date, else the last. Raises Refusal where there is
    none."""
    laid = [one for one in attempts(animals, name) if one.sac]
    if not laid:
        who = animals.id_of(name)
        if animals.sex_of(name) == "male":
            raise Refusal(f"{who} is a male: a lot is the young of a female's sac; name her")
        raise Refusal(f"no sac of {who} is on record; write it first: etholog card {quoted(who)} sac --on DATE")
    if not sac:
        return laid[-1]
    fit = [one for one in laid if one.sac and one.sac.on.text == sac]
    if not fit:
        known = ", ".join(one.sac.on.text for one in laid if one.sac)
        raise Refusal(f"no sac of {animals.id_of(name)} on {sac}; there are those of {known}")
    return fit[0]


def sections(
    animals: Animals, of: Attempt, known: Sequence[Ethogram], today: date, people: bool = True
) -> list[Section]:
    """Return a lot's page: headings, each with its lines. `people`: name those with whom young were placed, and those
    who have a share."""
    sums = of.lot.closing
    return [
        (f"Lot {of.lot_id}, {animals.species_of(of.female) or 'species not on record'}", [*_parents(of)]),
        ("The sac", [f"{entry.on.text}  {entry.said}" for entry in _sac(of)]),
        (
            "The young",
            [
                *(f"{entry.on.text}  {entry.said}" for entry in of.counts),
                sums.words if sums else "nobody has counted them yet",
            ],
        ),
        ("Whose they are", [*_split(animals, of, people)] or ["nothing is agreed on"]),
        ("Where they went", [*_left(of, people)] or ["nowhere yet"]),
        ("What is due", [*_due(animals, of, known, today)] or ["nothing by the windows"]),
    ]


def _parents(of: Attempt) -> Iterator[str]:
    yield f"dam: {of.female}"
    if len(of.sires) > 1:
        yield f"sire: {' or '.join(of.sire_words)}, nobody knows which"
    else:
        yield f"sire: {of.sire_words[0] if of.sires else 'unknown'}"
    yield f"rests on {of.rests_on}"


def _sac(of: Attempt) -> list[Entry]:
    told = [of.sac, of.eaten, *of.all("pulled"), *of.all("incubated"), *of.all("turned"), *of.all("opened")]
    return sorted((entry for entry in told if entry), key=Entry.in_time)


def _split(animals: Animals, of: Attempt, people: bool) -> Iterator[str]:
    for entry in of.all("split"):
        yield f"{entry.on.text}  {entry.said if people else 'split among keepers'}"
    sums = of.lot.closing
    for owner in (of.female, *of.sires):
        card = animals.find(owner)
        words = card.fact("shares") if card else ""
        agreed = shares(words)
        if not agreed or not people:
            continue
        yield f"agreed for {owner}: {words}"
        if sums and sums.alive > 0 and not of.all("split"):
            parts = ", ".join(f"{who} {n}" for who, n in parted(round(sums.alive), agreed).items())
            several = of.sac and sum(bool(one.sac) for one in attempts(animals, of.female)) > 1
            meant = f" of {of.sac.on.text}" if of.sac and several else ""
            write = f"etholog card {quoted(of.female)} split {parts}{meant}"
            yield f"by that, of {sums.alive:g} alive: {parts}; to agree on it: {write}"


def _left(of: Attempt, people: bool) -> Iterator[str]:
    for one in of.lot.left:
        if one.placed:
            yield f"{one.on.text}  placed {one.number:g}{f' with {one.who}' if one.who and people else ''}"
        else:
            yield f"{one.on.text}  raised: {one.who}, on a card of its own"


def _due(animals: Animals, of: Attempt, known: Sequence[Ethogram], today: date) -> Iterator[str]:
    mine = care.window(of.female, animals, known)
    own = {task.key for task in care.of_sac(of, mine, animals) if task.kind in _TASKS} if mine else set()
    for task in care.due(animals, known, today):
        if task.key in own:
            every = f", every {many(task.every, 'day')}" if task.every else ""
            yield f"{max(task.first, today)} to {task.last}{every}: {task.what} ({task.source})"
