"""The tables of an ethogram, and what each may hold.

What a member may hold stands beside it (`Held`); `checking` has pydantic hold a file to that. Who only asks an ethogram
that was checked before loads no pydantic for it.
"""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import MISSING, dataclass, field, fields, replace
from functools import cached_property
from typing import Annotated, Any, Literal, NamedTuple, Self, get_args

from etholog.base.language import gettext, of_labels
from etholog.base.refusal import Refusal
from etholog.base.text import nearest
from etholog.ethogram.roles import INTERVALS_OF_FORMAT_1, OF_FORMAT_1, IntervalRole, Role


class Held:
    """What a value is held to, in the words of pydantic's core schemas: `min_length`, `pattern`, `gt`, `le` ..."""

    def __init__(self, **rules: Any) -> None:
        self._rules = rules

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        return {**handler(source), **self._rules}


Actor = Literal["male", "female", "pair", "keeper"]
ACTORS: tuple[Actor, ...] = get_args(Actor)
Kind = Literal["event", "state"]
Hand = Literal["left", "right"]

FORMAT_1, FORMAT_2, FORMAT_3 = "etholog-ethogram/1", "etholog-ethogram/2", "etholog-ethogram/3"

Stage = Literal["search", "courtship", "contact", "copulation", "separation", "after"]
STAGES: tuple[str, ...] = get_args(Stage)

# What one hand reaches without leaving its place on a QWERTY keyboard, row by row, and is not kept for the screen.
REACH: dict[Hand, str] = {"left": "456qwertyasdfghzxcvbn", "right": "567poiuyt[;lkjhg'/.,mnb"}

Code = Annotated[str, Held(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
Label = Annotated[str, Held(min_length=1, max_length=40, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]
LanguageCode = Annotated[str, Held(pattern=r"^[a-z]{2,3}$")]
Line = Annotated[str, Held(min_length=1, max_length=160, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]
Labels = dict[LanguageCode, Line]
Text = Annotated[str, Held(min_length=1, max_length=2000)]
Key = Annotated[str, Held(pattern=r"^[^\s\x00-\x1f\x7f-\x9f]$")]
Keys = Key | dict[Hand, Key]
Minutes = Annotated[float, Held(gt=0, le=24 * 60)]
Days = Annotated[int, Held(ge=0, le=3000)]


@dataclass(frozen=True)
class Part:
    """A table of the file. It can't change once read, and holds no word that we don't know."""

    __pydantic_config__ = {"extra": "forbid", "strict": True}  # noqa: RUF012  pydantic wants this very dict


@dataclass(frozen=True, kw_only=True)
class Choice(Part):
    """One value of a behaviour's qualifier, with a key of its own where there is one."""

    name: Code
    key: Keys | None = None


@dataclass(frozen=True, kw_only=True)
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
    choices: tuple[Choice, ...] = ()
    ends: tuple[Code, ...] = ()
    within: Code | None = None
    resembles: Code | None = None
    labels: Labels = field(default_factory=dict)
    hides: bool = False
    nbo: Annotated[str, Held(pattern=r"^NBO:\d{7}$")] | None = None
    role: Role | None = None

    @property
    def words(self) -> str:
        """Its label in the language of labels: its own, or that of a shipped label; else as it is."""
        return self.labels.get(of_labels()) or gettext(self.label)


@dataclass(frozen=True, kw_only=True)
class Interval(Part):
    """A named latency: from the first onset of one of `since` (none: the session's start) to the first of `to`
    after it.

    `ends` are the behaviours after which `to` can no longer come (competing ends). `role`: what it is to the measures.
    """

    name: Code
    label: Line
    since: tuple[str, ...] = ()
    to: Annotated[tuple[str, ...], Held(min_length=1)]
    ends: tuple[str, ...] = ()
    labels: Labels = field(default_factory=dict)
    role: IntervalRole | None = None

    @property
    def words(self) -> str:
        """Its label in the language of labels: its own, or that of a shipped label; else as it is."""
        return self.labels.get(of_labels()) or gettext(self.label)


@dataclass(frozen=True, kw_only=True)
class Prompt(Part):
    """A timed reminder: at the onset of `after`, or when `during` has run, `without` has been missing, or the
    session lasted `minutes`."""

    name: Code
    text: Line
    after: tuple[Code, ...] = ()
    during: Code | None = None
    without: tuple[Code, ...] = ()
    minutes: Minutes | None = None
    urgent: bool = False

    def __post_init__(self) -> None:
        causes = [bool(self.after), self.during is not None, bool(self.without)]
        if sum(causes) > 1:
            raise ValueError("has more than one of after, during, without: keep one")
        if not self.after and self.minutes is None:
            raise ValueError("has no `minutes`: say after how many it comes")


@dataclass(frozen=True, kw_only=True)
class Limit(Part):
    """A soft limit of plausibility: outside it etholog asks, and never blocks. Seconds, or counts for `measure =
    "count"`."""

    of: str
    measure: Literal["latency", "duration", "count", "length"]
    least: Annotated[float, Held(ge=0)] = 0.0
    most: Annotated[float, Held(gt=0)]
    source: Text


@dataclass(frozen=True, kw_only=True)
class Aftercare(Part):
    """Windows in days for the genera named (none: for all others).

    `sac` and `again` (a second introduction) count from the pairing; `pull`, `free` (spiderlings) and `guard` (she is
    left alone) from the laying; `meal` and `water` from the last one; `prime` from a male's maturing moult. Where a
    file says nothing, the defaults are common practice, no source.
    """

    genera: tuple[str, ...] = ()
    sac: tuple[Days, Days]
    pull: tuple[Days, Days] | None = None
    free: tuple[Days, Days]
    again: tuple[Days, Days] = (3, 14)
    guard: Days = 30
    meal: tuple[Days, Days] = (7, 21)
    water: Days = 7
    prime: tuple[Days, Days] = (14, 180)
    sac_form: Text | None = None
    source: Text


class Press(NamedTuple):
    """What a key stands for: a behaviour, and the value of its qualifier where the key names one."""

    behaviour: Behaviour
    choice: str | None


@dataclass(frozen=True, kw_only=True)
class Ethogram(Part):
    """Everything there is to know about recording one group of species."""

    format: Literal["etholog-ethogram/1", "etholog-ethogram/2", "etholog-ethogram/3"]
    name: Annotated[str, Held(pattern=r"^[a-z][a-z0-9-]{0,31}$")]
    title: Label
    version: Annotated[str, Held(pattern=r"^[0-9A-Za-z][0-9A-Za-z.-]{0,31}$")]
    about: Text
    cautions: Annotated[tuple[Text, ...], Held(min_length=1)]
    rescue: Annotated[tuple[Text, ...], Held(min_length=1)]
    species: tuple[str, ...] = ()
    behaviour: Annotated[tuple[Behaviour, ...], Held(min_length=1)]
    interval: tuple[Interval, ...] = ()
    prompt: tuple[Prompt, ...] = ()
    limit: tuple[Limit, ...] = ()
    aftercare: tuple[Aftercare, ...] = ()

    @cached_property
    def _added(self) -> dict[str, Role]:
        """What was said of it after it was recorded: that changes neither its hash nor what a session keeps of it."""
        return {}

    @cached_property
    def by_code(self) -> dict[str, Behaviour]:
        """The behaviours by their code."""
        return {behaviour.code: behaviour for behaviour in self.behaviour}

    @cached_property
    def role_of(self) -> dict[str, Role]:
        """The role of each behaviour that has one, by its code. In format 1 its code may tell it."""
        told = OF_FORMAT_1 if self.format == FORMAT_1 else {}
        told = told | self._added
        return {b.code: role for b in self.behaviour if (role := b.role or told.get(b.code))}

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
        return self.told(later.role_of)

    def told(self, roles: Mapping[str, Role]) -> Self:
        """Return this ethogram with these roles of its codes, where it says none itself; its hash stays."""
        own = replace(self)
        own.__dict__["_added"] = {code: role for code, role in roles.items() if code in self.by_code}
        return own

    @cached_property
    def hash(self) -> str:
        """The SHA-256 of all it says, so that two sessions can be known to have meant the same."""
        return hashlib.sha256(self.plain_json().encode()).hexdigest()

    def plain(self) -> dict[str, Any]:
        """Return it as plain values, for a session's first line; `from_plain` reads them back."""
        return dict(_plain(self))

    def plain_json(self) -> str:
        """Return `plain` as one canonical line of JSON."""
        return as_line(self.plain())

    def layout(self, hand: Hand) -> dict[str, Press]:
        """Return what each key means when that hand is on the keyboard."""
        return {key: press for key, press, _ in presses(self.behaviour, hand)}

    def interval_named(self, name: str) -> Interval:
        """Return the interval; Refusal names the nearest when there is none."""
        for interval in self.interval:
            if interval.name == name:
                return interval
        raise Refusal(f"no interval {name!r}{nearest(name, (i.name for i in self.interval))}")


def as_line(values: Mapping[str, Any]) -> str:
    """Return plain values as one canonical line of JSON."""
    return json.dumps(values, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def _plain(value: Any) -> Any:
    """Return a table, or a value in one, as plain values: members that say what they would by themselves are left
    out."""
    if isinstance(value, Part):
        told = ((one, getattr(value, one.name)) for one in fields(value))
        return {one.name: _plain(said) for one, said in told if said != _by_itself(one)}
    return [_plain(one) for one in value] if isinstance(value, tuple) else value


def _by_itself(member: Any) -> Any:
    return member.default if member.default_factory is MISSING else member.default_factory()


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
