"""What to tell the lender of an animal: what became of it, with whom, and what came of it."""

from collections.abc import Iterator

from etholog.animals.attempts import Attempt, by_female
from etholog.animals.card import KINDS, Entry
from etholog.animals.custody import custody, shares
from etholog.animals.herd import Animals, Pairing
from etholog.animals.life import Section, answered, title
from etholog.base.refusal import Refusal
from etholog.base.text import percent

TOLD = ("moult", "sperm_web", "weight", "size", "lent", "borrowed", "returned", "sold", "given", "died")


def sections(animals: Animals, name: str) -> list[Section]:
    """Return a page for the lender: headings, each with its lines. Raises Refusal for an animal that was never on loan
    and is not lent."""
    who = animals.id_of(name)
    card = animals.find(name)
    loan = card.last("borrowed", "lent") if card else None
    if card is None or loan is None:
        raise Refusal(f'{who} was never on loan; write it first: etholog card {who} borrowed "Anna until 2026-09-01"')
    said = [f"{KINDS[loan.kind].label} {loan.words}, since {loan.on.text}"]
    now = custody(card)
    if now.since and (now.since != loan.on or now.keeper):
        said.append(f"now: {now.words}")
    if agreed := shares(card.fact("shares")):
        said.append("agreed on the young: " + ", ".join(f"{one} {percent(part)}" for one, part in agreed.items()))
    became = [_line(entry) for entry in card.all(*TOLD) if not entry.on.before(loan.on) and entry is not loan]
    met = [pairing for pairing in animals.pairings_of(who) if not pairing.on.before(loan.on)]
    return [
        (title(animals, who), said),
        ("What became of it", became or ["nothing is on the card since then"]),
        ("With whom", [_met(pairing, who) for pairing in met] or ["no pairing since then"]),
        ("What came of it", [*_came(animals, who, met)] or ["nothing so far"]),
    ]


def _line(entry: Entry) -> str:
    return f"{entry.on.text}  {entry.said}"


def _met(pairing: Pairing, who: str) -> str:
    told = "; ".join([pairing.evidence.words, *answered(pairing)])
    return f"{pairing.on.text}  {pairing.mate_of(who)}: {told}"


def _came(animals: Animals, who: str, met: list[Pairing]) -> Iterator[str]:
    for own in by_female(animals).values():
        for one in own:
            if any(pairing in met for pairing in (*one.pairings, *one.stored)):
                yield from _attempt(one, who)


def _attempt(one: Attempt, who: str) -> Iterator[str]:
    if one.sac is None:
        waits = {"open": "no sac yet", "moult": "she moulted first", "died": "she died first", "sac": ""}[one.end]
        yield f"{one.female}: {waits}, {one.ended_on.text}" if one.ended_on else f"{one.female}: {waits}"
        return
    others = [male for male in one.sires if male != who]
    sire = f"; the sire may be {' or '.join(one.sire_words)}" if others and who in one.sires else ""
    yield f"{one.female}: sac {one.sac.on.text}, which rests on {one.rests_on}{sire}"
    for kind, entry in (("eaten", one.eaten), ("pulled", one.pulled), ("opened", one.opened)):
        if entry:
            yield f"{one.female}: sac {kind} {entry.on.text}"
    if one.lot.words:
        yield f"{one.female}: {one.lot.words}"
