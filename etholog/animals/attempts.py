"""What came of a female's pairings: one attempt for each intermoult, or for each sac where there were several."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Literal

from etholog.animals.card import SAC_NAMED, Entry
from etholog.animals.custody import custody
from etholog.animals.herd import Animals, Pairing, called
from etholog.animals.lot import Count, Left, Lot, Stage, counted, stage_of
from etholog.base.dates import Day
from etholog.base.language import gettext
from etholog.session.evidence import Evidence

Tries = dict[str, list["Attempt"]]
End = Literal["sac", "moult", "died", "open"]

# On one day a moult comes before a pairing and a pairing before a sac: anything else would need a remark.
_RANK = {"moult": 0, "paired": 1, "sac": 2, "died": 9}


@dataclass(frozen=True)
class Attempt:
    """The pairings of one female until a sac, a moult (which sheds the stored sperm) or her death.

    With a sac, `moult` and `died` are what came after it, and `of_sac` all that was told of it and its young.
    `stored`: the pairings before an earlier sac of this intermoult, whose sperm she may still have; a further sac
    without a further pairing has these alone. `doubts`: sentences on dates that don't say what came first. `left`: the
    day on which she was sold, given away or given back, for good.
    """

    female: str
    pairings: tuple[Pairing, ...] = ()
    sac: Entry | None = None
    eaten: Entry | None = None
    pulled: Entry | None = None
    opened: Entry | None = None
    of_sac: tuple[Entry, ...] = ()
    moult: Entry | None = None
    died: Entry | None = None
    stored: tuple[Pairing, ...] = ()
    doubts: tuple[str, ...] = ()
    left: Day | None = None

    @cached_property
    def taken(self) -> tuple[Pairing, ...]:
        """The pairings in which sperm may have been transferred."""
        return tuple(pairing for pairing in self.pairings if pairing.may_have_taken)

    @property
    def end(self) -> End:
        """What ended the waiting for a sac; 'open' as long as nothing did."""
        if self.sac:
            return "sac"
        return "moult" if self.moult else "died" if self.died else "open"

    @property
    def ended_on(self) -> Day | None:
        """When it ended."""
        entry = self.sac or self.moult or self.died
        return entry.on if entry else None

    @property
    def guarding(self) -> bool:
        """Whether she has a sac with her, as far as is known: a moult ends it, too."""
        return self.sac is not None and self.guarded_until is None

    @property
    def guarded_until(self) -> Day | None:
        """Since when she no longer has the sac with her; None as long as she has it, or where there is none."""
        told = [entry.on for entry in (self.eaten, self.pulled, self.opened, self.moult, self.died) if entry]
        if self.over:
            told.append(self.over)
        if self.left_the_sac:
            told += [one.on for one in self.lot.counts if one.state == "alive" and one.stage == Stage.SPIDERLINGS][:1]
        return min(told, key=lambda day: day.first) if self.sac and told else None

    def seen_until(self, today: date) -> Day:
        """Return the last day on which this keeper would have seen what comes: she may have left before today."""
        last = self.sac.on if self.sac else self.pairings[-1].on if self.pairings else None
        return self.left if self.left and not (last and self.left.before(last)) else Day.of(today)

    @property
    def left_the_sac(self) -> bool:
        """Whether living spiderlings were counted: whoever counts those has no closed sac any more."""
        return Stage.SPIDERLINGS in self.lot.alive

    @property
    def over(self) -> Day | None:
        """Since when it is known that none of the sac lives here any more; one that she ate is left aside."""
        if self.opened is None or any(count.state == "alive" for count in self.lot.counts):
            return self.lot.over
        held = stage_of(self.opened.words)
        return self.opened.on if held and held[1] != "alive" else None

    @property
    def apart(self) -> bool:
        """Whether the sac or its young are no longer with her, and need care of their own."""
        return bool(self.pulled or self.opened or self.left_the_sac) and not self.eaten

    @property
    def orphaned(self) -> bool:
        """Whether she died on a closed sac, and nothing was told of it since."""
        return bool(self.sac and self.died) and not (self.eaten or self.apart or self.over)

    @property
    def sires(self) -> tuple[str, ...]:
        """The males that may be the sire; more than one means that nobody knows which."""
        return tuple(dict.fromkeys(met.male for met in (*self.stored, *self.pairings) if met.may_have_taken))

    @property
    def sire_words(self) -> tuple[str, ...]:
        """The same in words: one that nobody named is unknown."""
        return tuple(called(name) for name in self.sires)

    @cached_property
    def lot(self) -> Lot:
        """Its young as they were counted, by stage, and those that left."""
        return Lot(tuple(one for entry in self.of_sac if (one := _of_lot(entry))))

    def may_take(self, kind: str) -> bool:
        """Whether an entry of this kind can be told of its sac, beside what was told of it."""
        if kind in ("eaten", "pulled"):
            return self.guarding
        if self.sac is None or self.eaten:
            return False
        if kind in ("incubated", "turned", "opened"):
            return bool(self.pulled or self.guarding) and not (self.opened or self.lot.young)
        sums = self.lot.closing
        return bool(self.pulled or self.opened) if sums is None else sums.alive > 0

    def all(self, kind: str) -> list[Entry]:
        """Return what was told of the sac of one kind, by date."""
        return [entry for entry in self.of_sac if entry.kind == kind]

    @property
    def counts(self) -> list[Entry]:
        """The counts of its young, by date; those too of which it is not clear what they count."""
        return self.all("count")

    @property
    def lot_id(self) -> str:
        """What the lot is called: its dam, and the day of the sac."""
        return f"{self.female} {self.sac.on.text}" if self.sac else ""

    @property
    def young(self) -> float | None:
        """The latest count of living young; None where nobody counted any. Eggs are none yet (those with legs are)."""
        young = self.lot.young
        return young.number if young else None

    @property
    def gave_young(self) -> bool:
        """Whether young live by the latest count, or left alive, as where all were placed and none is here."""
        return bool(self.young or any(one.number for one in self.lot.left))

    @property
    def best(self) -> Evidence:
        """The most that was seen in any of its pairings, sperm stored from before an earlier sac too."""
        return max((pairing.evidence for pairing in (*self.stored, *self.pairings)), default=Evidence.UNWATCHED)

    @property
    def sac_alone(self) -> bool:
        """Whether a sac is all that tells of an insertion: nobody saw one."""
        return self.sac is not None and self.best < Evidence.INSERTION

    @property
    def rests_on(self) -> str:
        """On what it rests that sperm may have been transferred, in words; '' where nothing says so."""
        if self.sac_alone:
            seen = self.best.words if self.stored or self.pairings else gettext("no pairing known")
            return gettext("a sac alone, of an insertion that nobody saw ({seen})", seen=seen)
        if self.sac or self.best >= Evidence.INSERTION:
            return self.best.words
        if self.best == Evidence.CLASP:
            return gettext("a clasp alone, no insertion was seen")
        return gettext("no more than their being together: {seen}", seen=self.best.words) if self.taken else ""

    @property
    def rung(self) -> Evidence | None:
        """The rung of the whole ladder that it reached; None unknown."""
        if self.sac:
            return Evidence.YOUNG if self.gave_young else Evidence.SAC
        known = [pairing.evidence for pairing in self.pairings if pairing.evidence.known]
        return max(known) if known else None


def _of_lot(entry: Entry) -> Count | Left | None:
    if entry.kind == "count":
        return counted(entry.on, entry.words, entry.number or 0)
    if entry.kind == "placed":
        return Left(entry.on, True, entry.words, entry.number or 0)
    return Left(entry.on, False, entry.words, 1) if entry.kind == "raised" else None


def attempts(animals: Animals, female: str) -> list[Attempt]:
    """Return a female's attempts, by date."""
    done: list[Attempt] = []
    now = Attempt(animals.id_of(female))
    for what in _life(animals, female):
        if isinstance(what, Pairing):
            if now.sac:
                done.append(now)
                now = Attempt(now.female, stored=(*now.stored, *now.taken))
            now = replace(now, pairings=(*now.pairings, what))
        elif what.kind == "sac":
            if now.sac:
                done.append(now)
                now = Attempt(now.female, stored=(*now.stored, *now.pairings))
            now = replace(now, sac=what)
        elif what.kind in SAC_NAMED:
            # The young of a sac are counted on when she has moulted, or is paired again.
            if meant := of_sac([*done, now], what.sac):
                done = [_told(one, what) if one is meant else one for one in done]
                now = _told(now, what) if now is meant else now
        elif what.kind == "moult":
            if now.pairings or now.sac:
                done.append(replace(now, moult=what))
            now = Attempt(now.female)
        elif what.kind == "died":
            now = replace(now, died=what)
    if now.pairings or now.sac:
        done.append(now)
    where = custody(animals.find(female))
    left = where.since if where.gone else None
    doubts = [tuple(_doubts(one, animals)) for one in done]
    return [replace(one, doubts=own, left=left) if own or left else one for one, own in zip(done, doubts, strict=True)]


def of_sac(own: Sequence[Attempt], sac: Day | None = None) -> Attempt | None:
    """Return the one of a female's attempts whose sac is meant: the sac of that date, else her last."""
    laid = [one for one in own if one.sac and not (sac and (one.sac.on.before(sac) or sac.before(one.sac.on)))]
    return laid[-1] if laid else None


def standing_wish(animals: Animals, male: str, female: str, own: Sequence[Attempt]) -> Pairing | None:
    """Return the pairing whose answer on these two meeting again still stands; `own`: her attempts.

    A chosen day falls when she has laid, or moulted, unless it lies after that: then it was chosen for afterwards."""
    wish = animals.wish_for(male, female)
    if wish is None or (day := wish.wished_on) is None:
        return wish
    of = next((one for one in own if wish in one.pairings), None)
    if of is None or of.end == "open":
        return wish
    ended = of.guarded_until if of.sac else of.ended_on
    return wish if ended and ended.before(day) else None


def _told(one: Attempt, entry: Entry) -> Attempt:
    """Return an attempt with one thing more that was told of its sac."""
    one = replace(one, of_sac=(*one.of_sac, entry))
    if entry.kind == "eaten":
        return replace(one, eaten=entry)
    if entry.kind == "pulled":
        return replace(one, pulled=entry)
    return replace(one, opened=entry) if entry.kind == "opened" else one


def by_female(animals: Animals) -> Tries:
    """Return the attempts of every female."""
    return {name: attempts(animals, name) for name in animals.known() if animals.sex_of(name) == "female"}


def of_layers(animals: Animals) -> Tries:
    """Return the attempts of the females that have laid."""
    return {one.id: attempts(animals, one.id) for one in animals.cards.values() if one.all("sac")}


def _life(animals: Animals, female: str) -> list[Pairing | Entry]:
    card = animals.find(female)
    told = card.all("moult", "sac", *SAC_NAMED, "died") if card else []
    met = [pairing for pairing in animals.pairings_of(female) if pairing.female == animals.id_of(female)]
    return sorted([*met, *told], key=_when)


def _when(what: Pairing | Entry) -> tuple[int, int]:
    kind = "paired" if isinstance(what, Pairing) else what.kind
    # What becomes of a sac, and a death, come after what else happened in a month that is all they are known to.
    day = what.on.first if kind in ("moult", "paired", "sac") else what.on.last
    return day.toordinal(), _RANK.get(kind, 3)


def _doubts(one: Attempt, animals: Animals) -> Iterator[str]:
    card = animals.find(one.female)
    for moult in card.all("moult") if card else []:
        for pairing in one.pairings:
            if not moult.on.before(pairing.on) and not pairing.on.before(moult.on):
                yield gettext(
                    "moult {moult} and pairing {pairing}: which came first?",
                    moult=moult.on.text, pairing=pairing.on.text,
                )  # fmt: skip
    if len(one.sires) > 1:
        yield gettext("sire unsure: {names}", names=gettext(" or ").join(one.sire_words))
    for a, b, lost in one.lot.lost:
        if lost < 0:
            yield gettext(
                "more {later} than {earlier}: counted again, or of two sacs?", later=gettext(b), earlier=gettext(a)
            )
