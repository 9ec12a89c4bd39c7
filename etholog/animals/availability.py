"""When an animal is free to be paired: the days between which nothing on its card stands against it, and what bounds
them. Windows are habits of keepers; the keeper decides."""

from dataclasses import dataclass
from datetime import date, timedelta

from etholog.animals.attempts import Tries, attempts
from etholog.animals.card import Card
from etholog.animals.care import Window
from etholog.animals.custody import custody
from etholog.animals.growing import grown
from etholog.animals.herd import Animals
from etholog.animals.moults import hardened_on, moults_on, next_moult
from etholog.base.language import gettext, ngettext


@dataclass(frozen=True)
class Free:
    """From when to when an animal is free; `speaks_for` and `against` are sentences, `unknown` what is not known.

    `shut` says why it is not free at all within the time asked for; then the dates mean nothing. `growing` says why she
    may not be adult: nobody proposes her then, but the keeper may.
    """

    animal: str
    sex: str
    first: date
    last: date
    speaks_for: tuple[str, ...] = ()
    against: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    shut: str = ""
    growing: str = ""


class _Span:
    """The time asked for, narrowed step by step, with the reasons."""

    def __init__(self, animal: str, sex: str, first: date, last: date) -> None:
        self.animal, self.sex, self.first, self.last = animal, sex, first, last
        self.good: list[str] = []
        self.bad: list[str] = []
        self.unknown: list[str] = []
        self.shut = self.growing = ""
        self._why = ""

    def from_(self, day: date, why: str) -> None:
        if day > self.first:
            self.first, self._why = day, why
            self.bad.append(gettext("not before {day}: {why}", day=day, why=why))

    def until(self, day: date, why: str) -> None:
        if day < self.last:
            self.last, self._why = day, why
            self.bad.append(gettext("not after {day}: {why}", day=day, why=why))

    def close(self, why: str) -> None:
        self.shut = self.shut or why

    def free(self) -> Free:
        if not self.shut and self.first > self.last:
            self.shut = self._why
        said = (tuple(self.good), tuple(self.bad), tuple(self.unknown))
        return Free(self.animal, self.sex, self.first, self.last, *said, self.shut, self.growing)


def free(name: str, animals: Animals, mine: Window | None, tries: Tries, today: date, until: date, rest: int) -> Free:
    """Return when an animal is free between two dates.

    Parameters
    ----------
    name: its id.
    mine: the windows of its kind; None where none is known.
    tries: the attempts of all females.
    rest: days that a male rests after a pairing.
    """
    card, sex = animals.find(name), animals.sex_of(name)
    span = _Span(name, sex, today, until)
    _alive(span, animals, card)
    if sex == "male":
        _his(span, animals, card, mine, rest)
    elif sex == "female":
        _hers(span, animals, card, mine, tries)
    else:
        span.close(gettext("its sex is not known"))
    return span.free()


def _alive(span: _Span, animals: Animals, card: Card | None) -> None:
    if died := animals.died(span.animal):
        span.close(gettext("died on {day}", day=died.text))
    where = custody(card)
    if where.at_hand and where.keeper and not where.until:
        span.good.append(where.words)
    if where.gone:
        span.close(where.words)
    elif where.where == "coming" and where.since:
        span.from_(where.since.last, gettext("it is not here yet"))
    elif where.where == "lent":
        if where.until and where.until.last < span.first:
            span.unknown.append(where.words)  # overdue: it may be back, or not
        elif where.until:
            span.from_(where.until.last, where.words)
        else:
            span.close(gettext("{where}, nobody knows until when", where=where.words))
    elif where.where == "borrowed" and where.until:
        span.until(where.until.first, where.words)


def _his(span: _Span, animals: Animals, card: Card | None, mine: Window | None, rest: int) -> None:
    met = [pairing for pairing in animals.pairings_of(span.animal) if pairing.male == span.animal]
    moult = card.last_moult if card else None
    if moult is None:
        if not met and not (card and card.all("sperm_web")):
            span.close(gettext("no last moult, no sperm web and no pairing on record: is he mature?"))
        span.unknown.append(gettext("his last moult is not on record"))
        if met and mine:
            high = mine.care.prime[1]
            why = gettext(
                "mature by {day}, when paired first; most pair until {high} days after the last moult ({source})",
                day=met[0].on.text, high=high, source=mine.care_source,
            )  # fmt: skip
            span.until(met[0].on.last + timedelta(days=high), why)
    elif mine is None:
        span.unknown.append(gettext("how long his kind can pair is not known"))
    else:
        low, high = mine.care.prime
        why = gettext(
            "most pair {low} to {high} days after the last moult, {moult} ({source})",
            low=low, high=high, moult=moult.on.text, source=mine.care_source,
        )  # fmt: skip
        span.from_(moult.on.last + timedelta(days=low), why)
        span.until(moult.on.first + timedelta(days=high), why)
    if met:
        span.from_(met[-1].on.last + timedelta(days=rest), _rested(rest, met[-1].on.text))
    web = card.last("sperm_web") if card else None
    if web is None:
        span.unknown.append(gettext("no sperm web seen"))
    elif since := animals.uncharged(span.animal):
        span.unknown.append(since)
    else:
        span.good.append(gettext("sperm web {day}", day=web.on.text))


def _hers(span: _Span, animals: Animals, card: Card | None, mine: Window | None, tries: Tries) -> None:
    own = tries.get(span.animal) or attempts(animals, span.animal)
    group = animals.group_of(span.animal)
    last = own[-1] if own else None
    told = grown(span.animal, animals, own, span.first)
    span.growing = told.growing
    if told.adult:
        span.good.append(told.adult)
    else:
        span.unknown.append(told.growing or gettext("is she adult? no sac is known"))
    moult = card.last("moult") if card else None
    if card and moult and (hardened := hardened_on(card, group)):
        span.from_(hardened, gettext("moulted {day}: she has to harden and feed", day=moult.on.text))
        after = next_moult(card)
        span.until(after.near_from, gettext("her next moult may be near, by {basis}", basis=after.basis))
    elif moults_on(card, group):
        span.unknown.append(gettext("no moult on her card: she may moult soon"))
    if last is None or last.moult:
        return
    if last.guarding and last.sac and mine:
        freed, guards = last.sac.on.last + timedelta(days=mine.care.free[1]), last.sac.on.text
        span.from_(freed, gettext("guards a sac since {day}", day=guards))
        if freed < span.first:
            span.unknown.append(gettext("guards a sac since {day}: what became of it?", day=guards))
    elif last.guarding and last.sac:
        span.close(gettext("guards a sac since {day}", day=last.sac.on.text))
    elif last.sac is None and last.taken:
        span.close(
            gettext(
                "with {males} on {day}: another male would make the sire unsure",
                males=gettext(" and ").join(last.sire_words),
                day=last.taken[-1].on.text,
            )
        )


def _rested(days: int, after: str) -> str:
    return ngettext("{n} day of rest after {day}", "{n} days of rest after {day}", days, day=after)


def week_of(day: date) -> date:
    """Return the Monday of a day's week."""
    return day - timedelta(days=day.weekday())
