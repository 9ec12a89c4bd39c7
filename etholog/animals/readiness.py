"""What speaks for and against putting two animals together: facts, each with its date. The keeper decides."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date
from itertools import pairwise
from statistics import mean
from typing import Literal, NamedTuple

from etholog.animals.attempts import Attempt, attempts, by_female, standing_wish
from etholog.animals.card import KINDS, Card
from etholog.animals.care import Window, window
from etholog.animals.cautions import cautions, poison_centre
from etholog.animals.custody import custody
from etholog.animals.groups import Group
from etholog.animals.growing import grown
from etholog.animals.herd import Animals, Pairing, called
from etholog.animals.moults import OWN_INTERMOULTS, hardened_on, next_moult, refused_near_moult
from etholog.animals.pedigree import UNKNOWN, Parents, ancestors, back, common, generations, kinship
from etholog.base.dates import Day, between
from etholog.base.text import many
from etholog.ethogram import Ethogram
from etholog.session import closing
from etholog.session.endings import ATTACKED, KILLED

Side = Literal["for", "against", "unknown", "note"]

HUNGRY_DAYS = 21  # where the window of its group does not say how often it is fed


class Fact(NamedTuple):
    """One thing known, or known to be unknown, and which way it speaks."""

    side: Side
    text: str


def facts(male: str, female: str, animals: Animals, known: Sequence[Ethogram], today: date) -> list[Fact]:
    """Return all that cards and sessions say about pairing these two today."""
    now = Day.of(today)
    return [
        *_alive({male: "male", female: "female"}, animals),
        *_at_hand((male, female), animals),
        *_species(male, female, animals),
        *_kin(male, female, animals),
        *_his(male, animals, known, now),
        *hers(female, animals, known, now),
        *_together(male, female, animals),
    ]


def once_more(female: str, animals: Animals, known: Sequence[Ethogram], today: date) -> list[Fact]:
    """Return what is known of a female alone: what speaks for pairing her once more today."""
    hers_ = hers(female, animals, known, Day.of(today))
    return [*_alive({female: "female"}, animals), *_at_hand((female,), animals), *hers_]


def _ago(then: Day, now: Day) -> str:
    if then.first == then.last == now.first:
        return f"today ({then.text})"
    return f"{between(then.days_until(now))} ago ({then.text})"


def _alive(expected: Mapping[str, str], animals: Animals) -> Iterator[Fact]:
    for name, sex in expected.items():
        card = animals.find(name)
        if card is None:
            yield Fact("unknown", f"{name} has no card: nothing is known but sessions")
        if died := animals.died(name):
            yield Fact("against", f"{name} died on {died.text}")
        told = animals.sex_of(name)
        if told != sex:
            side: Side = "unknown" if told == "unknown" else "against"
            known = "does not say which sex" if told == "unknown" else f"says {told}, not {sex}"
            yield Fact(side, f"the card of {name} {known}")


def _at_hand(names: Iterable[str], animals: Animals) -> Iterator[Fact]:
    for name in names:
        where = custody(animals.find(name))
        if where.where != "here":
            yield Fact("against" if where.gone else "note", f"{animals.id_of(name)}: {where.words}")


def _species(male: str, female: str, animals: Animals) -> Iterator[Fact]:
    his, her = animals.species_of(male), animals.species_of(female)
    if not his or not her:
        missing = " and ".join(name for name, species in ((male, his), (female, her)) if not species)
        yield Fact("unknown", f"species of {missing} not on record: hybrids can't be ruled out")
    elif animals.synonyms.same(his, her):
        forms = [card.fact("form") for card in (animals.find(male), animals.find(female)) if card]
        told = [form for form in forms if form]
        if len(told) == 2 and told[0].casefold() != told[1].casefold():
            yield Fact("against", f"one species, two localities or forms: {told[0]} and {told[1]}")
        elif len(told) == 1:
            yield Fact("unknown", f"one species; {told[0]} is on one card alone: are they of one form?")
        other = "" if his.casefold() == her.casefold() else f", by another name {her}"
        yield Fact("for", f"one species: {his}{other}")
    else:
        yield Fact("against", f"two species: {his} and {her}")


def _kin(male: str, female: str, animals: Animals) -> Iterator[Fact]:
    him, her = animals.id_of(male), animals.id_of(female)
    parents = animals.parents
    shared = kinship(him, her, parents)
    lines = [(name, generations(name, parents)) for name in (him, her)]
    depth = min(known for _, known in lines)
    if shared.high > 0:
        through = ", ".join(sorted(common(him, her, parents)))
        size = f"{shared.expected:g}"
        if shared.low < shared.high:
            size = f"{shared.low:g} to {shared.high:g}, {shared.expected:g} expected (one of several parents each)"
        least = " or more, as not all ancestors are known" if not _lines_known(him, her, parents) else ""
        doubt = _unsure(him, her, parents, ancestors(him, parents) & ancestors(her, parents))
        may = "kin" if shared.low > 0 else "perhaps kin"
        yield Fact(
            "against",
            f"{may} through {through}: kinship {size}{least}, which would be their young's inbreeding{doubt}",
        )
    if depth == 0:
        unknown = [
            f"{' and '.join(parents.get(name, UNKNOWN).missing)} of {name}" for name, known in lines if known == 0
        ]
        yield Fact("unknown", f"{', '.join(unknown)} not known: they may be kin")
    elif shared.high == 0:
        doubt = _unsure(him, her, parents)
        yield Fact(
            "for", f"no ancestor in common among their {back(depth)}; who came before is not known of both{doubt}"
        )


def _lines_known(him: str, her: str, parents: Mapping[str, Parents]) -> bool:
    """Whether each animal of the two lines below the ancestors that they share has both parents known."""
    shared = ancestors(him, parents) & ancestors(her, parents)
    line = (ancestors(him, parents) | ancestors(her, parents)) - shared
    return not any(parents.get(name, UNKNOWN).missing for name in line)


def _unsure(him: str, her: str, parents: Mapping[str, Parents], through: Collection[str] | None = None) -> str:
    """Return on which parents that are marked unsure it rests, in words; `through`: only those that lead to these."""
    found = []
    for name in sorted(ancestors(him, parents) | ancestors(her, parents)):
        up = parents.get(name, UNKNOWN)
        for side, chances in (("dam", up.dam), ("sire", up.sire)):
            leads = through is None or any(not ancestors(who, parents).isdisjoint(through) for who, _ in chances)
            if side in up.unsure and leads:
                found.append(f"the {side} of {name}")
    return f"; it rests on {' and '.join(found)}, marked unsure" if found else ""


def _his(male: str, animals: Animals, known: Sequence[Ethogram], now: Day) -> Iterator[Fact]:
    card = animals.find(male)
    met = [pairing for pairing in animals.pairings_of(male) if pairing.male == animals.id_of(male)]
    if card is not None:
        moult = card.last_moult
        mine = window(male, animals, known)
        if moult is None:
            yield Fact("unknown", f"{card.id}: no last moult on his card: is he mature?")
        elif mine is None:
            yield Fact(
                "unknown", f"{card.id}: last moult {_ago(moult.on, now)}; how long his kind can pair is not known"
            )
        else:
            low, high = mine.care.prime
            days = moult.on.days_until(now)
            inside = days[0] >= low and days[1] <= high
            told = "" if inside else f"; most pair from {low} to {high} days after it ({mine.care.source})"
            yield Fact("for" if inside else "against", f"{card.id}: last moult {_ago(moult.on, now)}{told}")
        yield from _charge(card, animals, now)
        yield from _fed(card, animals, mine, now)
        yield from _measured(card, now)
    if hurt := animals.not_whole(male):
        yield Fact("against", f"{hurt.male}: not whole since {hurt.on.text} with {hurt.female}, as you answered")
    if met:
        yield Fact("note", f"{met[-1].male}: last pairing {_ago(met[-1].on, now)}, {len(met)} in all")
    else:
        yield Fact("note", f"{animals.id_of(male)}: no pairing yet")


def _charge(card: Card, animals: Animals, now: Day) -> Iterator[Fact]:
    who, web = card.id, card.last("sperm_web")
    if web is None:
        yield Fact("unknown", f"{who}: no sperm web seen: is he charged? Males tear old webs down, so it says little")
    elif since := animals.uncharged(who):
        yield Fact("unknown", f"{who}: {since}")
    else:
        yield Fact("for", f"{who}: sperm web {_ago(web.on, now)}")


def _fed(card: Card, animals: Animals, mine: Window | None, now: Day) -> Iterator[Fact]:
    meal = card.last("meal")
    if meal is None:
        yield Fact("unknown", f"{card.id}: no meal on the card")
        return
    last = f"{card.id}: last meal {meal.words or ''} {_ago(meal.on, now)}".replace("  ", " ")
    against: Side = "note" if card.is_mature_male else "against"  # of him it says nothing
    if meal.words == "refused":
        yield Fact(against, last + (": a moult may be near" if refused_near_moult(card, animals) else ""))
        return
    hungry = meal.on.days_until(now)[0] > (mine.care.meal[1] if mine else HUNGRY_DAYS)
    yield Fact(against if hungry else "for", last)


def _measured(card: Card, now: Day) -> Iterator[Fact]:
    """Weight and leg span as they were measured last; and the weight since the last moult."""
    said = []
    for kind, unit in (("weight", "g"), ("size", "mm")):
        entry = card.last(kind)
        if entry and entry.number is not None:
            doubt = "" if entry.sure else ", unsure"
            said.append(f"{KINDS[kind].label} {entry.number:g} {unit} {_ago(entry.on, now)}{doubt}")
    moult, weights = card.last("moult"), card.all("weight")
    since = [entry for entry in weights if moult is None or not entry.on.before(moult.on)]
    if len(since) > 1 and since[0].number and since[-1].number:
        change = since[-1].number - since[0].number
        said.append(f"{change:+g} g since {since[0].on.text}")
    if said:
        yield Fact("note", f"{card.id}: {'; '.join(said)}")


def _adult(card: Card, tries: Sequence[Attempt], animals: Animals, now: Day) -> Iterator[Fact]:
    """What says that she is adult, or growing yet; else her age, size, and the moults that are known."""
    who, told = card.id, grown(card.id, animals, tries, now.first)
    if told.adult or told.growing:
        yield Fact("for" if told.adult else "against", f"{who}: {told.adult or told.growing}")
        return
    born, size, moults = card.last("born"), card.last("size"), card.all("moult")
    known = [
        f"age {_age(born.on.days_until(now))}" if born else "age not known",
        f"leg span {size.number:g} mm" if size else "no size on the card",
        f"{many(len(moults), 'moult')} on the card",
    ]
    yield Fact("unknown", f"{who}: is she adult? No sac is known; {', '.join(known)}")


def hers(female: str, animals: Animals, known: Sequence[Ethogram], now: Day) -> Iterator[Fact]:
    """Yield what is known of a female alone: moults and how near the next may be, meals, pairings, sacs."""
    card, who = animals.find(female), animals.id_of(female)
    tries, group = attempts(animals, female), animals.group_of(female)
    if card is not None:
        yield from _adult(card, tries, animals, now)
        yield from _moults(card, tries, group, now)
        yield from _fed(card, animals, window(female, animals, known), now)
        yield from _measured(card, now)
    told = [pairing for pairing in animals.pairings_of(female) if pairing.female == who and pairing.female_after]
    if told:
        yield Fact("note", f"{who}: {told[-1].female_after} after {told[-1].on.text} with {called(told[-1].male)}")
    now_open = tries[-1] if tries else None
    moults = card.all("moult") if card else []
    if now_open and (now_open.end != "moult") and not (moults and _ended_before(now_open, moults[-1].on)):
        yield from _this_intermoult(who, now_open)
    else:
        yield Fact("note", f"{who}: no pairing in this intermoult")


def _ended_before(one: Attempt, moult: Day) -> bool:
    last = one.pairings[-1].on if one.pairings else one.sac.on if one.sac else moult
    return last.before(moult)


def _moults(card: Card, tries: Sequence[Attempt], group: Group, now: Day) -> Iterator[Fact]:
    who, moults = card.id, [entry.on for entry in card.all("moult")]
    if card.last_moult:
        yield Fact("note", f"{who}: told as her last moult: {_ago(card.last_moult.on, now)}")
        return
    if group.females_moult is False:
        told = f"; last moult {_ago(moults[-1], now)}" if moults else ""
        yield Fact("note", f"{who}: mature females of {group.family} moult no more, as a rule{told}")
        return
    if not moults:
        yield Fact("unknown", f"{who}: no moult on her card: she may moult soon, and a moult undoes a pairing")
        return
    hardened = hardened_on(card, group)
    if hardened and now.first < hardened:
        yield Fact("against", f"{who}: moulted {_ago(moults[-1], now)}: she may not have hardened and fed yet")
    after = next_moult(card)
    left = ((after.soonest - now.last).days, (after.latest - now.first).days)
    near = now.last > after.near_from
    if not near and group.females_moult is None and len(moults) <= OWN_INTERMOULTS:
        yield Fact(
            "unknown", f"{who}: moulted {_ago(moults[-1], now)}; when the next may come is not known of her kind"
        )
        return
    when = f"in {between(left)}" if left[0] > 0 else "any day now"
    if left[0] <= 0 < left[1]:
        when += f", or within {many(left[1], 'day')}"
    told = f"{who}: moulted {_ago(moults[-1], now)}; the next may come {when}, by {after.basis}"
    # What is usual of adults speaks for nobody who may be growing yet: those moult far more often.
    growing = not tries and len(moults) <= OWN_INTERMOULTS
    if growing and not near:
        yield Fact("unknown", f"{told}; sooner if she is still growing")
    else:
        yield Fact("against" if near else "for", told)


def _this_intermoult(who: str, one: Attempt) -> Iterator[Fact]:
    for pairing in (*one.stored, *one.pairings):
        then = "".join(f"; {said}" for said in pairing.came_of_it)
        yield Fact(
            "note", f"{who}: paired {pairing.on.text} with {called(pairing.male)}: {pairing.evidence.words}{then}"
        )
    if one.sac and one.guarding:
        yield Fact("against", f"{who}: guards a sac since {one.sac.on.text}")
    if one.sac:
        yield Fact("note", f"{who}: sac {one.sac.on.text}, which rests on {one.rests_on}")
    if one.lot.words:
        yield Fact("note", f"{who}: counted: {one.lot.words}")
    for kind, entry in (("eaten", one.eaten), ("pulled", one.pulled), ("opened", one.opened)):
        if entry:
            yield Fact("note", f"{who}: sac {kind} on {entry.on.text}")
    for doubt in one.doubts:
        yield Fact("note", f"{who}: {doubt}")


def _age(days: tuple[int, int]) -> str:
    return between(days) if days[1] < 730 else f"about {mean(days) / 365.25:.1f} years"


def _together(male: str, female: str, animals: Animals) -> Iterator[Fact]:
    him, her = animals.id_of(male), animals.id_of(female)
    tries = attempts(animals, female)
    if tries and not tries[-1].moult:
        others = [called(name) for name in tries[-1].sires if name != him]
        if others:
            yield Fact("against", f"{' and '.join(others)} before him in this intermoult: nobody will know the sire")
    met = [pairing for pairing in animals.pairings_of(her) if pairing.male == him]
    if met:
        ended = "".join(f", {said}" for said in met[-1].came_of_it)
        yield Fact("note", f"these two have met {many(len(met), 'time')}, last on {met[-1].on.text}{ended}")
        if wish := standing_wish(animals, him, her, tries):
            yield from _wished(wish)


def _wished(last: Pairing) -> Iterator[Fact]:
    """What the keeper answered after a pairing of these two: shall they meet again?"""
    if last.turned_down:
        how = "never" if last.wish == closing.NEVER else "not"
        yield Fact("against", f"{how} again, you answered after {last.on.text}")
    elif last.wished_on:
        yield Fact("note", f"again on {last.wished_on.text}, you answered after {last.on.text}")


def second_introductions(animals: Animals, genus: str) -> list[bool]:
    """Return, for each introduction after one that may have taken in the same intermoult, whether she attacked."""
    found = []
    for name, own in by_female(animals).items():
        if not genus or animals.genus_of(name) != genus:
            continue
        for one in own:
            for before, after in pairwise(one.pairings):
                if before.may_have_taken and after.ended:
                    found.append(after.ended in (ATTACKED, KILLED))
    return found


def beware(names: Iterable[str], animals: Animals) -> list[str]:
    """Return the cautions that follow these animals, and the keeper's own line for the poison centre."""
    found = dict[str, None]()
    for name in names:
        card = animals.find(name)
        family = card.fact("family") if card else ""
        found |= dict.fromkeys(cautions([(animals.species_of(name), family)], animals.ethogram_of(name)))
    return [*found, *filter(None, [poison_centre(animals.folder)])]
