"""What is to be done for the animals, and when: from cards, pairings and the windows of the ethograms."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from etholog.animals.attempts import Attempt, Tries, by_female, of_layers, standing_wish
from etholog.animals.card import Card, Entry
from etholog.animals.cautions import on_label
from etholog.animals.custody import Custody, custody
from etholog.animals.groups import Group
from etholog.animals.herd import Animals, Pairing, called
from etholog.animals.lot import Stage
from etholog.animals.moults import HARDENED_DAYS, hardened_on, next_moult, refused_near_moult
from etholog.base.language import beside, gettext, gettext_noop, number
from etholog.ethogram import Aftercare, Ethogram
from etholog.session.evidence import Evidence

TOGETHER_DAYS = 60  # pairings within so many days are one try: their windows are nearly the same
OWN_SACS = 5  # so many sacs of one's own say more than a shipped window
LOOK_DAYS = 7
INCUBATOR_DAYS = 3
# In a cool room eggs and nymphs take longer than their window: so long after a look at them the next is asked for.
SLOW_YOUNG_DAYS = 60
LATE_DAYS = 60  # so long it is asked what became of a sac that was taken from her
QUIET_CHECK_DAYS = 14
LEFT_DAYS = 14  # so long it is asked whether a closed sac left with her (our own choice)
FED_AFTER_MOULT_DAYS = 14
REFUSED_DAYS = 90
NO_WINDOW = "window"
ROUND = ("meal", "water")  # what a keeper does on a round through all animals; anything else is asked of one alone


@dataclass(frozen=True)
class Task:
    """One thing to do for an animal between two dates, again each `every` days where that is not 0.

    `key` stays the same as long as its cause does, so that a calendar knows it again. `source` says whose the window
    is. `until_done`: it stays due after its last date. `again_after`: so many days after it is done it is due again,
    which a new entry on the card says; a sitter makes none.
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
    again_after: int = 0

    @property
    def kind(self) -> str:
        """What kind of thing it is, such as 'meal': in the key it follows the animal."""
        return self.key.removeprefix(f"{self.animal}/").partition("/")[0]

    @property
    def has_days(self) -> bool:
        """Whether its days follow from what happened; a gap on a card is told on whatever day it is read."""
        return self.kind != NO_WINDOW


class Window(NamedTuple):
    """The windows for one animal; `source`: whose the one for a sac is."""

    care: Aftercare
    sac: tuple[int, int]
    source: str

    @property
    def care_source(self) -> str:
        """Whose all the other windows are."""
        return gettext(self.care.source)


def window(name: str, animals: Animals, known: Sequence[Ethogram], tries: Tries | None = None) -> Window | None:
    """Return the windows for an animal, or None where none is known: nothing is borrowed from another group.

    They are those of its genus (its accepted one), else the general ones of the ethogram with which it was watched or
    that fits its group; from the user's own sacs of that genus once there are enough. `tries`: all attempts, where
    they are at hand.
    """
    genus = animals.genus_of(name)
    entries = [entry for kept in known for entry in kept.aftercare if genus in entry.genera]
    if not entries:
        fitting = [animals.ethogram_of(name), animals.group_of(name).ethogram]
        entries = [e for of in fitting for kept in known if kept.name == of for e in kept.aftercare if not e.genera]
    if not entries:
        return None
    care = entries[0]
    own = own_sac_days(genus, animals, of_layers(animals) if tries is None else tries)
    if len(own) >= OWN_SACS:
        return Window(care, (min(own), max(own)), gettext("your own {own} sacs of {genus}", own=len(own), genus=genus))
    return Window(care, care.sac, gettext(care.source))


def windows(
    names: Iterable[str], animals: Animals, known: Sequence[Ethogram], tries: Tries
) -> dict[str, Window | None]:
    """Return the windows of each animal, found once for all of one kind."""
    found: dict[tuple[str, Group], Window | None] = {}
    of = {name: (animals.species_of(name), animals.group_of(name)) for name in names}
    for name, kind in of.items():
        if kind not in found:
            found[kind] = window(name, animals, known, tries)
    return {name: found[kind] for name, kind in of.items()}


def own_sac_days(genus: str, animals: Animals, tries: Tries) -> list[int]:
    """Return the days from the last pairing to each sac of the genus, where both dates are known to the day."""
    found = []
    for name, own in tries.items():
        if not genus or animals.genus_of(name) != genus:
            continue
        for one in own:
            if one.sac and one.taken and one.sac.on.exact and one.taken[-1].on.exact:
                found.append((one.sac.on.first - one.taken[-1].on.first).days)
    return found


class SacWindow(NamedTuple):
    """The first and the last day on which a sac is expected after pairings that may have taken and belong together."""

    pairings: tuple[Pairing, ...]
    opens: date
    closes: date


def sac_windows(one: Attempt, mine: Window) -> list[SacWindow]:
    """Return a window for each try of an attempt, by date. One window for all pairings would promise a sac for over a
    year where months lie between them."""
    tries: list[list[Pairing]] = []
    for pairing in one.taken:
        if tries and tries[-1][0].on.days_until(pairing.on)[0] <= TOGETHER_DAYS:
            tries[-1].append(pairing)
        else:
            tries.append([pairing])
    return [
        SacWindow(tuple(met), _in(met[0].on.first, mine.sac[0]), _in(met[-1].on.last, mine.sac[1])) for met in tries
    ]


def due(animals: Animals, known: Sequence[Ethogram], today: date) -> list[Task]:
    """Return all that is to be done from today on, by date. Of what is due already, what can't wait comes before meals
    and water, and what should be done soonest before the rest.

    An animal that is sold, given or lent needs nothing from this keeper but, where it was lent until a date, to come
    back; a sac that was taken from her before stays here. One that is here on loan is looked after, and goes back in
    its time.
    """
    every = by_female(animals)
    cards = {name: animals.find(name) for name in animals.known()}
    custodies = {name: custody(card) for name, card in cards.items()}
    behind = {name: _left_behind(every.get(name, []), where) for name, where in custodies.items() if not where.at_hand}
    kept = windows([name for name in custodies if behind.get(name, True)], animals, known, every)
    found: list[Task] = []
    for name, where in custodies.items():
        card, tries = cards[name], every.get(name, [])
        if not animals.died(name):
            found += _return(name, where)
        if not where.at_hand:
            for one in behind[name]:
                found += _apart(one, mine) if (mine := kept[name]) else ()
            found += _left_with_her(tries, where)
            continue
        found += _planned(name, animals, tries)
        last = tries[-1] if tries else None
        if card is not None and not animals.died(name):
            found += _refused(card, last, animals)
        mine = kept[name]
        if mine is None:
            if not animals.died(name) and (tries or (card and card.all("meal", "water"))):
                found.append(_no_window(name, animals.species_of(name), today))
            if last and last.orphaned:
                found.append(_orphaned(last, None, animals))
            continue
        for earlier in tries[:-1]:
            if earlier.apart and not earlier.over:
                found += _apart(earlier, mine)
        if tries:
            found += _brood(tries[-1], mine, animals, card)
        if animals.died(name):
            continue
        if animals.sex_of(name) == "male":
            found += _male(name, card, mine, animals)
        if card is not None:
            found += _keeping(card, mine, last, animals)
    still = [task for task in found if task.until_done or task.last >= today]
    return sorted(
        still, key=lambda task: (max(task.first, today), task.kind in ROUND, task.last, task.animal, task.key)
    )


def _left_behind(tries: Sequence[Attempt], where: Custody) -> list[Attempt]:
    """Return the attempts whose sac was taken from her before she left: it, and its young, did not leave with her."""
    taken = [(one, one.guarded_until) for one in tries if one.apart and not one.over]
    return [one for one, on in taken if on and where.since and not where.since.before(on)]


def _left_with_her(tries: Sequence[Attempt], where: Custody) -> Iterator[Task]:
    """Yield the asking whether the sac that she guarded left with her."""
    one, left = tries[-1] if tries else None, where.since
    if one and one.sac and one.guarding and left and where.where != "coming" and not left.before(one.sac.on):
        yield Task(
            f"{one.female}/left/{left.text}",
            one.female,
            gettext("did her sac go with her? If it is here, look after it and write 'pulled' on {day}", day=left.text),
            left.first,
            _in(left.last, LEFT_DAYS),
            gettext("sac laid {laid}; {where}", laid=one.sac.on.text, where=where.words),
            gettext("common practice, no source"),
        )


def _return(name: str, where: Custody) -> Iterator[Task]:
    if where.where in ("lent", "borrowed") and where.until and where.since:
        owner = where.who or gettext("the owner")
        what = gettext("bring {name} back to {owner}", name=name, owner=owner)
        if where.where == "lent":
            who = where.who or gettext("the borrower")
            what = gettext("{who} was to bring {name} back", who=who, name=name)
        yield Task(
            f"{name}/{where.where}/{where.since.text}",
            name,
            what,
            where.until.first,
            where.until.last,
            where.words,
            gettext("as you agreed"),
            until_done=True,
        )


def _planned(female: str, animals: Animals, tries: Sequence[Attempt]) -> Iterator[Task]:
    """Yield the pairings that the keeper has chosen a day for; after a moult not before she has hardened."""
    hardened = hardened_on(animals.find(female), animals.group_of(female)) or date.min
    for male in dict.fromkeys(pairing.male for pairing in animals.pairings_of(female) if pairing.female == female):
        last = standing_wish(animals, male, female, tries)
        if last is None or not (on := last.wished_on) or animals.died(female):
            continue
        if not _is_ours(last.male, animals):
            continue
        his = custody(animals.find(last.male))
        away = "" if his.where == "here" else f"; {last.male}: {his.words}"
        yield Task(
            f"{female}/planned/{last.male}/{last.on.text}",
            female,
            gettext("pair her again with {male}, as you chose", male=called(last.male)),
            max(on.first, hardened),
            max(on.last, hardened),
            gettext("your answer after {last}{away}", last=last.on.text, away=away),
            gettext("your own choice"),
            until_done=True,
        )


def _is_ours(male: str, animals: Animals) -> bool:
    """Tell whether a male lives and was not given away for good."""
    return not animals.died(male) and not custody(animals.find(male)).gone


def _may_meet_again(last: Pairing, animals: Animals, card: Card | None) -> bool:
    """Tell whether to ask if these two shall meet again: he is there to be asked about, nobody has decided, and nothing
    on her `card` says that she is about to moult."""
    near_moult = card is not None and refused_near_moult(card, animals)
    return _is_ours(last.male, animals) and animals.is_open(last.male, last.female) and not near_moult


def _no_window(name: str, species: str, today: date) -> Task:
    why = gettext("nothing is known of {species}", species=species) if species else gettext("no species on record")
    what = gettext("no window known: enter its species, or its family")
    return Task(f"{name}/{NO_WINDOW}", name, what, today, today, why, gettext("nothing is borrowed from other spiders"))


def _in(day: date, days: int) -> date:
    return day + timedelta(days=days)


def _brood(one: Attempt, mine: Window, animals: Animals, card: Card | None) -> Iterator[Task]:
    she = one.female
    if one.eaten and one.sac and not one.eaten.on.before(one.sac.on):
        return
    # What becomes of her is not what becomes of a sac that was taken from her, or of one that she died on.
    if (one.died and not one.sac) or (one.sac and one.moult and not one.apart):
        return
    if one.sac:
        yield from of_sac(one, mine, animals)
    elif one.moult:
        undone = one.moult.on
        hardened = _in(undone.last, HARDENED_DAYS)
        yield Task(
            f"{she}/moult/{undone.text}",
            she,
            gettext("a moult has undone the pairing: pair again once she has hardened and fed"),
            hardened,
            _in(hardened, 60),
            gettext(
                "moult {undone}, after the pairing of {day}; the moult sheds stored sperm",
                undone=undone.text,
                day=one.pairings[-1].on.text,
            ),
            gettext("common practice, no source"),
        )
    elif one.taken:
        yield from _waiting(one, mine, animals, card)
    else:
        last = one.pairings[-1]
        yield from _again(gettext("introduce again?"), last, last.evidence, mine, animals, card)


def _again(
    what: str, last: Pairing, evidence: Evidence, mine: Window, animals: Animals, card: Card | None
) -> Iterator[Task]:
    """Yield the asking for a further introduction, on days on which `plan` has her between two moults, too."""
    hardened = hardened_on(card, animals.group_of(last.female))
    soonest, latest = mine.care.again
    first = max(_in(last.on.first, soonest), hardened or date.min)
    until = max(_in(last.on.last, latest), _in(first, latest - soonest))
    if card and hardened:
        until = min(until, next_moult(card).near_from)
    if first > until or not _may_meet_again(last, animals, card):
        return
    yield Task(
        f"{last.female}/again/{last.on.text}",
        last.female,
        what,
        first,
        until,
        gettext("{day} with {male}: {evidence}", day=last.on.text, male=called(last.male), evidence=evidence.words),
        mine.care_source,
    )


def _waiting(one: Attempt, mine: Window, animals: Animals, card: Card | None) -> Iterator[Task]:
    she = one.female
    last = one.taken[-1]
    best = max(pairing.evidence for pairing in one.taken)
    if best < Evidence.BOTH_PALPS:
        what = beside("a second introduction? Cup in hand: after a pairing that took, she often attacks")
        yield from _again(what, last, best, mine, animals, card)
    windows = sac_windows(one, mine)
    for at, window_ in enumerate(windows):
        yield from _looking(she, window_, windows[at - 1].closes if at else None, mine, card)
    opened, closes = windows[-1].pairings[0], windows[-1].closes
    yield Task(
        f"{she}/nosac/{opened.on.text}",
        she,
        gettext("no sac in its time")
        if animals.group_of(she).females_moult is False
        else gettext("no sac in its time: did she moult?"),
        _in(closes, 1),
        _in(closes, 60),
        gettext("the window closed on {closes}", closes=closes),
        mine.source,
    )


def _looking(she: str, window_: SacWindow, before: date | None, mine: Window, card: Card | None) -> Iterator[Task]:
    """Yield the looking for a sac in one window, from the day after the window before it has closed."""
    first, last, closes = window_.pairings[0], window_.pairings[-1], window_.closes
    look = window_.opens if before is None else max(window_.opens, _in(before, 1))
    looked = card.last("looked") if card else None
    if looked:
        look = max(look, _in(looked.on.last, LOOK_DAYS))
    what = gettext("look for a sac, by torch, without opening")
    if mine.care.sac_form:
        form = gettext(mine.care.sac_form)
        what = gettext("look for a sac ({form}), by torch, without opening", form=form)
    days = {"least": mine.sac[0], "most": mine.sac[1]}
    why = gettext("paired {day}; a sac is expected {least} to {most} days after", day=first.on.text, **days)
    if first is not last:
        between = {"first": first.on.text, "last": last.on.text}
        why = gettext("paired {first} to {last}; a sac is expected {least} to {most} days after", **between, **days)
    if look <= closes:
        yield Task(
            f"{she}/sac/{first.on.text}",
            she,
            what,
            look,
            closes,
            why,
            mine.source,
            LOOK_DAYS,
        )


def of_sac(one: Attempt, mine: Window, animals: Animals) -> Iterator[Task]:
    """Yield what a sac asks for, with her, taken from her or left when she died, and its young."""
    if one.over:
        return
    if one.orphaned:
        yield _orphaned(one, mine, animals)
    elif not (one.opened or one.left_the_sac or one.pulled):
        quiet = (QUIET_CHECK_DAYS, QUIET_CHECK_DAYS + 3)
        yield _since_laid(
            one, mine, "guard", gettext("leave her alone; water that can't dry out"), (0, mine.care.guard)
        )
        yield _since_laid(one, mine, "quiet", gettext("a quiet check by torch: sac whole, water full"), quiet)
        if pull := mine.care.pull:
            yield _since_laid(one, mine, "pull", gettext("pull the sac now, or leave it with her"), pull)
    yield from _apart(one, mine)


def _orphaned(one: Attempt, mine: Window | None, animals: Animals) -> Task:
    """Return the taking of a sac on which she died, until its young would be free. Emergence needs no mother: Panzera
    et al. 2009, J. Arachnol. (of one tarantula)."""
    assert one.sac is not None and one.died is not None
    she, laid, died = one.female, one.sac.on, one.died.on
    card = animals.find(she)
    beware = on_label(animals.species_of(she), animals.ethogram_of(she), card.fact("family") if card else "")
    what = beside("she died on her sac: be sure that she is dead, take it out, look for mould, then write 'pulled'")
    return Task(
        f"{she}/orphan/{laid.text}",
        she,
        f"{what}. {beware}",
        died.first,
        _in(laid.last, mine.care.free[1]) if mine else _in(died.last, SLOW_YOUNG_DAYS),
        gettext("sac laid {laid}; died {day}", laid=laid.text, day=died.text),
        gettext("common practice, no source"),
    )


def _past_its_time(one: Attempt, mine: Window) -> Task:
    """Return the asking what became of a sac of which no young were told in their time. Whoever guards one gets no
    meal, so of hers it stands until that is told."""
    assert one.sac is not None
    laid = one.sac.on
    last = _in(laid.last, mine.care.free[1])
    what = gettext("no young in their time: look by torch, then write what became of the sac (eaten, pulled, opened)")
    if one.pulled:
        last = max(last, _in(_handled(one), SLOW_YOUNG_DAYS))
    if one.pulled or one.died:
        what = gettext("no young in their time: open the sac, then write what is in it")
    return Task(
        f"{one.female}/late/{laid.text}",
        one.female,
        what,
        _in(last, 1),
        _in(last, LATE_DAYS),
        gettext("sac laid {laid}", laid=laid.text),
        mine.care_source,
        until_done=one.guarding,
    )


def _handled(one: Attempt) -> date:
    """Return when a pulled sac was last turned, counted, or handled at all."""
    assert one.pulled is not None
    return max([one.pulled.on.last, *(entry.on.last for entry in (*one.all("turned"), *one.counts))])


def _since_laid(one: Attempt, mine: Window, name: str, what: str, span: tuple[int, int]) -> Task:
    """Return what is to be done within a `span` of days after a sac was laid."""
    assert one.sac is not None
    laid = one.sac.on
    first, last = _in(laid.first, span[0]), _in(laid.last, span[1])
    why, source = gettext("sac laid {laid}", laid=laid.text), mine.care_source
    return Task(f"{one.female}/{name}/{laid.text}", one.female, what, first, last, why, source)


def _apart(one: Attempt, mine: Window) -> Iterator[Task]:
    """Yield what a sac that was taken from her asks for, and its young; whatever became of her since."""
    she, care, sac = one.female, mine.care, one.sac
    assert sac is not None
    closed = not one.opened and not one.left_the_sac
    laid = sac.on
    if one.pulled and closed:
        pulled, handled = one.pulled.on, _handled(one)
        next_, opens = _in(handled, INCUBATOR_DAYS), _in(laid.last, (care.pull or care.free)[0])
        key, why = pulled.text, gettext("pulled {pulled}", pulled=pulled.text)
        if next_ < opens and not one.counts:
            what = gettext("turn the pulled sac, look for mould; leave it closed until {day}", day=opens)
            last = _in(opens, -1)
            yield Task(f"{she}/incubator/{key}/closed", she, what, next_, last, why, mine.care_source, INCUBATOR_DAYS)
            next_ = opens
        what = gettext("look at the pulled sac: turn it or count, take out what moulds")
        last = max(_in(laid.last, care.free[1]), _in(handled, SLOW_YOUNG_DAYS))
        yield Task(f"{she}/incubator/{key}", she, what, next_, last, why, mine.care_source, INCUBATOR_DAYS)
    if closed:
        free = gettext("free spiderlings are expected: cups, food and labels ready")
        yield _since_laid(one, mine, "free", free, care.free)
        yield _past_its_time(one, mine)
    elif one.opened and not any(count.state == "alive" for count in one.lot.counts):
        opened = one.opened.on
        yield Task(
            f"{she}/count/{opened.text}",
            she,
            gettext("count the young by stage, part and label them"),
            opened.first,
            _in(opened.last, 30),
            gettext("opened {opened}", opened=opened.text),
            mine.care_source,
        )
    else:
        yield from _young(one, mine)


# What is to be done for young of an opened sac by how far they are (common practice, no source).
_BY_STAGE = {
    Stage.EGGS: gettext_noop("look at the eggs: turn them, take out what moulds, count"),
    Stage.EGGS_WITH_LEGS: gettext_noop(
        "look at the eggs with legs: take out what is dead, count the nymphs; no food yet"
    ),
    Stage.NYMPHS: gettext_noop("look at the nymphs: take out what is dead, count the next stage; no food yet"),
    Stage.FIRST_INSTAR: gettext_noop("look at the nymphs: take out what is dead, count the next stage; no food yet"),
}


def _young(one: Attempt, mine: Window) -> Iterator[Task]:
    """Yield what is next for the young of an opened sac that were counted."""
    living = [count for count in one.lot.counts if count.state == "alive"]
    sums = one.lot.closing
    if not living or sums is None or sums.alive <= 0 or one.sac is None:
        return
    seen = living[-1]
    key, count = f"{one.female}/young/{one.sac.on.text}", number(seen.number, "g")
    why = gettext("counted {number} {words} {seen}", number=count, words=seen.stage.words, seen=seen.on.text)
    next_ = _in(seen.on.last, INCUBATOR_DAYS)
    if seen.stage in _BY_STAGE:
        until = max(_in(one.sac.on.last, mine.care.free[1]), _in(seen.on.last, SLOW_YOUNG_DAYS))
        source = gettext("common practice, no source")
        yield Task(key, one.female, gettext(_BY_STAGE[seen.stage]), next_, until, why, source, INCUBATOR_DAYS)
    else:
        what = gettext(
            "part, feed and label the young ({alive} of {lot_id})", alive=number(sums.alive, "g"), lot_id=one.lot_id
        )
        yield Task(key, one.female, what, seen.on.last, _in(seen.on.last, 30), why, mine.care_source)


def _male(name: str, card: Card | None, mine: Window, animals: Animals) -> Iterator[Task]:
    met = animals.pairings_of(name)
    if met:
        last = met[-1]
        yield Task(
            f"{name}/check/{last.on.text}",
            name,
            gettext("is he whole? legs, palps, drinking"),
            _in(last.on.last, 1),
            _in(last.on.last, 3),
            gettext("with {female} on {last}", female=last.female, last=last.on.text),
            mine.care_source,
        )
    moult = card.last_moult if card else None
    if moult:
        yield Task(
            f"{name}/prime/{moult.on.text}",
            name,
            gettext("his time is running out: pair him now, or send him on"),
            _in(moult.on.first, mine.care.prime[1] - 30),
            _in(moult.on.last, mine.care.prime[1]),
            gettext("last moult {moult}", moult=moult.on.text),
            mine.care_source,
        )


def _refused(card: Card, attempt: Attempt | None, animals: Animals) -> Iterator[Task]:
    meal = card.last("meal")
    if meal is None or (attempt is not None and attempt.guarding) or not refused_near_moult(card, animals):
        return
    yield Task(
        f"{card.id}/refused/{meal.on.text}",
        card.id,
        gettext("prey out, water, look: a moult may be near"),
        meal.on.last,
        _in(meal.on.last, REFUSED_DAYS),
        gettext("meal refused {meal}, which is usual before a moult", meal=meal.on.text),
        gettext("common practice, no source"),
        LOOK_DAYS,
    )


def _keeping(card: Card, mine: Window, attempt: Attempt | None, animals: Animals) -> Iterator[Task]:
    guarding = attempt is not None and attempt.guarding
    meal, water = card.last("meal"), card.last("water")
    if meal and not guarding:
        yield _meal(card, mine, attempt, meal, refused_near_moult(card, animals))
    if water:
        yield Task(
            f"{card.id}/water/{water.on.text}",
            card.id,
            gettext("water: fill without opening more than you must") if guarding else gettext("water"),
            _in(water.on.last, mine.care.water),
            _in(water.on.last, mine.care.water * 2),
            gettext("last water {water}", water=water.on.text),
            mine.care_source,
            until_done=True,
            again_after=mine.care.water,
        )


def _meal(card: Card, mine: Window, attempt: Attempt | None, meal: Entry, near_moult: bool) -> Task:
    low, high = mine.care.meal
    moult = card.last("moult")
    rested = _in(moult.on.last, FED_AFTER_MOULT_DAYS) if moult else meal.on.last
    first = max(_in(meal.on.last, REFUSED_DAYS if near_moult else low), rested)
    waiting = attempt is not None and attempt.end == "open" and bool(attempt.taken)
    what = gettext("feed: few and of middling size after a pairing") if waiting else gettext("feed")
    if card.is_mature_male:
        what = gettext("offer a small meal: mature males eat little, some nothing")
    elif meal.words == "refused":
        what = gettext("offer a small meal again, and take out what is left")
    return Task(
        f"{card.id}/meal/{meal.on.text}",
        card.id,
        what,
        first,
        max(_in(meal.on.last, high), _in(first, high - low)),
        gettext("last meal {meal}, refused", meal=meal.on.text)
        if meal.words == "refused"
        else gettext("last meal {meal}", meal=meal.on.text),
        mine.care_source,
        # A mature male who eats nothing is no neglect, so his meal is never overdue.
        every=low if card.is_mature_male else 0,
        until_done=not card.is_mature_male,
        again_after=0 if card.is_mature_male else high,
    )
