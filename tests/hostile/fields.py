"""The fields that a text can stand in, and a workspace that has every text in every field."""

import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.hostile.texts import TEXTS
from tests.make import small_ethogram


@dataclass
class Draft:
    """A session that is yet to be written."""

    header: dict[str, Any]
    ethogram: dict[str, Any] = field(
        default_factory=lambda: (
            small_ethogram().plain()
            | {"interval": [{"name": "courtship", "label": "to courtship", "to": ["drumming"]}]}
        )
    )
    outcome: dict[str, Any] = field(default_factory=lambda: {"ended": "parted"})
    records: list[dict[str, Any]] = field(
        default_factory=lambda: [
            {"do": "mark", "t": 1000, "code": "walking", "edge": "onset"},
            {"do": "mark", "t": 4000, "code": "drumming", "edge": "onset"},
            {"do": "mark", "t": 5000, "code": "clasp", "edge": "onset"},
            {"do": "mark", "t": 6000, "code": "insertion", "edge": "onset", "qualifier": "left"},
            {"do": "mark", "t": 16000, "code": "insertion", "edge": "offset"},
        ]
    )


def _header(name: str) -> Callable[[Draft, str], None]:
    return lambda draft, text: draft.header.update({name: text})


def _record(**record: Any) -> Callable[[Draft, str], None]:
    """A record in which the text stands where `record` says so with an Ellipsis."""
    return lambda draft, text: draft.records.append({k: text if v is ... else v for k, v in record.items()})


def _behaviour(**said: Any) -> Callable[[Draft, str], None]:
    def put(draft: Draft, text: str) -> None:
        draft.ethogram["behaviour"][0].update({k: text if v is ... else v for k, v in said.items()})

    return put


def _ethogram(**said: Any) -> Callable[[Draft, str], None]:
    def filled(value: Any, text: str) -> Any:
        if isinstance(value, dict):
            return {name: filled(inner, text) for name, inner in value.items()}
        return [filled(inner, text) for inner in value] if isinstance(value, list) else text if value is ... else value

    return lambda draft, text: draft.ethogram.update(filled(said, text))


FIELDS: dict[str, Callable[[Draft, str], None]] = {
    **{name: _header(name) for name in ("id", "male", "female", "species", "observer", "place", "source", "clock")},
    "a condition's name": lambda draft, text: draft.header["conditions"].update({text: 1}),
    "a condition": lambda draft, text: draft.header["conditions"].update(light=text),
    "an answer's name": lambda draft, text: draft.outcome.update({text: True}),
    "an answer": lambda draft, text: draft.outcome.update(ended=text),
    "a note": _record(do="note", t=17000, text=...),
    "a stray key": _record(do="stray", t=17000, key=...),
    "why a gap": _record(do="gap", t=17000, why=...),
    "what a clock did": _record(do="clock", t=17000, what=...),
    "a prompt shown": _record(do="prompt", t=17000, name=...),
    "a code": _record(do="mark", t=17000, code=...),
    "a mark's qualifier": _record(do="mark", t=17000, code="clasp", edge="onset", qualifier=...),
    "a label": _behaviour(label=...),
    "a definition": _behaviour(definition=...),
    "a source": _behaviour(source=...),
    "a qualifier's name": _behaviour(qualifier=..., choices=[{"name": "left"}]),
    "an ethogram's title": _ethogram(title=...),
    "an ethogram's version": _ethogram(version=...),
    "what an ethogram is about": _ethogram(about=...),
    "a caution": _ethogram(cautions=[...]),
    "a rescue step": _ethogram(rescue=[...]),
    "an interval's label": _ethogram(interval=[{"name": "courtship", "label": ..., "to": ["drumming"]}]),
    "a prompt's text": _ethogram(prompt=[{"name": "prompt", "text": ..., "minutes": 1.0}]),
}


def line(record: dict[str, Any]) -> bytes:
    """A journal's line, made here and not by the package: it takes in what the package would never write."""
    body = json.dumps(record, separators=(",", ":"))[:-1].encode()
    return body + b',"crc":"%08x"}\n' % zlib.crc32(body)


def workspace(folder: Path) -> Path:
    """Write a session for each text in each field; which of them can be read is the package's to say."""
    (folder / "sessions").mkdir(parents=True)
    for at, put in enumerate(FIELDS.values()):
        for number, text in enumerate(TEXTS.values()):
            draft = Draft(
                {
                    "format": "etholog-session/1",
                    "id": f"{at:02d}-{number:02d}",
                    "began": f"2026-05-{at % 28 + 1:02d}T{number // 60:02d}:{number % 60:02d}:00+02:00",
                    **dict.fromkeys(("species", "observer", "place", "clock", "boot"), ""),
                    "male": f"M-{number % 3}",
                    "female": "F-1",
                    "clock_at": 0.0,
                    "conditions": {},
                    "source": "live",
                    "ethogram_hash": "",
                }
            )
            put(draft, text)
            records = [*draft.records, {"do": "close", "t": 30000, "outcome": draft.outcome}]
            lines = [{"n": 0, "do": "begin", **draft.header, "ethogram": draft.ethogram}]
            lines += [{"n": n, **record} for n, record in enumerate(records, 1)]
            path = folder / "sessions" / f"{at:02d}-{number:02d}.jsonl"
            path.write_bytes(b"".join(line(one) for one in lines))
    for name in ("\x1b]0;pwned\x07", "\u202eslj", "new\nline", "=1+1", "--help", "<b pwned>"):
        (folder / "sessions" / f"{name}.jsonl").write_text("no session\n")
    return folder


CARD_FIELDS: dict[str, Callable[[str], list[dict[str, Any]]]] = {
    "a species": lambda text: [{"do": "species", "words": text}],
    "where it was moved to": lambda text: [{"do": "moved", "words": text}],
    "a mate": lambda text: [{"do": "paired", "words": text}],
    "a dam": lambda text: [{"do": "dam", "words": text}],
    "a note on a sac": lambda text: [{"do": "sac", "note": text}],
    "a new name": lambda text: [{"do": "renamed", "words": text}],
    "a date": lambda text: [{"do": "meal", "on": text}],
    "a kind": lambda text: [{"do": text}],
}


def animals(folder: Path) -> list[str]:
    """Write a card for each text in each field, and one for each text as an animal's name; return the names."""
    (folder / "animals").mkdir(parents=True)
    cards = [
        (f"F-{at}-{n}", put(t)) for at, put in enumerate(CARD_FIELDS.values()) for n, t in enumerate(TEXTS.values())
    ]
    # Of a kind with known windows, so that something is due that has a day of its own.
    kept = [{"do": "species", "words": "Brachypelma smithi"}, {"do": "water"}]
    cards += [(text, [dict(one) for one in kept]) for text in TEXTS.values()]
    for at, (name, told) in enumerate(cards):
        first: list[dict[str, Any]] = [{"do": "sex", "words": "female"}]
        records = [
            {"n": n, "on": "2026-03-01", "sure": True, "words": "", "note": "", **record}
            for n, record in enumerate([*first, *told], 1)
        ]
        lines = [{"n": 0, "do": "begin", "format": "etholog-card/1", "id": name}]
        lines += [{"n": r.pop("n"), "do": r.pop("do"), **{k: v for k, v in r.items() if v != ""}} for r in records]
        (folder / "animals" / f"{at:03d}.jsonl").write_bytes(b"".join(line(one) for one in lines))
    return [name for name, _ in cards]
