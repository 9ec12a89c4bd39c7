"""The tables of an ethogram, and what each may hold."""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from typing import Annotated, Any, Literal, NamedTuple, Self

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr, StringConstraints, model_validator

from etholog.base.language import gettext, of_labels
from etholog.base.refusal import Refusal
from etholog.base.text import nearest
from etholog.ethogram.roles import INTERVALS_OF_FORMAT_1, OF_FORMAT_1, IntervalRole, Role

Actor = Literal["male", "female", "pair", "keeper"]
Kind = Literal["event", "state"]
Hand = Literal["left", "right"]

FORMAT_1, FORMAT_2, FORMAT_3 = "etholog-ethogram/1", "etholog-ethogram/2", "etholog-ethogram/3"

STAGES = ("search", "courtship", "contact", "copulation", "separation", "after")
Stage = Literal["search", "courtship", "contact", "copulation", "separation", "after"]

# What one hand reaches without leaving its place on a QWERTY keyboard, row by row, and is not kept for the screen.
REACH: dict[Hand, str] = {"left": "456qwertyasdfghzxcvbn", "right": "567poiuyt[;lkjhg'/.,mnb"}

Code = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
Label = Annotated[str, StringConstraints(min_length=1, max_length=40, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]
LanguageCode = Annotated[str, StringConstraints(pattern=r"^[a-z]{2,3}$")]
Line = Annotated[str, StringConstraints(min_length=1, max_length=160, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]
Labels = dict[LanguageCode, Line]
Text = Annotated[str, StringConstraints(min_length=1, max_length=2000)]
Key = Annotated[str, StringConstraints(pattern=r"^[^\s\x00-\x1f\x7f-\x9f]$")]
Keys = Key | dict[Hand, Key]
Minutes = Annotated[float, Field(gt=0, le=24 * 60)]
Days = Annotated[int, Field(ge=0, le=3000)]


class Part(BaseModel):
    """A table of the file. It can't change once read, and holds no word that we don't know."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Choice(Part):
    """One value of a behaviour's qualifier, with a key of its own where there is one."""

    name: Code
    key: Keys | None = None


class Behaviour(Part):
    """One entry of the ethogram.

    `chain`: behaviours of one actor of which only one can run. `ends`: states that its onset ends. `within`: the
    state inside which alone it makes sense; that state's end ends it. `resembles`: the code it is easily taken for.
    `hides`: its actor can't be seen meanwhile. `role`: what it is to the measures (see `roles`).
    `labels`: the label in other languages, from format 3 on.
    """

    code: Code
    label: Label
    actor: Actor
    kind: Kind
    definition: Text
    source: Text
    key: Keys | None = None
    chain: Code | None = None
    stage: Stage | None = None
    qualifier: Label | None = None
    choices: Annotated[tuple[Choice, ...], Field(strict=False)] = ()
    ends: Annotated[tuple[Code, ...], Field(strict=False)] = ()
    within: Code | None = None
    resembles: Code | None = None
    labels: Labels = {}
    hides: bool = False
    nbo: Annotated[str, StringConstraints(pattern=r"^NBO:\d{7}$")] | None = None
    role: Role | None = None

    @property
    def words(self) -> str:
        """Its label in the language of labels: its own, or that of a shipped label; else as it is."""
        return self.labels.get(of_labels()) or gettext(self.label)


class Interval(Part):
    """A named latency: from the first onset of one of `since` (none: the session's start) to the first of `to`
    after it.

    `ends` are the behaviours after which `to` can no longer come (competing ends). `role`: what it is to the measures.
    """

    name: Code
    label: Line
    since: Annotated[tuple[str, ...], Field(strict=False)] = ()
    to: Annotated[tuple[str, ...], Field(strict=False, min_length=1)]
    ends: Annotated[tuple[str, ...], Field(strict=False)] = ()
    labels: Labels = {}
    role: IntervalRole | None = None

    @property
    def words(self) -> str:
        """Its label in the language of labels: its own, or that of a shipped label; else as it is."""
        return self.labels.get(of_labels()) or gettext(self.label)


class Prompt(Part):
    """A timed reminder: at the onset of `after`, or when `during` has run, `without` has been missing, or the
    session lasted `minutes`."""

    name: Code
    text: Line
    after: Annotated[tuple[Code, ...], Field(strict=False)] = ()
    during: Code | None = None
    without: Annotated[tuple[Code, ...], Field(strict=False)] = ()
    minutes: Minutes | None = None
    urgent: bool = False

    @model_validator(mode="after")
    def _one_cause(self) -> Self:
        causes = [bool(self.after), self.during is not None, bool(self.without)]
        if sum(causes) > 1:
            raise ValueError("has more than one of after, during, without: keep one")
        if not self.after and self.minutes is None:
            raise ValueError("has no `minutes`: say after how many it comes")
        return self


class Limit(Part):
    """A soft limit of plausibility: outside it etholog asks, and never blocks. Seconds, or counts for `measure =
    "count"`."""

    of: str
    measure: Literal["latency", "duration", "count", "length"]
    least: Annotated[float, Field(ge=0)] = 0.0
    most: Annotated[float, Field(gt=0)]
    source: Text


class Aftercare(Part):
    """Windows in days for the genera named (none: for all others).

    `sac` and `again` (a second introduction) count from the pairing; `pull`, `free` (spiderlings) and `guard` (she is
    left alone) from the laying; `meal` and `water` from the last one; `prime` from a male's maturing moult. Where a
    file says nothing, the defaults are common practice, no source.
    """

    genera: Annotated[tuple[str, ...], Field(strict=False)] = ()
    sac: tuple[Days, Days] = Field(strict=False)
    pull: tuple[Days, Days] | None = Field(default=None, strict=False)
    free: tuple[Days, Days] = Field(strict=False)
    again: tuple[Days, Days] = Field(default=(3, 14), strict=False)
    guard: Days = 30
    meal: tuple[Days, Days] = Field(default=(7, 21), strict=False)
    water: Days = 7
    prime: tuple[Days, Days] = Field(default=(14, 180), strict=False)
    sac_form: Text | None = None
    source: Text


class Press(NamedTuple):
    """What a key stands for: a behaviour, and the value of its qualifier where the key names one."""

    behaviour: Behaviour
    choice: str | None


class Ethogram(Part):
    """Everything there is to know about recording one group of species."""

    format: Literal["etholog-ethogram/1", "etholog-ethogram/2", "etholog-ethogram/3"]
    name: Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9-]{0,31}$")]
    title: Label
    version: Annotated[str, StringConstraints(pattern=r"^[0-9A-Za-z][0-9A-Za-z.-]{0,31}$")]
    about: Text
    cautions: Annotated[tuple[Text, ...], Field(strict=False, min_length=1)]
    rescue: Annotated[tuple[Text, ...], Field(strict=False, min_length=1)]
    species: Annotated[tuple[str, ...], Field(strict=False)] = ()
    behaviour: Annotated[tuple[Behaviour, ...], Field(strict=False, min_length=1)]
    interval: Annotated[tuple[Interval, ...], Field(strict=False)] = ()
    prompt: Annotated[tuple[Prompt, ...], Field(strict=False)] = ()
    limit: Annotated[tuple[Limit, ...], Field(strict=False)] = ()
    aftercare: Annotated[tuple[Aftercare, ...], Field(strict=False)] = ()

    # What was said of it after it was recorded: that changes neither its hash nor what a session keeps of it.
    _added: Mapping[str, Role] = PrivateAttr(default_factory=dict)

    @property
    def behaviours(self) -> tuple[Behaviour, ...]:
        """The behaviours, in the order of the file, which is the order of the lanes."""
        return self.behaviour

    @property
    def intervals(self) -> tuple[Interval, ...]:
        """The named latencies, in the order of the file."""
        return self.interval

    @cached_property
    def by_code(self) -> dict[str, Behaviour]:
        """The behaviours by their code."""
        return {behaviour.code: behaviour for behaviour in self.behaviour}

    @cached_property
    def role_of(self) -> dict[str, Role]:
        """The role of each behaviour that has one, by its code. In format 1 its code may tell it."""
        told = OF_FORMAT_1 if self.format == FORMAT_1 else {}
        return {b.code: role for b in self.behaviour if (role := b.role or self._added.get(b.code) or told.get(b.code))}

    def codes_of(self, *roles: Role) -> tuple[str, ...]:
        """Return the codes of the behaviours that have one of the roles, in the order of the file."""
        return tuple(code for code, role in self.role_of.items() if role in roles)

    @cached_property
    def role_of_interval(self) -> dict[str, IntervalRole]:
        """The role of each interval that has one, by its name. In format 1 its name may tell it."""
        told = INTERVALS_OF_FORMAT_1 if self.format == FORMAT_1 and not any(one.role for one in self.interval) else {}
        return {one.name: role for one in self.interval if (role := one.role or told.get(one.name))}

    def with_role(self, role: IntervalRole) -> Interval | None:
        """Return the interval that has the role."""
        return next((one for one in self.interval if self.role_of_interval.get(one.name) == role), None)

    @property
    def tells_roles(self) -> bool:
        """Whether it says itself what its behaviours or intervals are to the measures."""
        return (
            self.format != FORMAT_1 or any(one.role for one in self.behaviour) or any(one.role for one in self.interval)
        )

    def missing(self, *roles: Role) -> str:
        """Return, in one line, which of the roles no behaviour has, and what to write; '' where all are there."""
        without = [role for role in roles if not self.codes_of(role)]
        if not without:
            return ""
        lines = " or ".join(f'role = "{role}"' for role in without)
        return (
            f"no behaviour of the ethogram {self.name!r} has the role {' or '.join(map(repr, without))};"
            f" write {lines} under that behaviour in ethograms/{self.name}.toml"
        )

    def told_by(self, later: Self) -> Self:
        """Return this ethogram with the roles that a later one of its name gives to the same codes; its hash stays."""
        own = type(self).model_validate(self.plain())
        own._added = {code: role for code, role in later.role_of.items() if code in self.by_code}
        return own

    @cached_property
    def hash(self) -> str:
        """The SHA-256 of all it says, so that two sessions can be known to have meant the same."""
        return hashlib.sha256(self.plain_json().encode()).hexdigest()

    def plain(self) -> dict[str, Any]:
        """Return it as plain values, for a session's first line; `from_plain` reads them back."""
        return self.model_dump(mode="json", exclude_defaults=True)

    def plain_json(self) -> str:
        """Return `plain` as one canonical line of JSON."""
        return json.dumps(self.plain(), sort_keys=True, ensure_ascii=False, separators=(",", ":"))

    def layout(self, hand: Hand) -> dict[str, Press]:
        """Return what each key means when that hand is on the keyboard."""
        return {key: press for key, press, _ in presses(self.behaviour, hand)}

    def interval_named(self, name: str) -> Interval:
        """Return the interval; Refusal names the nearest when there is none."""
        for interval in self.interval:
            if interval.name == name:
                return interval
        raise Refusal(f"no interval {name!r}{nearest(name, (i.name for i in self.interval))}")


def presses(behaviours: Iterable[Behaviour], hand: Hand) -> Iterator[tuple[str, Press, int]]:
    """Yield each key for that hand, what it stands for, and the behaviour's place in the file."""
    for place, behaviour in enumerate(behaviours):
        for keys, choice in [(behaviour.key, None), *((c.key, c.name) for c in behaviour.choices)]:
            key = keys.get(hand) if isinstance(keys, dict) else keys
            if key is not None:
                yield key, Press(behaviour, choice), place


def recoded_from(behaviours: Iterable[Behaviour]) -> dict[str, str]:
    """Return the behaviours without a key, each with the one whose key reaches it when that mark is recoded once."""
    kept = list(behaviours)
    keyed = {b.code for b in kept if b.key is not None or any(choice.key is not None for choice in b.choices)}
    # A mark that has one of two choices is recoded to the other choice.
    simple = [b for b in kept if b.code in keyed and len(b.choices) != 2]
    return {b.resembles: b.code for b in reversed(simple) if b.resembles is not None and b.resembles not in keyed}


def free_keys(behaviours: Iterable[Behaviour], hand: Hand) -> str:
    """Return the keys within that hand's reach that stand for nothing yet."""
    taken = {key for key, _, _ in presses(behaviours, hand)}
    return "".join(key for key in REACH[hand] if key not in taken)


def known_marks(behaviours: Iterable[Behaviour]) -> list[str]:
    """Return every word that may name marks: 'insertion', 'insertion:left' ..."""
    words: list[str] = []
    for b in behaviours:
        words += [b.code, *(f"{b.code}:{choice.name}" for choice in b.choices)]
    return words
