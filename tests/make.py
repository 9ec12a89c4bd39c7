"""What tests of several wings make: ethograms, sessions, cards, seasons, recorders."""

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from etholog import ethogram, session
from etholog.animals import card
from etholog.animals.card import Entry
from etholog.base.dates import Day
from etholog.base.journal import Draft, Journal
from etholog.ethogram import Ethogram, Hand, from_plain
from etholog.recording.keyboard import QWERTY_KEYBOARD, Keyboard
from etholog.recording.opening import begin
from etholog.recording.recorder import Recorder
from etholog.season import Season


def small_ethogram() -> Ethogram:
    def behaviour(code: str, kind: str = "state", **more: Any) -> dict[str, Any]:
        return {"code": code, "label": code, "actor": "male", "kind": kind, "definition": "d", "source": "s", **more}

    return from_plain(
        {
            "format": "etholog-ethogram/1",
            "name": "small",
            "title": "Small",
            "version": "1",
            "about": "for tests",
            "cautions": ["c"],
            "rescue": ["r"],
            "behaviour": [
                behaviour("walking", chain="acts"),
                behaviour("drumming", chain="acts"),
                behaviour("clasp"),
                behaviour(
                    "insertion",
                    chain="palps",
                    within="clasp",
                    qualifier="palp",
                    choices=[{"name": "left"}, {"name": "right"}],
                ),
                behaviour("probing", chain="palps", within="clasp"),
                behaviour("touch", "event"),
                behaviour("flees", "event", ends=["clasp", "drumming"]),
                behaviour("hidden", hides=True),
            ],
        }
    )


ETHOGRAM = small_ethogram()

# As version 0.1 shipped it: it stays, so that a new behaviour in a shipped ethogram changes no picture of a screen.
TERRESTRIAL_1 = Path(__file__).parents[1] / "examples" / "terrestrial-1.toml"


def terrestrial_1() -> Ethogram:
    return ethogram.read(TERRESTRIAL_1)


def write_session(path: Path, made: list[dict[str, Any]], ethogram: Ethogram = ETHOGRAM, **header: Any) -> None:
    said: dict[str, Any] = {
        "id": path.stem,
        "began": "2026-05-03T21:15:00.000+02:00",
        "male": "M-1",
        "female": "F-1",
        "species": "Brachypelma smithi",
        "observer": "o",
        "place": "shelf",
        "clock": "CLOCK_BOOTTIME",
        "clock_at": 0.0,
        "boot": "",
        "conditions": {},
        "source": "live",
    }
    kept = Journal.create(path, session.header_of(ethogram, **said | header))
    for record in made:
        kept.append(Draft({name: value for name, value in record.items() if name != "n"}))
    assert kept.close()


def marks(*said: tuple[int, str, str | None]) -> list[dict[str, Any]]:
    return [
        {"n": n, "do": "mark", "t": t, "code": code, **({"edge": edge} if edge else {})}
        for n, (t, code, edge) in enumerate(said, 1)
    ]


RECORDS = [
    *marks(
        (1000, "walking", "onset"), (4000, "clasp", "onset"), (5000, "insertion", "onset"), (6000, "hidden", "onset")
    ),
    {"n": 5, "do": "gap", "t": 10_000, "why": "door"},
    {"n": 6, "do": "back", "t": 16_000},
    {"n": 7, "do": "mark", "t": 17_000, "code": "touch"},
    {"n": 8, "do": "doubt", "of": 7, "sure": False},
    {"n": 9, "do": "close", "t": 20_000, "outcome": {"ended": "parted"}},
]


def season_of(folder: Path, **header: Any) -> Path:
    (folder / "sessions").mkdir()
    write_session(folder / "sessions" / "a.jsonl", RECORDS, **header)
    return folder


CardLine = tuple[str, ...]


def write_card(folder: Path, who: str, *told: CardLine) -> None:
    """Put entries on a card: (kind, date, words?, number?)."""
    book = card.open_or_create(folder / "animals" / f"{who}.jsonl")
    for kind, on, *rest in told:
        number = float(rest[1]) if len(rest) > 1 else None
        card.append(book, Entry(0, kind, Day.parse(on), words=rest[0] if rest else "", number=number), "now")
    book.close()


BEGAN = datetime(2026, 5, 3, 19, 15, tzinfo=UTC)


def recorder(
    folder: Path, hand: Hand = "left", keyboard: Keyboard = QWERTY_KEYBOARD, kept: Ethogram | None = None
) -> Recorder:
    kept = kept or terrestrial_1()
    journal = begin(folder, kept, BEGAN, 100.0, male="M-1", female="F-1")
    return Recorder(journal, kept, hand, BEGAN, 100.0, wall=lambda: BEGAN, keyboard=keyboard)


def press(on: Recorder, *keys: str, start: float = 101.0) -> None:
    for i, key in enumerate(keys):
        on.take(key, start + i)


def tapped(key: str) -> str:
    """Return what a tap on the lane of a left hand's key says; of a key without a meaning, the key."""
    meant = terrestrial_1().layout("left").get(key)
    return key if meant is None else meant.behaviour.code + (f":{meant.choice}" if meant.choice else "")


def reread(of: Recorder) -> session.Session:
    assert of.journal.close()
    return session.read(of.journal.path)


def unmeasured(**more: str) -> dict[str, str]:
    """Return the environment for a program whose coverage is not measured: where there is no room, nor for it either,
    and it loads modules of its own."""
    return {name: value for name, value in os.environ.items() if not name.startswith("COVERAGE_")} | more


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def assert_same_season(one: Season, two: Season) -> None:
    for table in ("sessions", "bouts", "gaps"):
        pd.testing.assert_frame_equal(getattr(one, table), getattr(two, table))
    assert one.findings == two.findings
    assert one.ethograms == two.ethograms
    assert list(one.ethograms) == list(two.ethograms)
