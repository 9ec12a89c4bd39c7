"""What may be recorded: behaviours, chains, intervals, prompts, limits and aftercare of one group of species, from
one TOML file."""

import difflib
import hashlib
import json
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple, Self

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, model_validator

from etholog.refusal import Refusal
from etholog.shipped import folder as shipped_folder

Actor = Literal["male", "female", "pair", "keeper"]
Kind = Literal["event", "state"]
Hand = Literal["left", "right"]

STAGES = ("search", "courtship", "contact", "copulation", "separation", "after")
Stage = Literal["search", "courtship", "contact", "copulation", "separation", "after"]

# What the watch screen needs for itself: undo, rescue, notes, gaps, sync, and putting right with either hand.
RESERVED = frozenset("123890-=?\\` ")

Code = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
Label = Annotated[str, StringConstraints(min_length=1, max_length=40, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]
Line = Annotated[str, StringConstraints(min_length=1, max_length=160, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]
Text = Annotated[str, StringConstraints(min_length=1, max_length=2000)]
Key = Annotated[str, StringConstraints(pattern=r"^[^\s\x00-\x1f\x7f-\x9f]$")]
Keys = Key | dict[Hand, Key]
Minutes = Annotated[float, Field(gt=0, le=24 * 60)]
Days = Annotated[int, Field(ge=0, le=3000)]


class EthogramError(Refusal):
    """All that is wrong with an ethogram's file, a line for each fault: file, line, behaviour, what is wrong, what
    to do."""


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
    state inside which alone it
    makes sense; that state's end ends it. `resembles`: the code it is easily taken for. `hides`: its actor can't be
    seen meanwhile.
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
    hides: bool = False
    nbo: Annotated[str, StringConstraints(pattern=r"^NBO:\d{7}$")] | None = None


class Interval(Part):
    """A named latency: from the first onset of one of `since` (none: the session's start) to the first of `to`
    after it.

    `ends` are the behaviours after which `to` can no longer come (competing ends).
    """

    name: Code
    label: Line
    since: Annotated[tuple[str, ...], Field(strict=False)] = ()
    to: Annotated[tuple[str, ...], Field(strict=False, min_length=1)]
    ends: Annotated[tuple[str, ...], Field(strict=False)] = ()


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

    format: Literal["etholog-ethogram/1"]
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
        return {key: press for key, press, _ in _presses(self.behaviour, hand)}

    def interval_named(self, name: str) -> Interval:
        """Return the interval; EthogramError names the nearest when there is none."""
        for interval in self.interval:
            if interval.name == name:
                return interval
        raise EthogramError(f"no interval {name!r}{nearest(name, (i.name for i in self.interval))}")


def nearest(word: str, known: Iterable[str]) -> str:
    """Return '; did you mean ...?' with the words most like this one, or a list of all when none is like it."""
    words = list(dict.fromkeys(known))
    close = difflib.get_close_matches(word, words, n=3, cutoff=0.5)
    if close:
        return f"; did you mean {' or '.join(map(repr, close))}?"
    return f"; known are: {', '.join(words)}" if words else "; none is known"


def _presses(behaviours: Iterable[Behaviour], hand: Hand) -> Iterator[tuple[str, Press, int]]:
    for place, behaviour in enumerate(behaviours):
        for keys, choice in [(behaviour.key, None), *((c.key, c.name) for c in behaviour.choices)]:
            key = keys.get(hand) if isinstance(keys, dict) else keys
            if key is not None:
                yield key, Press(behaviour, choice), place


# ---------------------------------------------------------------- reading a file


def shipped() -> Path:
    """Return the folder of the ethograms that come with etholog."""
    return shipped_folder("ethograms")


def find(name: str, workspace: Path | None = None) -> Path:
    """Return the file of an ethogram given by name or path; the workspace's own come before the shipped ones."""
    direct = Path(name)
    if direct.suffix == ".toml":
        return direct
    folders = [*([workspace / "ethograms"] if workspace else []), shipped()]
    for folder in folders:
        if re.fullmatch(r"[a-z][a-z0-9-]*", name) and (folder / f"{name}.toml").is_file():
            return folder / f"{name}.toml"
    known = (file.stem for folder in folders for file in sorted(folder.glob("*.toml")))
    raise EthogramError(f"no ethogram {name!r}{nearest(name, known)}")


def read(path: Path) -> Ethogram:
    """Read an ethogram. EthogramError tells all that is wrong with it, a line each."""
    try:
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        raise EthogramError(f"{path}: can't be read ({error.strerror}); check the name") from error
    except UnicodeDecodeError as error:
        raise EthogramError(f"{path}: is not UTF-8 text; save it as UTF-8") from error
    try:
        values = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise EthogramError(f"{path}: is not TOML: {str(error) or 'nested too deep'}; mend that place first") from error
    lines = _Lines(text)
    try:
        ethogram = Ethogram.model_validate(values)
    except ValidationError as error:
        raise EthogramError("\n".join(_told(path, values, lines, error))) from None
    faults = [f"{path}:{lines.at(where)}: {what}" for where, what in _contradictions(ethogram)]
    if faults:
        raise EthogramError("\n".join(dict.fromkeys(faults)))
    return ethogram


def from_plain(values: Mapping[str, Any]) -> Ethogram:
    """Read back what `plain` gave. Raises pydantic's ValidationError, or EthogramError for a contradiction."""
    ethogram = Ethogram.model_validate(values)
    for _, what in _contradictions(ethogram):
        raise EthogramError(what)
    return ethogram


Where = tuple[str | int, ...]


class _Lines:
    """Finds the line of a table's member in TOML text. tomllib and tomlkit give no positions, so the headers are
    counted."""

    def __init__(self, text: str) -> None:
        self._lines = text.splitlines()

    def at(self, where: Where) -> int:
        """Return the line, from 1, of e.g. ("behaviour", 3, "key"); the nearest one above it where the member isn't
        there."""
        start, end = 0, len(self._lines)
        rest = list(where)
        if len(where) >= 2 and isinstance(where[1], int):
            headers = [i for i, line in enumerate(self._lines) if re.match(rf"\s*\[\[\s*{where[0]}\s*\]\]", line)]
            if where[1] < len(headers):
                start = headers[where[1]]
                end = next((i for i in range(start + 1, end) if re.match(r"\s*\[", self._lines[i])), end)
            rest = rest[2:]
        if rest and isinstance(rest[0], str):
            for i in range(start, end):
                if re.match(rf"\s*{re.escape(rest[0])}\s*[=.]", self._lines[i]):
                    return i + 1
        return start + 1


_FIELDS = {
    model.__name__.lower(): tuple(model.model_fields)
    for model in (Behaviour, Interval, Prompt, Limit, Aftercare, Choice)
}


def _told(path: Path, values: Mapping[str, Any], lines: _Lines, error: ValidationError) -> Iterator[str]:
    seen: set[tuple[int, str]] = set()
    for fault in error.errors(include_url=False):
        where: Where = tuple(part for part in fault["loc"] if not str(part).startswith(("constrained-", "dict[")))
        line = lines.at(where)
        member = str(where[-1]) if where else ""
        what = fault["msg"].removeprefix("Value error, ")
        if fault["type"] == "extra_forbidden":
            fields = _FIELDS.get("choice" if "choices" in where else str(where[0]), tuple(Ethogram.model_fields))
            what = f"unknown word {member!r}{nearest(member, fields)}"
        elif fault["type"] == "missing":
            what = f"{member!r} is missing; add it"
        elif fault["type"] == "value_error":
            pass
        else:
            shown = repr(fault["input"])
            what = f"{member} = {shown[:60]}: {what}; change it"
        if (line, member) not in seen:  # a union complains once for each of its members
            seen.add((line, member))
            yield f"{path}:{line}: {_whose(values, where)}{what}"


def _whose(values: Mapping[str, Any], where: Where) -> str:
    if len(where) < 2 or not isinstance(where[1], int):
        return ""
    try:
        table = values[str(where[0])][where[1]]
        name = table.get("code") or table.get("name")
    except (KeyError, IndexError, TypeError, AttributeError):
        return ""
    return f"{where[0]} {name!r}: " if name else f"{where[0]} number {where[1] + 1}: "


def _contradictions(ethogram: Ethogram) -> Iterator[tuple[Where, str]]:
    """Yield what no single table can know to be wrong: (where, what)."""
    behaviours = ethogram.behaviour
    yield from _doubles("behaviour", [b.code for b in behaviours])
    yield from _doubles("interval", [i.name for i in ethogram.interval])
    yield from _doubles("prompt", [p.name for p in ethogram.prompt])
    yield from _key_faults(behaviours)
    codes = {b.code: b for b in behaviours}
    chains: dict[str, Behaviour] = {}
    for at, b in enumerate(behaviours):
        whose = f"behaviour {b.code!r}: "
        if b.chain is not None:
            first = chains.setdefault(b.chain, b)
            if b.kind != "state":
                yield (
                    ("behaviour", at, "chain"),
                    f"{whose}an event can't be in a chain; take the chain out or make it a state",
                )
            if first.actor != b.actor:
                yield (
                    ("behaviour", at, "chain"),
                    f"{whose}chain {b.chain!r} is the {first.actor}'s ({first.code!r}), not the {b.actor}'s; rename",
                )
        if b.hides and b.kind != "state":
            yield ("behaviour", at, "hides"), f"{whose}only a state can hide its actor; make it a state"
        if b.choices and b.qualifier is None:
            yield (
                ("behaviour", at, "choices"),
                f"{whose}has choices but no `qualifier`; name what they choose",
            )
        if len({c.name for c in b.choices}) != len(b.choices):
            yield ("behaviour", at, "choices"), f"{whose}two choices have one name; rename one"
        states = [("ends", code) for code in b.ends] + ([("within", b.within)] if b.within else [])
        for member, code in states:
            if code not in codes:
                yield (
                    ("behaviour", at, member),
                    f"{whose}{member} names {code!r}, which is no behaviour{nearest(code, codes)}",
                )
            elif codes[code].kind != "state":
                yield (
                    ("behaviour", at, member),
                    f"{whose}{member} names {code!r}, which is an event; only a state lasts",
                )
        if b.resembles is not None and b.resembles not in codes:
            yield (
                ("behaviour", at, "resembles"),
                f"{whose}resembles {b.resembles!r}, which is no behaviour{nearest(b.resembles, codes)}",
            )
        if _circular(b, codes):
            yield (
                ("behaviour", at, "within"),
                f"{whose}lies within itself by way of {b.within!r}; break the circle",
            )
    yield from _unknown_codes(ethogram, codes)


def _doubles(table: str, names: list[str]) -> Iterator[tuple[Where, str]]:
    for at, name in enumerate(names):
        if name in names[:at]:
            member = "code" if table == "behaviour" else "name"
            yield (table, at, member), f"{table} {name!r}: there is one of that {member} already; rename one"


def _key_faults(behaviours: tuple[Behaviour, ...]) -> Iterator[tuple[Where, str]]:
    hands: tuple[Hand, Hand] = ("left", "right")
    for hand in hands:
        taken: dict[str, Behaviour] = {}
        for key, press, at in _presses(behaviours, hand):
            b = press.behaviour
            member = "key" if press.choice is None else "choices"
            where: Where = ("behaviour", at, member)
            if key in RESERVED:
                yield (
                    where,
                    f"behaviour {b.code!r}: key {key!r} is kept for the watch screen; choose a letter or 4 to 7",
                )
            elif key != key.lower():
                yield where, f"behaviour {b.code!r}: key {key!r} would need Shift; write it small"
            elif key in taken:
                other = taken[key].code
                yield (
                    where,
                    f"behaviour {b.code!r}: key {key!r} is taken by {other!r} ({hand} hand); choose another",
                )
            taken[key] = b


def _circular(behaviour: Behaviour, codes: Mapping[str, Behaviour]) -> bool:
    seen = {behaviour.code}
    outer = behaviour.within
    while outer is not None and outer in codes:
        if outer in seen:
            return outer == behaviour.code
        seen.add(outer)
        outer = codes[outer].within
    return False


def known_marks(behaviours: Iterable[Behaviour]) -> list[str]:
    """Return every word that may name marks: 'insertion', 'insertion:left' ..."""
    words: list[str] = []
    for b in behaviours:
        words += [b.code, *(f"{b.code}:{choice.name}" for choice in b.choices)]
    return words


def _unknown_codes(ethogram: Ethogram, codes: Mapping[str, Behaviour]) -> Iterator[tuple[Where, str]]:
    marks = known_marks(ethogram.behaviour)
    for at, interval in enumerate(ethogram.interval):
        for member in ("since", "to", "ends"):
            for code in getattr(interval, member):
                if code not in marks:
                    yield (
                        ("interval", at, member),
                        f"interval {interval.name!r}: {code!r} is no behaviour{nearest(code, marks)}",
                    )
    for at, prompt in enumerate(ethogram.prompt):
        for member, named in (
            ("after", prompt.after),
            ("without", prompt.without),
            ("during", (prompt.during,)),
        ):
            for word in named:
                if word is not None and word not in codes:
                    yield (
                        ("prompt", at, member),
                        f"prompt {prompt.name!r}: {word!r} is no behaviour{nearest(word, codes)}",
                    )
        if prompt.during is not None and prompt.during in codes and codes[prompt.during].kind != "state":
            yield (
                ("prompt", at, "during"),
                f"prompt {prompt.name!r}: {prompt.during!r} is an event; only a state lasts",
            )
    names = {i.name for i in ethogram.interval} | {"session"}
    for at, limit in enumerate(ethogram.limit):
        known = names if limit.measure in ("latency", "length") else set(marks)
        if limit.of not in known:
            yield (
                ("limit", at, "of"),
                f"limit of {limit.of!r}: is not known{nearest(limit.of, sorted(known))}",
            )
