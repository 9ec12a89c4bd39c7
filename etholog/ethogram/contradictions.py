"""What no single table of an ethogram can know to be wrong."""

from collections.abc import Iterator, Mapping

from etholog.base.text import nearest
from etholog.ethogram.own_keys import RESERVED
from etholog.ethogram.schema import FORMAT_3, Behaviour, Ethogram, Hand, free_keys, known_marks, presses

Where = tuple[str | int, ...]


def contradictions(ethogram: Ethogram) -> Iterator[tuple[Where, str]]:
    """Yield all that is wrong between the tables: (where, what)."""
    behaviours = ethogram.behaviour
    yield from _doubles("behaviour", [b.code for b in behaviours])
    yield from _doubles("interval", [i.name for i in ethogram.interval])
    yield from _doubles("prompt", [p.name for p in ethogram.prompt])
    roles = [i.role for i in ethogram.interval if i.role]
    for at, i in enumerate(ethogram.interval):
        if i.role and roles.count(i.role) > 1:
            yield ("interval", at, "role"), f"interval {i.name!r}: the role {i.role!r} is given twice; take one out"
    yield from _key_faults(behaviours)
    with_labels = [("behaviour", at) for at, b in enumerate(behaviours) if b.labels]
    with_labels += [("interval", at) for at, i in enumerate(ethogram.interval) if i.labels]
    if ethogram.format != FORMAT_3:
        for member, at in with_labels:
            yield (member, at, "labels"), f"`labels` belongs to format {FORMAT_3!r}; write that as the file's format"
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
                    f"{whose}{member} names {code!r}, which is not a behaviour{nearest(code, codes)}",
                )
            elif codes[code].kind != "state":
                yield (
                    ("behaviour", at, member),
                    f"{whose}{member} names {code!r}, which is an event; only a state lasts",
                )
        if b.resembles is not None and b.resembles not in codes:
            yield (
                ("behaviour", at, "resembles"),
                f"{whose}resembles {b.resembles!r}, which is not a behaviour{nearest(b.resembles, codes)}",
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
        left = " ".join(free_keys(behaviours, hand))
        free = f"free are {left}" if left else "none is free: take one off another behaviour, or leave this without"
        for key, press, at in presses(behaviours, hand):
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
                    f"behaviour {b.code!r}: key {key!r} is taken by {other!r} ({hand} hand); {free}",
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


def _unknown_codes(ethogram: Ethogram, codes: Mapping[str, Behaviour]) -> Iterator[tuple[Where, str]]:
    marks = known_marks(ethogram.behaviour)
    for at, interval in enumerate(ethogram.interval):
        for member in ("since", "to", "ends"):
            for code in getattr(interval, member):
                if code not in marks:
                    yield (
                        ("interval", at, member),
                        f"interval {interval.name!r}: {code!r} is not a behaviour{nearest(code, marks)}",
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
                        f"prompt {prompt.name!r}: {word!r} is not a behaviour{nearest(word, codes)}",
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
