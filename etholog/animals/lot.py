"""The young of one sac, counted by stage: what was laid, what is alive at each stage, what was lost between, who left
it; and whether the numbers close."""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from typing import NamedTuple

from etholog.base.dates import Day
from etholog.base.language import gettext, gettext_noop, number


class Stage(IntEnum):
    """How far the young are, in the order in which they get there. Names differ by country; these are told apart."""

    EGGS = 0
    EGGS_WITH_LEGS = 1
    NYMPHS = 2  # the keeper did not say of which instar
    FIRST_INSTAR = 3
    SECOND_INSTAR = 4
    SPIDERLINGS = 5

    @property
    def words(self) -> str:
        """The stage as it is written on a card."""
        return gettext(_WORDS[self])


_WORDS = {
    Stage.EGGS: gettext_noop("eggs"),
    Stage.EGGS_WITH_LEGS: gettext_noop("eggs with legs"),
    Stage.NYMPHS: gettext_noop("nymphs"),
    Stage.FIRST_INSTAR: gettext_noop("first instar nymphs"),
    Stage.SECOND_INSTAR: gettext_noop("second instar nymphs"),
    Stage.SPIDERLINGS: gettext_noop("spiderlings"),
}
_READ = (
    (r"eggs?", Stage.EGGS),
    (r"eggs? with legs|ewls?", Stage.EGGS_WITH_LEGS),
    (r"nymphs?", Stage.NYMPHS),
    (r"(1st|first) instars?( nymphs?)?|nymphs? (1st|first) instar|n1", Stage.FIRST_INSTAR),
    (r"(2nd|second) instars?( nymphs?)?|nymphs? (2nd|second) instar|n2", Stage.SECOND_INSTAR),
    (r"(free )?spiderlings?|slings?", Stage.SPIDERLINGS),
)
_STATES = {"alive": "alive", "living": "alive", "good": "alive", "dead": "dead", "bad": "bad", "infertile": "bad"}
CHOICES = f"{', '.join(_WORDS.values())}, with 'dead' or 'bad' before it where they are"


class Count(NamedTuple):
    """So many at one stage on a date. `state`: 'alive', 'dead' or 'bad' (infertile)."""

    on: Day
    stage: Stage
    state: str
    number: float


def stage_of(words: str) -> tuple[Stage, str] | None:
    """Read the words of a count; None where they don't say the stage, or say what is no stage that we know.

    >>> stage_of("infertile eggs (bad)"), stage_of("Eier")
    ((<Stage.EGGS: 0>, 'bad'), None)
    """
    told = re.findall(r"\w+", words.lower())
    states = {_STATES[word] for word in told if word in _STATES}
    rest = " ".join(word for word in told if word not in _STATES)
    stage = next((stage for pattern, stage in _READ if re.fullmatch(pattern, rest)), None)
    if stage is None or len(states) > 1:
        return None
    return stage, states.pop() if states else "alive"


def counted(on: Day, words: str, number: float) -> Count | None:
    """Return a count as it is told; None where that is unclear: nobody knows what it counts."""
    what = stage_of(words)
    return Count(on, *what, number) if what else None


class Left(NamedTuple):
    """So many that left the lot on a date: `placed` with `who` ('' where that is not told), or else raised, each into
    the card of `who`."""

    on: Day
    placed: bool
    who: str
    number: float


class Closing(NamedTuple):
    """The numbers of a lot, from the first day on which it was counted: `began` = `alive` + `dead` + `placed` +
    `raised` + `missing`. `laid`: whether it began with eggs; `missing` is below 0 where there are more than there can
    be, as where more left than were alive by the last count: nobody is left then."""

    began: float
    laid: bool
    alive: float
    dead: float
    placed: float
    raised: float

    @property
    def missing(self) -> float:
        """How many nobody told of."""
        return self.began - self.alive - self.dead - self.placed - self.raised

    @property
    def words(self) -> str:
        """The sum on one line: `laid 220 = alive 150 + dead 40 + placed 20 + raised 1, and 9 not told of`."""
        parts = [gettext("alive {n}", n=number(self.alive, "g")), gettext("dead {n}", n=number(self.dead, "g"))]
        parts += [gettext("placed {n}", n=number(self.placed, "g"))] if self.placed else []
        parts += [gettext("raised {n}", n=number(self.raised, "g"))] if self.raised else []
        began = {"n": number(self.began, "g"), "parts": " + ".join(parts)}
        said = gettext("laid {n} = {parts}", **began) if self.laid else gettext("first counted {n} = {parts}", **began)
        if self.missing > 0:
            said += gettext(", and {n} not told of", n=number(self.missing, "g"))
        elif self.missing < 0:
            said += gettext(", which is {n} too many", n=number(-self.missing, "g"))
        return said


@dataclass(frozen=True)
class Lot:
    """All clear counts of one sac and those that left it, in the order in which they were told."""

    told: tuple[Count | Left, ...] = ()

    @property
    def counts(self) -> tuple[Count, ...]:
        """The counts, by date."""
        return tuple(one for one in self.told if isinstance(one, Count))

    @property
    def left(self) -> tuple[Left, ...]:
        """Those that left, by date."""
        return tuple(one for one in self.told if isinstance(one, Left))

    @property
    def closing(self) -> Closing | None:
        """The sum of all numbers; None where nobody counted.

        Living ones counted on one day at several stages add up; the latest such day tells how many there are, less
        those that died or left after it.
        """
        if not self.counts:
            return None
        first = self.counts[0].on
        dead = {(one.on, one.stage, one.state): one.number for one in self.counts if one.state != "alive"}
        began = self.laid
        if began is None:
            same = {(one.stage, one.state): one.number for one in self.counts if one.on == first}
            began = sum(same.values())
        living = [at for at, one in enumerate(self.told) if isinstance(one, Count) and one.state == "alive"]
        alive, since = 0.0, first
        if living:
            since, later = self.told[living[-1]].on, self.told[living[-1] + 1 :]
            alive = sum(
                {one.stage: one.number for one in self.counts if one.on == since and one.state == "alive"}.values()
            )
            # The dead of the day of a count are no longer among the living that were counted.
            alive -= sum(n for (on, _, _), n in dead.items() if since.first < on.first)
            alive -= sum(one.number for one in later if isinstance(one, Left))
        placed, raised = (sum(one.number for one in self.left if one.placed == how) for how in (True, False))
        return Closing(began, self.laid is not None, max(0.0, alive), sum(dead.values()), placed, raised)

    @property
    def unclosed(self) -> Count | None:
        """The count of dead with which the numbers would close, on the day of the latest count of the living; None
        where none are missing."""
        sums, living = self.closing, [one for one in self.counts if one.state == "alive"]
        if sums is None or sums.missing <= 0 or not living:
            return None
        on, stage = living[-1].on, living[-1].stage
        same = [one.number for one in self.counts if (one.on, one.stage, one.state) == (on, stage, "dead")]
        return Count(on, stage, "dead", sums.missing + (same[-1] if same else 0))

    @classmethod
    def of(cls, told: Iterable[tuple[Day, str, float]]) -> "Lot":
        """Return the lot of counts in the order of their dates, each (date, words, number)."""
        return cls(tuple(filter(None, (counted(*one) for one in told))))

    @property
    def laid(self) -> float | None:
        """All that was counted on the first day on which eggs were: good, dead and bad ones, and those with legs. None
        where nobody counted eggs, or only after young."""
        eggs = next((one.on for one in self.counts if one.stage == Stage.EGGS), None)
        if eggs is None or any(one.stage > Stage.EGGS and one.on.before(eggs) for one in self.counts):
            return None
        return sum({(one.stage, one.state): one.number for one in self.counts if one.on == eggs}.values())

    @property
    def alive(self) -> dict[Stage, float]:
        """The latest count of the living at each stage."""
        latest = {count.stage: count.number for count in self.counts if count.state == "alive"}
        return dict(sorted(latest.items()))

    @property
    def young(self) -> Count | None:
        """The latest count of living young; eggs are none yet (those with legs are)."""
        young = [count for count in self.counts if count.state == "alive" and count.stage > Stage.EGGS]
        return max(young, key=lambda count: (count.on.first, count.stage), default=None)

    @property
    def lost(self) -> list[tuple[str, str, float]]:
        """How many were lost on the way from each known number to the next: (from, to, number). Those that left between
        the two are not lost."""
        known = self._known()
        return [
            (a, b, before - after - sum(one.number for one in self.told[since:until] if isinstance(one, Left)))
            for (a, before, since), (b, after, until) in pairwise(known)
        ]

    def _known(self) -> Sequence[tuple[str, float, int]]:
        """Return what is known in numbers, how many, and where among what was told."""
        laid = [] if self.laid is None else [(gettext("laid"), self.laid, 0)]
        at = {one.stage: n for n, one in enumerate(self.told) if isinstance(one, Count) and one.state == "alive"}
        return [*laid, *((stage.words, number, at[stage]) for stage, number in self.alive.items())]

    @property
    def over(self) -> Day | None:
        """Since when none of it lives here any more; None where some may."""
        living = [one for one in self.counts if one.state == "alive"]
        sums = self.closing
        if sums is None or sums.alive > 0 or not living:
            return None
        return self.told[-1].on if living[-1].number else living[-1].on

    @property
    def words(self) -> str:
        """The whole lot on one line: `laid 220, nymphs 150 (70 lost), alive 120`."""
        lost = ["", *(gettext(" ({n} lost)", n=number(n, "g")) if n > 0 else "" for _, _, n in self.lost)]
        known = zip(self._known(), lost, strict=False)
        said = [f"{what} {number(n, 'g')}{less}" for (what, n, _), less in known]
        sums, living = self.closing, [one for one in self.counts if one.state == "alive"]
        last = {one.stage: one.number for one in living if one.on == living[-1].on}
        if sums and living and sums.alive != sum(last.values()):
            said.append(gettext("alive {n}", n=number(sums.alive, "g")))
        return ", ".join(said)


_OF_SAC = re.compile(r"(.*?)\s*\bof (\d{4}(?:-\d{2}){0,2})", re.ASCII | re.DOTALL)


def of_sac(words: str) -> tuple[str, str]:
    """Return words without their end that says of which sac they are told, and that sac's date; '' where none is said.

    >>> of_sac("nymphs of 2026-05-01"), of_sac("of 2026-05-01"), of_sac("nymphs")
    (('nymphs', '2026-05-01'), ('', '2026-05-01'), ('nymphs', ''))
    """
    found = _OF_SAC.fullmatch(words.strip())
    return (found[1], found[2]) if found else (words, "")


def parted(number: int, parts: Mapping[str, float]) -> dict[str, int]:
    """Return how many of so many young each gets by the parts agreed on (adding up to 1): whole numbers that add up, by
    the largest remainder (Hamilton's method); of equal remainders the one named first has it.

    >>> parted(100, {"Anna": 1 / 3, "me": 2 / 3}), parted(5, {"Anna": 0.5, "me": 0.5})
    ({'Anna': 33, 'me': 67}, {'Anna': 3, 'me': 2})
    """
    exact = {who: number * part for who, part in parts.items()}
    # A third three times over is no more than nearly one.
    whole = {who: math.floor(round(share, 9)) for who, share in exact.items()}
    by_rest = sorted(exact, key=lambda who: round(whole[who] - exact[who], 9))
    for who in by_rest[: number - sum(whole.values())]:
        whole[who] += 1
    return whole


_PART = re.compile(r"(.+?)\s+(\d+)", re.ASCII)


def split_of(words: str) -> dict[str, int]:
    """Return who gets how many, as a `split` says it; nothing where the words don't.

    >>> split_of("Anna 80, me 160"), split_of("half each")
    ({'Anna': 80, 'me': 160}, {})
    """
    told = [_PART.fullmatch(part.strip()) for part in words.split(",")]
    found = {one[1]: int(one[2]) for one in told if one}
    return found if len(found) == len(told) else {}
