"""All animals of a workspace: their cards, and the pairings that sessions and cards know of."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from pathlib import Path

from etholog.animals import cards as cards_
from etholog.animals import naming
from etholog.animals.card import LASTING, Card
from etholog.animals.custody import arrival
from etholog.animals.groups import Group, group_of
from etholog.animals.pedigree import UNKNOWN, Chances, Parents, circles, weighed
from etholog.animals.species import Synonyms, synonyms
from etholog.base.dates import Day
from etholog.base.journal import Scalar
from etholog.base.language import gettext
from etholog.base.refusal import Finding, Refusal
from etholog.base.text import nearest
from etholog.base.workspace import workspace as meant_by
from etholog.ethogram import NEEDED, Ethogram
from etholog.session import closing, digest, endings
from etholog.session.broken_off import broken_off
from etholog.session.digest import Digest
from etholog.session.evidence import Evidence

# Two that meet so many days before the day that was chosen for them have met for it (our own choice).
AHEAD_DAYS = 7


def called(name: str) -> str:
    """Return what an animal is called, in words: one that nobody named in its session is unknown."""
    return name or gettext("unknown")


@dataclass(frozen=True)
class Pairing:
    """One introduction: from a session's file, or from a card's `paired` where there was none."""

    male: str
    female: str
    on: Day
    species: str = ""
    file: Path | None = None
    ended: str = ""
    # What a keeper writes on a card without a session says that they were together, and no more.
    evidence: Evidence = Evidence.UNWATCHED
    ethogram: Ethogram | None = None
    strikes: int = 0
    # What the keeper answered at its end.
    answers: Mapping[str, Scalar] = field(default_factory=dict, hash=False)

    def mate_of(self, who: str) -> str:
        """Return with whom one of the two was, by the ids that they have now, in words."""
        return called(self.female if self.male == who else self.male)

    @property
    def came_of_it(self) -> list[str]:
        """How it went and ended, in words: her strikes, and the keeper's answer; nothing where neither is known."""
        struck = {0: "", 1: "she struck once"}.get(self.strikes, f"she struck {self.strikes} times")
        return [said for said in (struck, self.ended) if said]

    @property
    def wish(self) -> str:
        """Whether these two shall be paired again: 'yes', 'no', 'never', or ''."""
        return closing.wish(self.answers)

    @property
    def turned_down(self) -> bool:
        """Whether the keeper answered that these two shall not be paired again."""
        return self.wish in (closing.NO, closing.NEVER)

    @property
    def wished_on(self) -> Day | None:
        """When, where the answer is yes, or a date was given alone."""
        return None if self.turned_down else closing.wished_day(self.answers, self.on.first)

    @property
    def male_whole(self) -> bool | None:
        """Whether he came out whole; None where that was not answered."""
        whole = self.answers.get("male_whole")
        return whole if isinstance(whole, bool) else None

    @property
    def female_after(self) -> str:
        """How she was after it, or ''."""
        return str(self.answers.get("female_after") or "")

    @property
    def may_have_taken(self) -> bool:
        """Whether sperm may have been transferred: from a clasp upwards, or where nobody knows."""
        return self.evidence.may_have_taken


@dataclass(frozen=True)
class Animals:
    """Cards by id, pairings by date, and sentences on what could not be used."""

    folder: Path
    cards: dict[str, Card] = field(default_factory=dict)
    pairings: list[Pairing] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    broken_off: list[Path] = field(default_factory=list)
    """The sessions that were never ended, the latest first."""

    @cached_property
    def _names(self) -> dict[str, str]:
        return {name: one.id for one in self.cards.values() for name in one.names}

    def id_of(self, name: str) -> str:
        """Return the id under which an animal is known now; a renamed one answers to each of its names."""
        return self._names.get(name, name)

    def find(self, name: str) -> Card | None:
        """Return the card of an animal, by any of its names."""
        return self.cards.get(self.id_of(name))

    def died(self, name: str) -> Day | None:
        """Return when an animal died: as its card says, or a male in the last of his sessions."""
        one = self.find(name)
        if one is not None and one.died:
            return one.died
        met = self.pairings_of(name)
        killed = met and met[-1].male == self.id_of(name) and met[-1].ended == endings.KILLED
        return met[-1].on if killed else None

    def require(self, name: str) -> str:
        """Return an animal's id. Raises Refusal, with the nearest names, for one that nothing is known of."""
        if self.id_of(name) not in self.known():
            raise Refusal(f"no card and no session of {name!r}{nearest(name, self.known())}")
        return self.id_of(name)

    def known(self) -> list[str]:
        """Return the ids of all animals that cards or sessions know."""
        met = {name for pairing in self.pairings for name in (pairing.male, pairing.female)}
        return sorted({*self.cards, *met} - {""})

    @cached_property
    def on_record(self) -> frozenset[str]:
        """The ids of all animals that have a card or a session; one that another's card names is none of them."""
        met = (name for p in self.pairings if p.file for name in (p.male, p.female))
        return frozenset({*self.cards, *met} - {""})

    def may_be(self, sex: str) -> list[str]:
        """Return who on record is of a sex, or of one that nobody knows; all of them for 'unknown'."""
        return self._by_sex[sex]

    @cached_property
    def _by_sex(self) -> dict[str, list[str]]:
        names = {name: self.sex_of(name) for name in sorted(self.on_record)}
        both = {sex: [name for name, told in names.items() if told in (sex, "unknown")] for sex in ("male", "female")}
        return {**both, "unknown": [*names]}

    def sex_of(self, name: str) -> str:
        """Return an animal's sex: as its card says, or from the part that it had in a session."""
        one = self.find(name)
        if one is not None and one.sex != "unknown":
            return one.sex
        met = self.pairings_of(name)
        if any(pairing.male == self.id_of(name) for pairing in met):
            return "male"
        return "female" if met else "unknown"

    def species_of(self, name: str) -> str:
        """Return an animal's species: as its card says, or as its last session does."""
        one = self.find(name)
        if one is not None and one.species:
            return one.species
        return next((p.species for p in reversed(self.pairings_of(name)) if p.species), "")

    def genus_of(self, name: str) -> str:
        """Return an animal's genus by the accepted name of its species, or ''."""
        return self.synonyms.resolve(self.species_of(name))[0].capitalize()

    @cached_property
    def synonyms(self) -> Synonyms:
        """The names of species that are one, the keeper's own table before the shipped one."""
        return synonyms(self.folder)

    def group_of(self, name: str) -> Group:
        """Return an animal's group of spiders: by the ethogram of its last session, its genus, or its `family`."""
        one = self.find(name)
        return group_of(self.species_of(name), self.ethogram_of(name), one.fact("family") if one else "")

    def ethogram_of(self, name: str) -> str:
        """Return the name of the ethogram of an animal's last session, or ''."""
        return next((p.ethogram.name for p in reversed(self.pairings_of(name)) if p.ethogram), "")

    @cached_property
    def smallest_adult(self) -> dict[tuple[str, str], tuple[float, str]]:
        """By accepted name, the smallest leg span (mm) of a female that has laid or was paired, and whose it is."""
        found: dict[tuple[str, str], tuple[float, str]] = {}
        for one in self.cards.values():
            size, species = one.last("size"), self.species_of(one.id)
            adult = self.sex_of(one.id) == "female" and (one.all("sac") or self.pairings_of(one.id))
            if adult and species and size and size.number:
                of = self.synonyms.resolve(species)
                found[of] = min(found.get(of, (size.number, one.id)), (size.number, one.id))
        return found

    def lasting_id(self, name: str) -> str:
        """Return what every copy of an animal's card is known by, and no other keeper's of the same name; its name
        where it has no card."""
        card = self.find(name)
        if card is None:
            return self.id_of(name)
        from etholog.animals.lines import lines  # which loads pydantic

        return lines(card.path).identity

    def pairings_of(self, name: str) -> list[Pairing]:
        """Return an animal's pairings, by date."""
        who = self.id_of(name)
        return list(self._pairings_by_animal.get(who, []))

    @cached_property
    def _pairings_by_animal(self) -> dict[str, list[Pairing]]:
        found: dict[str, list[Pairing]] = {}
        for pairing in self.pairings:
            for who in {pairing.male, pairing.female}:
                found.setdefault(who, []).append(pairing)
        return found

    def wish_for(self, male: str, female: str) -> Pairing | None:
        """Return the pairing after which the keeper last answered whether these two shall meet again, while that
        stands: a day until they met on it, after it, or within the week before; a no until another answer."""
        him, her = self.id_of(male), self.id_of(female)
        met = [pairing for pairing in self.pairings_of(her) if (pairing.male, pairing.female) == (him, her)]
        for at in reversed(range(len(met))):
            answered, later = met[at], met[at + 1 :]
            day = answered.wished_on
            if day and any((day.first - pairing.on.last).days <= AHEAD_DAYS for pairing in later):
                return None
            if day or answered.wish:
                return answered
        return None

    def is_open(self, male: str, female: str) -> bool:
        """Tell whether nobody has decided yet if and when these two shall be paired again."""
        wish = self.wish_for(male, female)
        return wish is None or not (wish.turned_down or wish.wished_on)

    def uncharged(self, name: str) -> str:
        """Return since which pairing that may have taken no sperm web of a male's was seen, in words; '' where one
        surely was, or where there is no such pairing."""
        card, who = self.find(name), self.id_of(name)
        web = card.last("sperm_web") if card else None
        taken = [p for p in self.pairings_of(who) if p.male == who and p.may_have_taken]
        if not taken or (web and taken[-1].on.before(web.on)):
            return ""
        day = taken[-1].on.text
        if taken[-1].evidence >= Evidence.INSERTION:
            return gettext("no sperm web seen since he inserted on {day}", day=day)
        return gettext("no sperm web seen since he may have inserted on {day}", day=day)

    def not_whole(self, name: str) -> Pairing | None:
        """Return the session after which a male was not whole; None where no answer since says so."""
        who = self.id_of(name)
        told = [p for p in self.pairings_of(who) if p.male == who and p.male_whole is not None]
        return told[-1] if told and not told[-1].male_whole else None

    def as_of(self, day: date) -> "Animals":
        """Return how things were at the end of a day: what happened later is left out. What an animal is (its species,
        sex, parents) it was then, too, though its card said so later."""
        later = {name: one for name, one in self.cards.items() if one.entries and one.entries[-1].on.first > day}
        cards = self.cards | {name: _as_of(one, day) for name, one in later.items()}
        return Animals(self.folder, cards, [p for p in self.pairings if p.on.first <= day], self.findings)

    @cached_property
    def parents(self) -> dict[str, Parents]:
        """Each animal's possible dams and sires, by id; unknown for those that would be their own ancestors."""
        return self._told_parents | dict.fromkeys((name for ring in self.circles for name in ring), UNKNOWN)

    @cached_property
    def _told_parents(self) -> dict[str, Parents]:
        return {one.id: Parents(*self._parents_of(one), self._unsure_of(one)) for one in self.cards.values()}

    @cached_property
    def circles(self) -> list[tuple[str, ...]]:
        """The rings of animals each of which would be its own ancestor, as the cards say."""
        return circles(self._told_parents)

    def _parents_of(self, one: Card) -> tuple[Chances, Chances]:
        dam, sire = (self.possible(one.fact(kind)) for kind in ("dam", "sire"))
        return dam, sire

    @staticmethod
    def _unsure_of(one: Card) -> frozenset[str]:
        told = {kind: one.told_last(kind) for kind in ("dam", "sire")}
        return frozenset(kind for kind, entry in told.items() if entry and not entry.sure)

    def possible(self, words: str) -> Chances:
        """Return who may be the parent by the words of `dam` or `sire`: `M-1`, `M-1 or M-2`, `M-1:3 or M-2:1`.

        Without a weight for each, all are equally likely. A name that itself holds an `or` is a name where an animal
        has it.
        """
        told = [(words, None)] if self.id_of(words) in self.cards else weighed(words)
        weights = [weight or 0.0 for _, weight in told]
        if not all(weights):
            weights = [1.0] * len(told)
        chances: dict[str, float] = {}
        for (name, _), weight in zip(told, weights, strict=True):
            chances[self.id_of(name)] = chances.get(self.id_of(name), 0.0) + weight / sum(weights)
        return tuple(chances.items())

    def having(self, cards: dict[str, Card]) -> "Animals":
        """Return the herd as it would be with these cards in the place of its own."""
        alone = Animals(self.folder, self.cards | cards)
        watched = [pairing for pairing in self.pairings if pairing.file]
        return replace(alone, pairings=_by_date([*watched, *_from_cards(alone, watched)]), findings=self.findings)


def read(workspace: Path, sessions: Path | None = None) -> Animals:
    """Read the cards in `animals/` and the pairings in `sessions/` of a workspace; what can't be used becomes a
    finding. `sessions`: its folder of sessions, where that is known to be another one."""
    if sessions is None:
        meant = meant_by(workspace)
        workspace, sessions = meant.root, meant.sessions
    found, findings = cards_.read(workspace / "animals")
    # Where all was taken back there is no animal: its name was a slip of the keyboard.
    cards, unclear = naming.gathered([one for one in found if one.entries or one.findings])
    findings += unclear
    alone = Animals(workspace, cards)
    told, unread = digest.read(sessions)
    counted = digest.counted(told)
    watched = _from_sessions(sessions, counted, alone)
    pairings = _by_date([*watched, *_from_cards(alone, watched)])
    findings += [*unread, *_untold(sessions, counted)]
    return Animals(workspace, cards, pairings, findings, broken_off(sessions, told))


def _as_of(one: Card, day: date) -> Card:
    """Return a card as it was at the end of a day, with when the animal came, where that was later."""
    came = arrival(one)
    kept = tuple(entry for entry in one.entries if entry.on.first <= day or entry.kind in LASTING)
    return replace(one, entries=kept, arrives=came if came and came.first > day else None)


def _by_date(pairings: list[Pairing]) -> list[Pairing]:
    return sorted(pairings, key=lambda pairing: (pairing.on.first, pairing.file.name if pairing.file else ""))


def _from_sessions(folder: Path, told: Iterable[Digest], known: Animals) -> list[Pairing]:
    return [
        Pairing(
            known.id_of(one.male),
            known.id_of(one.female),
            Day.of(one.on),
            one.species,
            folder / one.name,
            str(one.answers.get("ended") or ""),
            one.evidence,
            one.ethogram,
            one.strikes,
            one.answers,
        )
        for one in told
    ]


def _untold(folder: Path, told: Iterable[Digest]) -> Iterator[Finding]:
    for one in told:
        if one.evidence == Evidence.UNTOLD:
            yield Finding("what was recorded can't be told", one.ethogram.missing(*NEEDED), folder / one.name)


def _from_cards(known: Animals, watched: list[Pairing]) -> Iterator[Pairing]:
    """A pairing written on both cards is one pairing, and one that was watched on that day is the session's."""
    seen = {(pairing.male, pairing.female, pairing.on.text) for pairing in watched}
    for one in known.cards.values():
        for entry in one.all("paired"):
            mate = known.id_of(entry.words)
            sexes = known.sex_of(one.id), known.sex_of(mate)
            his = sexes[1] != "male" and (sexes[0] == "male" or sexes == ("unknown", "female"))
            pair = (one.id, mate) if his else (mate, one.id)
            if (*pair, entry.on.text) not in seen:
                seen.add((*pair, entry.on.text))
                yield Pairing(*pair, entry.on, known.species_of(one.id))
