"""When an animal has hardened after a moult, and when its next one may come."""

from datetime import date, timedelta
from itertools import pairwise
from statistics import mean, stdev
from typing import NamedTuple

from etholog.animals.card import Card
from etholog.animals.groups import Group
from etholog.animals.herd import Animals
from etholog.base.language import gettext, number

NEAR_MOULT_DAYS = 60
HARDENED_DAYS = 28
OWN_INTERMOULTS = 2  # so many of her own say more than what is usual
# Adults of many species moult every 12 to 18 months (common practice, no source).
USUAL_INTERMOULT = (365, 548)


def moults_on(card: Card | None, group: Group) -> bool:
    """Tell whether a female may moult again: not after what was told as her last moult, nor where mature females moult
    no more."""
    return group.females_moult is not False and not (card and card.last_moult)


def hardened_on(card: Card | None, group: Group) -> date | None:
    """Return the day from which a female has hardened after her latest moult and may be paired; None where she moults
    no more, or no moult is told."""
    moult = card.last("moult") if card and moults_on(card, group) else None
    return moult.on.last + timedelta(days=HARDENED_DAYS) if moult else None


class NextMoult(NamedTuple):
    """Between which days a female's next moult may come, and by what."""

    soonest: date
    latest: date
    basis: str

    @property
    def near_from(self) -> date:
        """The last day on which it is not near yet."""
        return self.soonest - timedelta(days=NEAR_MOULT_DAYS)


def next_moult(card: Card) -> NextMoult:
    """Return when the next moult of an animal that has moulted may come: by its own intermoults where two are known."""
    moults = [entry.on for entry in card.all("moult")]
    spans = [a.days_until(b) for a, b in pairwise(moults)]
    if len(spans) < OWN_INTERMOULTS:
        low, high = USUAL_INTERMOULT
        basis = gettext(
            "12 to 18 months as in many adults (common practice, no source); her own known: {spans}", spans=len(spans)
        )
    else:
        low, high = min(span[0] for span in spans), max(span[1] for span in spans)
        middles = [sum(span) / 2 for span in spans]
        basis = gettext(
            "her own {spans} intermoults of {middles} days (sd {middles_2})",
            spans=len(spans),
            middles=number(mean(middles), ".0f"),
            middles_2=number(stdev(middles), ".0f"),
        )
    return NextMoult(moults[-1].first + timedelta(days=low), moults[-1].last + timedelta(days=high), basis)


def refused_near_moult(card: Card, animals: Animals) -> bool:
    """Tell whether an animal refused its last meal, has not moulted since, and a moult may be near.

    None is for a mature male, nor where mature females moult no more; for all others it may be, unless the animal is an
    adult or has two known intermoults, and these are not nearly over.
    """
    meal, moult = card.last("meal"), card.last("moult")
    if meal is None or meal.words != "refused" or (moult is not None and not moult.on.before(meal.on)):
        return False
    adult = bool(card.all("sac") or animals.pairings_of(card.id))
    if card.last_moult or (card.sex == "female" and adult and not moults_on(card, animals.group_of(card.id))):
        return False
    if moult is None or not (adult or len(card.all("moult")) > OWN_INTERMOULTS):
        return True
    return meal.on.last > next_moult(card).near_from
