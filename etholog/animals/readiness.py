"""What speaks for and against putting two animals together: facts, each with its date. The keeper decides."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from statistics import mean, stdev
from typing import Literal

from etholog.animals.attempts import Attempt, attempts, by_female
from etholog.animals.card import Entry
from etholog.animals.care import window
from etholog.animals.herd import Animals, Pairing
from etholog.animals.pedigree import common, kinship
from etholog.base.dates import Day, between
from etholog.ethogram import Ethogram
from etholog.session.endings import ATTACKED, KILLED
from etholog.session.evidence import Evidence

Side = Literal["for", "against", "unknown", "note"]

HARDENED_DAYS = 28
NEAR_MOULT_DAYS = 60
HUNGRY_DAYS = 21
# Adults of many species moult every 12 to 18 months (common practice, no source).
USUAL_INTERMOULT = (365, 548)


@dataclass(frozen=True)
class Fact:
    """One thing known, or known to be unknown, and which way it speaks."""

    side: Side
    text: str


def facts(male: str, female: str, animals: Animals, known: Sequence[Ethogram], today: date) -> list[Fact]:
    """Return all that cards and sessions say about pairing these two today."""
    now = Day.of(today)
    return [
        *_alive(male, female, animals),
        *_species(male, female, animals),
        *_kin(male, female, animals),
        *_his(male, animals, known, now),
        *hers(female, animals, now),
        *_together(male, female, animals),
    ]


def _ago(then: Day, now: Day) -> str:
    if then.first == then.last == now.first:
        return f"today ({then.text})"
    return f"{between(then.days_until(now))} ago ({then.text})"


def _alive(male: str, female: str, animals: Animals) -> Iterator[Fact]:
    for name, sex in ((male, "male"), (female, "female")):
        card = animals.find(name)
        if card is None:
            yield Fact("unknown", f"{name} has no card: nothing is known but sessions")
        if died := animals.died(name):
            yield Fact("against", f"{name} died on {died.text}")
        told = animals.sex_of(name)
        if told != sex:
            side: Side = "unknown" if told == "unknown" else "against"
            yield Fact(side, f"{name} is told as {told}, not as {sex}")


def _species(male: str, female: str, animals: Animals) -> Iterator[Fact]:
    his, her = animals.species_of(male), animals.species_of(female)
    if not his or not her:
        missing = " and ".join(name for name, species in ((male, his), (female, her)) if not species)
        yield Fact("unknown", f"species of {missing} not on record: hybrids can't be ruled out")
    elif his == her:
        yield Fact("for", f"one species: {his}")
    else:
        yield Fact("against", f"two species: {his} and {her}")


def _kin(male: str, female: str, animals: Animals) -> Iterator[Fact]:
    him, her = animals.id_of(male), animals.id_of(female)
    parents = animals.parents
    shared = kinship(him, her, parents)
    if shared > 0:
        through = ", ".join(sorted(common(him, her, parents)))
        yield Fact("against", f"kin through {through}: kinship {shared:g}, which would be their young's inbreeding")
    unknown = [n for n in (him, her) if n not in parents or len(parents[n].known) < 2]
    if unknown:
        yield Fact("unknown", f"dam or sire of {' and '.join(unknown)} not known: they may be kin")
    elif shared == 0:
        yield Fact("for", "no ancestor in common as far as the cards go")


def _his(male: str, animals: Animals, known: Sequence[Ethogram], now: Day) -> Iterator[Fact]:
    card = animals.find(male)
    met = [pairing for pairing in animals.pairings_of(male) if pairing.male == animals.id_of(male)]
    if card is not None:
        moult = card.last_moult
        low, high = window(animals.species_of(male), animals, known).care.prime
        if moult is None:
            yield Fact("unknown", f"{card.id}: no last moult on his card: is he mature?")
        else:
            days = moult.on.days_until(now)
            inside = days[0] >= low and days[1] <= high
            told = "" if inside else f"; most pair from {low} to {high} days after it (common practice, no source)"
            yield Fact("for" if inside else "against", f"{card.id}: last moult {_ago(moult.on, now)}{told}")
        yield from _charge(card.id, card.all("sperm_web"), met, now)
        yield from _fed(card.id, card.last("meal"), now)
    if met:
        yield Fact("note", f"{met[-1].male}: last session {_ago(met[-1].on, now)}, {len(met)} in all")
    else:
        yield Fact("note", f"{animals.id_of(male)}: no session yet")


def _charge(who: str, webs: Sequence[Entry], met: Sequence[Pairing], now: Day) -> Iterator[Fact]:
    spent = [pairing for pairing in met if pairing.evidence >= Evidence.INSERTION]
    if not webs:
        yield Fact("unknown", f"{who}: no sperm web seen: is he charged? Males tear old webs down, so it says little")
    elif spent and not spent[-1].on.before(webs[-1].on):
        yield Fact("unknown", f"{who}: no sperm web seen since he inserted on {spent[-1].on.text}")
    else:
        yield Fact("for", f"{who}: sperm web {_ago(webs[-1].on, now)}")


def _fed(who: str, meal: Entry | None, now: Day) -> Iterator[Fact]:
    if meal is None:
        yield Fact("unknown", f"{who}: no meal on the card")
        return
    hungry = meal.on.days_until(now)[0] > HUNGRY_DAYS or meal.words == "refused"
    yield Fact(
        "against" if hungry else "for", f"{who}: last meal {meal.words or ''} {_ago(meal.on, now)}".replace("  ", " ")
    )


def hers(female: str, animals: Animals, now: Day) -> Iterator[Fact]:
    """Yield what is known of a female alone: moults and how near the next may be, meals, pairings, sacs."""
    card, who = animals.find(female), animals.id_of(female)
    if card is not None:
        yield from _moults(who, [entry.on for entry in card.all("moult")], now)
        yield from _fed(who, card.last("meal"), now)
    tries = attempts(animals, female)
    now_open = tries[-1] if tries else None
    moults = card.all("moult") if card else []
    if now_open and (now_open.end != "moult") and not (moults and _ended_before(now_open, moults[-1].on)):
        yield from _this_intermoult(who, now_open)
    else:
        yield Fact("note", f"{who}: no pairing in this intermoult")


def _ended_before(one: Attempt, moult: Day) -> bool:
    last = one.pairings[-1].on if one.pairings else one.sac.on if one.sac else moult
    return last.before(moult)


def _moults(who: str, moults: Sequence[Day], now: Day) -> Iterator[Fact]:
    if not moults:
        yield Fact("unknown", f"{who}: no moult on her card: she may moult soon, and a moult undoes a pairing")
        return
    since = moults[-1].days_until(now)
    if since[0] < HARDENED_DAYS:
        yield Fact("against", f"{who}: moulted {_ago(moults[-1], now)}: she may not have hardened and fed yet")
    spans = [a.days_until(b) for a, b in pairwise(moults)]
    if len(spans) >= 2:
        middles = [sum(span) / 2 for span in spans]
        low, high = min(span[0] for span in spans), max(span[1] for span in spans)
        basis = f"her own {len(spans)} intermoults of {mean(middles):.0f} days (sd {stdev(middles):.0f})"
    else:
        low, high = USUAL_INTERMOULT
        basis = f"12 to 18 months as in many adults (common practice, no source); her own known: {len(spans)}"
    left = (low - since[1], high - since[0])
    near = left[0] < NEAR_MOULT_DAYS
    when = f"in {between(left)}" if left[0] > 0 else f"any day now, or within {max(0, left[1])} days"
    yield Fact(
        "against" if near else "for", f"{who}: moulted {_ago(moults[-1], now)}; the next may come {when}, by {basis}"
    )


def _this_intermoult(who: str, one: Attempt) -> Iterator[Fact]:
    for pairing in one.pairings:
        ended = f"; {pairing.ended}" if pairing.ended else ""
        yield Fact("note", f"{who}: paired {pairing.on.text} with {pairing.male}: {pairing.evidence.words}{ended}")
    if one.sac and one.guarding:
        yield Fact("against", f"{who}: guards a sac since {one.sac.on.text}")
    for kind, entry in (("eaten", one.eaten), ("pulled", one.pulled), ("opened", one.opened)):
        if entry:
            yield Fact("note", f"{who}: sac {kind} on {entry.on.text}")
    for doubt in one.doubts:
        yield Fact("note", f"{who}: {doubt}")


def _together(male: str, female: str, animals: Animals) -> Iterator[Fact]:
    him, her = animals.id_of(male), animals.id_of(female)
    tries = attempts(animals, female)
    if tries and not tries[-1].moult:
        others = [name for name in tries[-1].sires if name != him]
        if others:
            yield Fact("against", f"{' and '.join(others)} before him in this intermoult: nobody will know the sire")
    met = [pairing for pairing in animals.pairings_of(her) if pairing.male == him]
    if met:
        ended = f", {met[-1].ended}" if met[-1].ended else ""
        yield Fact(
            "note", f"these two have met {len(met)} time{'s' if len(met) > 1 else ''}, last on {met[-1].on.text}{ended}"
        )


def second_introductions(animals: Animals, genus: str) -> list[bool]:
    """Return, for each introduction after one that may have taken in the same intermoult, whether she attacked."""
    found = []
    for name, own in by_female(animals).items():
        if animals.species_of(name).split(" ")[0] != genus:
            continue
        for one in own:
            for before, after in pairwise(one.pairings):
                if before.may_have_taken and after.ended:
                    found.append(after.ended in (ATTACKED, KILLED))
    return found
