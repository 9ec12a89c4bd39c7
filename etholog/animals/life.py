"""An animal's life in plain words: its card, and the pairings that sessions know of."""

from collections.abc import Iterator

from etholog.animals import naming
from etholog.animals.attempts import attempts
from etholog.animals.card import FACTS, KINDS, Entry
from etholog.animals.custody import Custody, custody
from etholog.animals.herd import Animals, Pairing
from etholog.base.text import percent
from etholog.session import closing
from etholog.session.evidence import Evidence

Section = tuple[str, list[str]]  # of a page: a heading, and its lines


def title(animals: Animals, name: str) -> str:
    """Return who it is, on one line."""
    who = animals.id_of(name)
    parts = [who, animals.sex_of(name), animals.species_of(name) or "species not on record"]
    if died := animals.died(name):
        parts.append(f"died {died.text}")
    return ", ".join(parts)


def facts(animals: Animals, name: str) -> Iterator[str]:
    """Yield what stays: earlier names, parents, place."""
    card = animals.find(name)
    if card and len(card.names) > 1:
        yield f"before: {', '.join(one for one in card.names if one != card.id)}"
    for kind in ("bought_as", "family", "form", "dam", "sire", "moved", "shares"):
        if card and (told := card.told_last(kind)):
            chances = animals.possible(told.words) if kind in ("dam", "sire") else ()
            shown = animals.id_of(chances[0][0]) if len(chances) == 1 and chances[0][0] else told.words
            if len(chances) > 1:
                shown = (
                    ", ".join(f"{who or 'unknown'} ({percent(chance)})" for who, chance in chances) + ": one of these"
                )
            yield f"{KINDS[kind].label.removesuffix(' to')}: {shown}{'' if told.sure else ' (unsure)'}"
    if hurt := animals.not_whole(name):
        yield f"not whole: since {hurt.on.text} with {hurt.female}, as answered"
    where = custody(card)
    if where != Custody():
        yield where.words


def events(animals: Animals, name: str) -> Iterator[tuple[str, str, str]]:
    """Yield (date, what, where it is written) for all that happened, by date."""
    card = animals.find(name)
    told: list[Entry | Pairing] = [entry for entry in (card.entries if card else ()) if entry.kind not in FACTS]
    told = [entry for entry in told if isinstance(entry, Pairing) or entry.kind != "paired"]
    for what in sorted([*told, *animals.pairings_of(name)], key=lambda what: what.on.first):
        if isinstance(what, Pairing):
            mate = what.mate_of(animals.id_of(name))
            how = f": {what.evidence.words}" if what.evidence != Evidence.UNWATCHED else ""
            ended = "".join(f"; {told}" for told in answered(what))
            yield what.on.text, f"paired with {mate}{how}{ended}", what.file.name if what.file else "card"
        else:
            yield what.on.text, what.said + (f": {what.note}" if what.note else ""), f"#{naming.label(what)}"


def answered(met: Pairing) -> Iterator[str]:
    """Yield what the keeper answered at a pairing's end."""
    yield from met.came_of_it
    if met.male_whole is False:
        yield "he was not whole"
    if met.female_after:
        yield f"she was {met.female_after}"
    if met.wish == closing.NEVER:
        yield "never again"


def lines(animals: Animals, name: str) -> Iterator[str]:
    """Yield the whole card, line by line."""
    yield title(animals, name)
    for fact in facts(animals, name):
        yield f"  {fact}"
    for on, what, where in events(animals, name):
        yield f"  {on:<10}  {what}  [{where}]"
    if animals.sex_of(name) == "female":
        for one in attempts(animals, name):
            if one.sac and one.sac_alone:
                yield f"  sac {one.sac.on.text}: rests on {one.rests_on}"
            if one.lot.words:
                yield f"  young of the sac of {one.sac.on.text if one.sac else '?'}: {one.lot.words}"
            if (sums := one.lot.closing) and sums.alive != sums.began:
                yield f"  {sums.words}"
            for doubt in one.doubts:
                yield f"  ? {doubt}"
