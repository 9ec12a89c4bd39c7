"""Whether a female is adult or growing yet, by what is on record: one answer for `ready` and `plan`."""

from collections.abc import Sequence
from datetime import date
from itertools import pairwise
from typing import NamedTuple

from etholog.animals.attempts import Attempt
from etholog.animals.card import Card
from etholog.animals.herd import Animals
from etholog.base.dates import Day
from etholog.base.language import gettext, number

# Female tarantulas take years until they are adult, and then seldom moult within half a year, however small their kind
# (common practice, no source).
GROWING_DAYS = 365
GROWING_INTERMOULT = 183
GROWING_SPAN = 0.5  # of the smallest adult female of her species on record (our own choice)


class Grown(NamedTuple):
    """What says that a female is adult, and else what says that she is growing yet; '' where nothing does."""

    adult: str = ""
    growing: str = ""


def grown(name: str, animals: Animals, tries: Sequence[Attempt], today: date) -> Grown:
    """Return what is on record of a female's being adult. `tries`: her attempts. Whoever was paired was adult to her
    keeper, so nothing says of her that she is growing."""
    card, group = animals.find(name), animals.group_of(name)
    sac = next((one.sac for one in tries if one.sac), None)
    if sac:
        return Grown(gettext("adult: she laid a sac on {day}", day=sac.on.text))
    if card and card.last_moult:
        return Grown(gettext("adult: last moult {day}", day=card.last_moult.on.text))
    if card is None or tries or not group.females_moult:
        return Grown()
    return Grown(growing=_young(card, today) or _often(card) or _small(card, animals))


def _young(card: Card, today: date) -> str:
    born = card.last("born")
    if born is None or born.on.days_until(Day.of(today))[1] >= GROWING_DAYS:
        return ""
    return gettext("she may not be adult: born {day}", day=born.on.text)


def _often(card: Card) -> str:
    for before, last in list(pairwise(card.all("moult")))[-1:]:
        if before.on.days_until(last.on)[1] < GROWING_INTERMOULT:
            return gettext("she may not be adult: moulted {first} and {last}", first=before.on.text, last=last.on.text)
    return ""


def _small(card: Card, animals: Animals) -> str:
    size, adult = card.last("size"), animals.smallest_adult.get(animals.synonyms.resolve(animals.species_of(card.id)))
    if adult is None or size is None or not size.number or size.number >= GROWING_SPAN * adult[0]:
        return ""
    return gettext(
        "she may not be adult: leg span {size} mm, and {who} of her species {least} mm",
        size=number(size.number, "g"), who=adult[1], least=number(adult[0], "g"),
    )  # fmt: skip
