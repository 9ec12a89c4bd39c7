"""The young of one sac, counted by stage: what was laid, what is alive at each stage, what was lost between."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise

from etholog.base.dates import Day


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
        return _WORDS[self]


_WORDS = {
    Stage.EGGS: "eggs",
    Stage.EGGS_WITH_LEGS: "eggs with legs",
    Stage.NYMPHS: "nymphs",
    Stage.FIRST_INSTAR: "first instar nymphs",
    Stage.SECOND_INSTAR: "second instar nymphs",
    Stage.SPIDERLINGS: "spiderlings",
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


@dataclass(frozen=True)
class Count:
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


@dataclass(frozen=True)
class Lot:
    """All clear counts of one sac, by date."""

    counts: tuple[Count, ...] = ()

    @classmethod
    def of(cls, told: Iterable[tuple[Day, str, float]]) -> "Lot":
        """Return the lot of counts in the order of their dates, each (date, words, number). Unclear ones are left
        out: nobody knows what they count."""
        read = ((on, stage_of(words), number) for on, words, number in told)
        return cls(tuple(Count(on, *what, number) for on, what, number in read if what))

    @property
    def laid(self) -> float | None:
        """All eggs of the first day on which eggs were counted: good, dead and bad ones. None where nobody did."""
        eggs = [count for count in self.counts if count.stage == Stage.EGGS]
        first = [count for count in eggs if count.on == eggs[0].on]
        return sum({count.state: count.number for count in first}.values()) if first else None

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
        """How many were lost on the way from each known number to the next: (from, to, number)."""
        known = self._known()
        return [(a, b, before - after) for (a, before), (b, after) in pairwise(known)]

    def _known(self) -> Sequence[tuple[str, float]]:
        laid = [] if self.laid is None else [("laid", self.laid)]
        return [*laid, *((stage.words, number) for stage, number in self.alive.items())]

    @property
    def words(self) -> str:
        """The whole lot on one line: `laid 220, nymphs 150 (70 lost)`."""
        lost = ["", *(f" ({number:g} lost)" if number > 0 else "" for _, _, number in self.lost)]
        return ", ".join(f"{what} {number:g}{less}" for (what, number), less in zip(self._known(), lost, strict=False))
