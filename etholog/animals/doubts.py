"""What can't be true of an animal beside what else is known, and what is possible but odd.

Each is asked of an entry that is about to be written, and by `etholog check` of those that are: see `entering`.
"""

from collections.abc import Iterator
from dataclasses import replace

from etholog.animals.attempts import Attempt, attempts, by_female, of_sac
from etholog.animals.card import KINDS, NO_EVENT, OF_THE_SAC, SAC_NAMED, Card, Entry
from etholog.animals.conflicts import conflicts
from etholog.animals.custody import custody, shares
from etholog.animals.herd import Animals, called
from etholog.animals.lot import CHOICES, split_of, stage_of
from etholog.animals.naming import file_of, label, quoted
from etholog.animals.pedigree import weighed
from etholog.base.refusal import Finding
from etholog.base.text import like

# An adult tarantula under this leg span would be smaller than any kept as such (common practice, no source).
ADULT_SPAN_MM = 20
# Sacs are kept at about 25 to 27 °C (common practice, no source); far from that it is a slip, or in °F.
INCUBATED_C = (15, 35)


def impossible(card: Card, entry: Entry) -> str | None:
    """Return why an entry can't be true beside the others of its card, or None."""
    kind = KINDS[entry.kind]
    if kind.sex and card.sex not in (kind.sex, "unknown"):
        return f"the card of {card.id} says {card.sex}, and {kind.label} is said of a {kind.sex} alone"
    if entry.kind == "sex" and entry.words != "unknown":
        for other in card.entries:
            if KINDS[other.kind].sex not in ("", entry.words):
                return f"{card.id} has {other.said} on {other.on.text}, which is said of no {entry.words}"
    if entry.kind in ("dam", "sire"):
        told = weighed(entry.words)
        if any(name in card.names for name, _ in told):
            return f"{card.id} can't be its own {entry.kind}"
        weights = [weight for _, weight in told if weight]
        if weights and len(weights) < len(told):
            return "give each possible parent a weight above 0, or none: M-1:3 or M-2:1"
    if entry.kind == "split" and not split_of(entry.words):
        return "who gets how many? Write whole numbers: Anna 80, me 160"
    if entry.kind == "raised" and entry.words in card.names:
        return f"{card.id} can't be of its own young"
    born = card.last("born")
    if entry.kind not in NO_EVENT and born and entry.on.before(born.on):
        return f"{card.id} was born on {born.on.text}"
    if entry.kind not in (*NO_EVENT, *OF_THE_SAC) and card.died and card.died.before(entry.on):
        return f"{card.id} died on {card.died.text}"
    later = [other for other in card.entries if other.kind not in (*NO_EVENT, entry.kind)]
    hers = [other for other in later if other.kind not in OF_THE_SAC]
    if entry.kind == "died" and (after := [other for other in hers if entry.on.before(other.on)]):
        return f"{card.id} has {after[-1].said} on {after[-1].on.text}, after that"
    if entry.kind == "born" and (earlier := [other for other in later if other.on.before(entry.on)]):
        return f"{card.id} has {earlier[0].said} on {earlier[0].on.text}, before that"
    return None


def odd(animals: Animals, card: Card, entry: Entry) -> Iterator[Finding]:
    """Yield a question for each thing about an entry that is possible but odd, for as long as it stands there.

    `card` is the animal's without this entry, `animals` the herd with it.
    """
    kind, known = KINDS[entry.kind], animals.on_record
    same = [other for other in card.all(entry.kind) if other.on.text == entry.on.text]
    if entry.kind in ("moult", "sac", "died", "born") and same:
        yield Finding(f"{card.id} has {kind.label} on {entry.on.text} already")
    if entry.kind in ("died", "born") and len(card.all(entry.kind)) > bool(same):
        yield Finding(f"{card.id} has {kind.label} on {card.all(entry.kind)[-1].on.text} as well")
    if entry.kind in SAC_NAMED and not any(not entry.on.before(sac.on) for sac in card.all("sac")):
        yield Finding(f"no sac of {card.id} is on the card before {entry.on.text}")
    elif entry.sac and not of_sac(attempts(animals, card.id), entry.sac):
        laid = ", ".join(sac.on.text for sac in card.all("sac"))
        yield Finding(f"no sac of {card.id} on {entry.sac.text}; there are those of {laid}", "it counts for nothing")
    if entry.kind == "shares" and not shares(entry.words):
        yield Finding(f"shares {entry.words!r}: who gets how much of the young?", "write: Anna 1, me 2")
    if entry.kind == "count" and stage_of(entry.words) is None:
        yield Finding(f"counted {entry.words!r}: at what stage? It counts for nothing until that is clear", CHOICES)
    if entry.kind in ("opened", "raised", "split", "placed", "incubated"):
        yield from _odd_of_sac(animals, card, entry)
    if entry.kind == "sac" and not any(not entry.on.before(met.on) for met in animals.pairings_of(card.id)):
        yield Finding(f"a sac on {entry.on.text}, and no pairing of {card.id} before it is known")
    if entry.kind in ("dam", "sire"):
        wanted = {"dam": "female", "sire": "male"}[entry.kind]
        for who, _ in animals.possible(entry.words):
            if who and who not in known:
                yield Finding(f"{entry.kind} {who!r} has no card and no session{like(who, animals.may_be(wanted))}")
            elif who and animals.sex_of(who) not in (wanted, "unknown"):
                what = f"{entry.kind} {who!r} is {animals.sex_of(who)}, as its card or a session says"
                yield Finding(what, f"mend the sex of {who}, or this {entry.kind}")
            born = (animals.find(who) or card).last("born") if who else None
            own = card.last("born")
            if own and born and who != card.id and own.on.last <= born.on.first:
                what = f"{entry.kind} {who!r} was born on {born.on.text}, not before {card.id} ({own.on.text})"
                yield Finding(what, f"mend one of the two dates, or this {entry.kind}")
    if entry.kind == "paired":
        if animals.id_of(entry.words) not in known:
            wanted = {"male": "female", "female": "male"}.get(card.sex, "unknown")
            near = like(entry.words, (one for one in animals.may_be(wanted) if one != card.id))
            yield Finding(f"{entry.words!r} has no card and no session{near}")
        if card.sex == animals.sex_of(entry.words) != "unknown":
            yield Finding(f"the cards of {card.id} and {entry.words} both say {card.sex}")
        if (died := animals.died(entry.words)) and died.before(entry.on):
            yield Finding(f"paired on {entry.on.text}, and {animals.id_of(entry.words)} died on {died.text}")
    if entry.kind == "died" and any(entry.on.before(met.on) for met in animals.pairings_of(card.id)):
        yield Finding(f"{card.id} has a session after {entry.on.text}")


def _odd_of_sac(animals: Animals, card: Card, entry: Entry) -> Iterator[Finding]:
    if entry.kind == "opened" and entry.words and stage_of(entry.words) is None:
        yield Finding(f"sac opened at {entry.words!r}: at what stage?", CHOICES)
    if entry.kind == "incubated" and entry.number and not INCUBATED_C[0] <= entry.number <= INCUBATED_C[1]:
        yield Finding(f"a sac incubated at {entry.number:g} °C: is that right?", "write it in °C")
    if entry.kind == "raised":
        young = animals.find(entry.words)
        if young is None:
            yield Finding(f"{entry.words!r} was raised out of the young of {card.id}, and has no card")
        elif card.id not in dict(animals.possible(young.fact("dam"))):
            told = young.fact("dam") or "no dam"
            yield Finding(f"{young.id} was raised out of the young of {card.id}, and its own card says {told}")
    if entry.kind in ("split", "placed") and (one := lot_at(animals, card, entry)) and (sum_ := one.lot.closing):
        given = sum(split_of(entry.words).values()) if entry.kind == "split" else entry.number or 0
        if given > sum_.alive or (given < sum_.alive and entry.kind == "split"):
            yield Finding(f"{entry.kind} {given:g}, and {sum_.alive:g} are alive by the counts", sum_.words)


def lot_at(animals: Animals, card: Card, entry: Entry) -> Attempt | None:
    """Return the attempt whose sac an entry is told of, with what was told of the sac before that entry alone."""
    return of_sac(_before(animals, card, entry), entry.sac)


def _before(animals: Animals, card: Card, entry: Entry) -> list[Attempt]:
    told = [other for other in card.entries if other.in_time() < entry.in_time()]
    return attempts(animals.having({card.id: replace(card, entries=tuple(told))}), card.id)


def _of_which_sac(animals: Animals, card: Card, entry: Entry) -> Iterator[Finding]:
    """Ask of which sac an entry is told, where an earlier one than her last may be meant."""
    laid = [one for one in _before(animals, card, entry) if one.sac]
    may_be = [one.sac.on.text for one in laid[:-1] if one.sac and one.may_take(entry.kind)]
    if may_be and laid[-1].sac:
        what = f"of which sac? Taken for that of {laid[-1].sac.on.text}; that of {' or '.join(may_be)} may be meant"
        number = "" if entry.number is None else f" {entry.number:g}"
        words = f" {entry.words}" if entry.words else ""
        again = f"etholog card {quoted(card.id)} {entry.kind}{words}{number} of {may_be[-1]} --on {entry.on.text}"
        yield Finding(what, f"if that one is, take this back and write: {again}")


def _none_living(animals: Animals, card: Card, entry: Entry) -> Iterator[Finding]:
    """Ask whether any live, where dead or bad ones alone were ever counted: they may be all, or those that were taken
    out of the rest."""
    what, one = stage_of(entry.words), of_sac(attempts(animals, card.id), entry.sac)
    if what and what[1] != "alive" and one and not any(count.state == "alive" for count in one.lot.counts):
        of = f" of {entry.sac.text}" if entry.sac else ""
        write = f"etholog card {quoted(card.id)} count {what[0].words} 0{of} --on {entry.on.text}"
        yield Finding(
            f"{entry.number:g} {entry.words}, and the living were not counted: are there any?", f"if none: {write}"
        )


def unclosed(animals: Animals) -> Iterator[Finding]:
    """Yield the lots whose numbers don't close: there are more than there can be, or some are missing.

    Who counts the living alone, as in 0.1, tells of losses by that: the lot's page says how many, and nobody is asked.
    """
    for name, own in by_female(animals).items():
        card = animals.find(name)
        for one in own:
            sums = one.lot.closing
            accounts = one.lot.left or any(count.state != "alive" for count in one.lot.counts)
            if card and sums and (sums.missing < 0 or (sums.missing and accounts)):
                yield Finding(f"the young of {one.lot_id} don't close: {sums.words}", _closing(one), card.path)


def _closing(one: Attempt) -> str:
    """Return what to do where a lot's numbers don't close."""
    dead = one.lot.unclosed
    if dead is None:
        return "count again, and take a wrong count back by `undo`"
    write = f"etholog card {quoted(one.female)} count dead {dead.stage.words} {dead.number:g}"
    of = f" of {one.sac.on.text}" if one.sac else ""
    return f"count again, or write that they died: {write}{of} --on {dead.on.text}"


def surprising(animals: Animals, card: Card, entry: Entry) -> Iterator[Finding]:
    """Yield what is asked once, when an entry is made: it may well be so, and then it is nobody's fault for ever."""
    before = card.fact("sex")
    if entry.kind == "sex" and {before, entry.words} == {"male", "female"}:
        yield Finding(f"the card of {card.id} says {before} so far, and now {entry.words}")
    if entry.kind == "species" and len(animals.synonyms.resolve(entry.words)[0]) == 1:
        yield Finding(
            f"species {entry.words!r}: of which genus? Windows and cautions go by it", "write the genus whole"
        )
    last = card.last_moult
    if entry.kind == "moult" and last and last.on.before(entry.on):
        again = "a mature male rarely moults again" if card.sex == "male" else "after that she was to moult no more"
        yield Finding(f"{card.id} had the last moult on {last.on.text}; {again}")
    if entry.kind == "size" and entry.number is not None and (why := _small(animals, card, entry.number)):
        cm = f"if so, write: size {entry.number:g}cm"
        yield Finding(f"a leg span of {entry.number:g} mm, and {why}: it may be in cm", cm)
    if entry.kind in SAC_NAMED and entry.sac is None:
        yield from _of_which_sac(animals, card, entry)
    if entry.kind == "count":
        yield from _none_living(animals, card, entry)
    where = custody(replace(card, entries=tuple(one for one in card.entries if one.on.first <= entry.on.first)))
    if entry.kind == "returned" and where.where == "here":
        yield Finding(f"{card.id} was not away on {entry.on.text}, as far as the card says")
    if entry.kind in ("meal", "water", "weight", "size") and where.gone:
        yield Finding(
            f"{card.id} was {where.words}", f"if it is with you: etholog card {quoted(card.id)} got --on DATE"
        )
    born, dams = card.last("born"), animals.possible(card.fact("dam"))
    if entry.kind == "sire" and born and len(dams) == 1:
        laid = [one for one in attempts(animals, dams[0][0]) if one.sac and not born.on.before(one.sac.on)]
        may = laid[-1].sires if laid else ()
        if len(may) > 1 and not {who for who, _ in animals.possible(entry.words)} >= set(may):
            yield Finding(
                f"before that sac {dams[0][0]} was with {' and '.join(map(called, may))}",
                f"write: {' or '.join(map(called, may))}",
            )


def _circles(animals: Animals) -> Iterator[Finding]:
    for ring in animals.circles:
        for name in ring:
            one = animals.cards[name]
            for kind in ("dam", "sire"):
                told = one.told_last(kind)
                if told and {who for who, _ in animals.possible(told.words)} & set(ring):
                    what = f"{name} would be its own ancestor: {kind} {told.words}"
                    remedy = "until that is mended its parents count as unknown: etholog card"
                    remedy += (
                        f" {name} undo {label(told)}, or that of {' or '.join(one for one in ring if one != name)}"
                    )
                    yield Finding(what, remedy, file_of(one, told), record=told.n)


def _small(animals: Animals, card: Card, millimetres: float) -> str:
    """Return what makes a leg span look too small to be in mm; '' where nothing does."""
    before = card.last("size")
    if before and before.number and millimetres < before.number / 2:
        return f"it was {before.number:g} mm on {before.on.text}"
    mature = card.last_moult or card.all("sac", "sperm_web", "paired") or animals.pairings_of(card.id)
    if mature and animals.group_of(card.id).may_be_tarantula and millimetres < ADULT_SPAN_MM:
        return f"{card.id} is adult"
    return ""


def questions(animals: Animals) -> Iterator[Finding]:
    """Yield what is impossible or odd about the entries of all cards, and in which record of which file."""
    for one in animals.cards.values():
        for entry in one.entries:
            rest = replace(one, entries=tuple(other for other in one.entries if other is not entry))
            path = file_of(one, entry)
            if why := impossible(rest, entry):
                yield Finding(f"{entry.said} on {entry.on.text}: {why}", path=path, record=entry.n)
            for question in odd(animals, rest, entry):
                yield question._replace(path=path, record=entry.n)
    yield from _circles(animals)
    yield from unclosed(animals)
    yield from conflicts(animals)
