"""What is to be done for the animals, and when: from cards, pairings and the windows of the ethograms."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from etholog.animals.attempts import Attempt, Tries, by_female
from etholog.animals.card import Card
from etholog.animals.herd import Animals, Pairing
from etholog.ethogram import Aftercare, Ethogram
from etholog.session.evidence import Evidence

OWN_SACS = 5  # so many sacs of one's own say more than a shipped window
LOOK_DAYS = 7
INCUBATOR_DAYS = 3
QUIET_CHECK_DAYS = 14
REST_DAYS = 14


@dataclass(frozen=True)
class Task:
    """One thing to do for an animal between two dates, again each `every` days where that is not 0.

    `key` stays the same as long as its cause does, so that a calendar knows it again. `source` says whose the window
    is. `until_done`: it stays due after its last date.
    """

    key: str
    animal: str
    what: str
    first: date
    last: date
    why: str
    source: str
    every: int = 0
    until_done: bool = False


@dataclass(frozen=True)
class Window:
    """The windows for one species, and whose they are."""

    care: Aftercare
    sac: tuple[int, int]
    source: str


def window(species: str, animals: Animals, known: Sequence[Ethogram], tries: Tries | None = None) -> Window:
    """Return the windows for a species: its genus's, else the general ones of the first ethogram that has any; from
    the user's own sacs of that genus once there are enough. `tries`: all attempts, where they are at hand."""
    genus = species.split(" ")[0]
    entries = [entry for kept in known for entry in kept.aftercare]
    named = [entry for entry in entries if genus in entry.genera] or [entry for entry in entries if not entry.genera]
    care = named[0]
    own = own_sac_days(genus, animals, by_female(animals) if tries is None else tries)
    if len(own) >= OWN_SACS:
        return Window(care, (min(own), max(own)), f"your own {len(own)} sacs of {genus}")
    return Window(care, care.sac, care.source)


def own_sac_days(genus: str, animals: Animals, tries: Tries) -> list[int]:
    """Return the days from the last pairing to each sac of the genus, where both dates are known to the day."""
    found = []
    for name, own in tries.items():
        if animals.species_of(name).split(" ")[0] != genus:
            continue
        for one in own:
            if one.sac and one.taken and one.sac.on.exact and one.taken[-1].on.exact and not one.again:
                found.append((one.sac.on.first - one.taken[-1].on.first).days)
    return found


def sac_window(one: Attempt, mine: Window) -> tuple[date, date]:
    """Return the first and the last day on which a sac is expected after the pairings that may have taken."""
    return _in(one.taken[0].on.first, mine.sac[0]), _in(one.taken[-1].on.last, mine.sac[1])


def due(animals: Animals, known: Sequence[Ethogram], today: date) -> list[Task]:
    """Return all that is to be done from today on, by date; what should be done already comes first."""
    windows: dict[str, Window] = {}
    every = by_female(animals)
    found: list[Task] = []
    for name in animals.known():
        card = animals.find(name)
        species = animals.species_of(name)
        if species not in windows:
            windows[species] = window(species, animals, known, every)
        mine = windows[species]
        tries = every.get(name, [])
        if tries:
            found += _brood(tries[-1], mine, animals, card, today)
        if animals.died(name):
            continue
        if animals.sex_of(name) == "male":
            found += _male(name, card, mine, animals)
        if card is not None:
            found += _keeping(card, mine, tries[-1] if tries else None)
    still = [task for task in found if task.until_done or task.last >= today]
    return sorted(still, key=lambda task: (task.first, task.animal, task.key))


def _in(day: date, days: int) -> date:
    return day + timedelta(days=days)


def _brood(one: Attempt, mine: Window, animals: Animals, card: Card | None, today: date) -> Iterator[Task]:
    she, care = one.female, mine.care
    if one.eaten and one.sac and not one.eaten.on.before(one.sac.on):
        return
    # What becomes of her is not what becomes of a sac that was taken from her.
    if (one.died or (one.sac and one.moult)) and not (one.pulled or one.opened):
        return
    if one.sac:
        yield from _guarding(one, mine)
    elif one.moult:
        undone = one.moult.on
        yield Task(
            f"{she}/moult/{undone.text}",
            she,
            "a moult has undone the pairing: pair again once she has hardened and fed",
            undone.last,
            _in(undone.last, 60),
            f"moult {undone.text}, after the pairing of {one.pairings[-1].on.text}; the moult sheds stored sperm",
            "common practice, no source",
        )
    elif one.taken:
        yield from _waiting(one, mine, animals, card, today)
    else:
        last = one.pairings[-1]
        yield _again(she, "introduce again?", last, last.evidence, care)


def _again(she: str, what: str, last: Pairing, evidence: Evidence, care: Aftercare) -> Task:
    return Task(
        f"{she}/again/{last.on.text}",
        she,
        what,
        _in(last.on.first, care.again[0]),
        _in(last.on.last, care.again[1]),
        f"{last.on.text} with {last.male}: {evidence.words}",
        care.source,
    )


def _waiting(one: Attempt, mine: Window, animals: Animals, card: Card | None, today: date) -> Iterator[Task]:
    she, care = one.female, mine.care
    first, last = one.taken[0], one.taken[-1]
    best = max(pairing.evidence for pairing in one.taken)
    if best < Evidence.BOTH_PALPS and not animals.died(last.male):
        what = "a second introduction? Cup in hand: after a pairing that took, she often attacks"
        yield _again(she, what, last, best, care)
    opens, closes = sac_window(one, mine)
    looked = card.last("looked") if card else None
    look = max(opens, _in(looked.on.last, LOOK_DAYS)) if looked else opens
    look = max(look, min(today, closes))
    form = f" ({care.sac_form})" if care.sac_form else ""
    if look <= closes:
        yield Task(
            f"{she}/sac/{first.on.text}",
            she,
            f"look for a sac{form}, by torch, without opening",
            look,
            closes,
            f"paired {first.on.text}{'' if first is last else ' to ' + last.on.text}; a sac is expected"
            f" {mine.sac[0]} to {mine.sac[1]} days after",
            mine.source,
            LOOK_DAYS,
        )
    yield Task(
        f"{she}/nosac/{first.on.text}",
        she,
        "no sac in its time: did she moult?",
        _in(closes, 1),
        _in(closes, 60),
        f"the window closed on {closes}",
        mine.source,
    )


def _guarding(one: Attempt, mine: Window) -> Iterator[Task]:
    she, care, sac = one.female, mine.care, one.sac
    assert sac is not None
    laid, key = sac.on, f"{she}/{{}}/{sac.on.text}"
    why = f"sac laid {laid.text}"

    def task(name: str, what: str, span: tuple[int, int], every: int = 0) -> Task:
        first, last = _in(laid.first, span[0]), _in(laid.last, span[1])
        return Task(key.format(name), she, what, first, last, why, care.source, every)

    if not one.opened and not one.pulled:
        yield task("guard", "leave her alone; water that can't dry out", (0, care.guard))
        yield task("quiet", "a quiet check by torch: sac whole, water full", (QUIET_CHECK_DAYS, QUIET_CHECK_DAYS + 3))
        if care.pull:
            yield task("pull", "pull the sac now, or leave it with her", care.pull)
    if one.pulled and not one.opened:
        pulled = one.pulled.on
        yield Task(
            f"{she}/incubator/{pulled.text}",
            she,
            "look at the pulled sac: turn it or count, take out what moulds",
            _in(pulled.last, INCUBATOR_DAYS),
            _in(laid.last, care.free[1]),
            f"pulled {pulled.text}",
            care.source,
            INCUBATOR_DAYS,
        )
    if not one.opened:
        yield task("free", "free spiderlings are expected: cups, food and labels ready", care.free)
    elif not one.counts:
        opened = one.opened.on
        yield Task(
            f"{she}/count/{opened.text}",
            she,
            "count the young, part and label them",
            opened.first,
            _in(opened.last, 30),
            f"opened {opened.text}",
            care.source,
        )


def _male(name: str, card: Card | None, mine: Window, animals: Animals) -> Iterator[Task]:
    met = animals.pairings_of(name)
    if met:
        last = met[-1]
        yield Task(
            f"{name}/check/{last.on.text}",
            name,
            "is he whole? legs, palps, drinking",
            _in(last.on.last, 1),
            _in(last.on.last, 3),
            f"with {last.female} on {last.on.text}",
            mine.care.source,
        )
    moult = card.last_moult if card else None
    if moult:
        yield Task(
            f"{name}/prime/{moult.on.text}",
            name,
            "his time is running out: pair him now, or send him on",
            _in(moult.on.first, mine.care.prime[1] - 30),
            _in(moult.on.last, mine.care.prime[1]),
            f"last moult {moult.on.text}",
            mine.care.source,
        )


def _keeping(card: Card, mine: Window, attempt: Attempt | None) -> Iterator[Task]:
    guarding = attempt is not None and attempt.guarding
    meal, water, moult = card.last("meal"), card.last("water"), card.last("moult")
    low, high = mine.care.meal
    if meal and not guarding:
        rested = _in(moult.on.last, REST_DAYS) if moult else meal.on.last
        first = max(_in(meal.on.last, low), rested)
        waiting = attempt is not None and attempt.end == "open" and bool(attempt.taken)
        yield Task(
            f"{card.id}/meal/{meal.on.text}",
            card.id,
            "feed: few and of middling size after a pairing" if waiting else "feed",
            first,
            max(_in(meal.on.last, high), _in(first, high - low)),
            f"last meal {meal.on.text}{', refused' if meal.words == 'refused' else ''}",
            mine.care.source,
            until_done=True,
        )
    if water:
        yield Task(
            f"{card.id}/water/{water.on.text}",
            card.id,
            "water" + (": fill without opening more than you must" if guarding else ""),
            _in(water.on.last, mine.care.water),
            _in(water.on.last, mine.care.water * 2),
            f"last water {water.on.text}",
            mine.care.source,
            until_done=True,
        )
