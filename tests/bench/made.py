"""Made data for the benchmarks: sessions of 200 marks each, seeded, of nobody's animals.

70 % of the marks are edges of states, 30 % events; a state's key is pressed again to end it, or a sibling ends it.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from etholog import session
from etholog.base import journal
from etholog.season import Season
from etholog.session.folding import Folding
from tests.make import terrestrial_1

MARKS = 200
MALES, FEMALES = 400, 600
KEPT = terrestrial_1()
STATES = [b.code for b in KEPT.behaviour if b.kind == "state" and not b.hides and not b.choices and b.within is None]
EVENTS = [b.code for b in KEPT.behaviour if b.kind == "event" and not b.choices and not b.ends]


def header(number: int) -> dict[str, Any]:
    return session.header_of(
        KEPT,
        id=f"{number:06d}",
        began=f"2026-{number % 12 + 1:02d}-{number % 28 + 1:02d}T21:{number % 60:02d}:00.000+01:00",
        male=f"M-{number % MALES}",
        female=f"F-{number * 7 % FEMALES}",
        species="Brachypelma smithi",
        observer="made",
        place="made",
        clock="made",
        clock_at=0.0,
        boot="",
        conditions={"temperature_c": 20 + number % 50 / 10, "light": "dim red"},
        source="made",
    )


def recorded(lines: list[dict[str, Any]], generator: np.random.Generator) -> list[dict[str, Any]]:
    """Return marks as a keeper's evening has them: the wall's time once a minute; of a hundred marks five taken back,
    three moved, one in doubt, two with a note, one followed by a prompt, and one time in which nobody watched."""
    out: list[dict[str, Any]] = []
    minute = -1
    for line in lines:
        n, t = len(out) + 1, line.get("t", 0)
        line = line | {"n": n}
        if line["do"] == "mark" and t // 60_000 != minute:
            minute = t // 60_000
            line |= {
                "wall": f"2026-05-03T{21 + t // 3_600_000 % 3:02d}:{minute % 60:02d}:{t // 1000 % 60:02d}.000+02:00"
            }
        out.append(line)
        chance = generator.random()
        if line["do"] != "mark":
            continue
        if chance < 0.05:
            out.append({"n": n + 1, "do": "undo", "of": n})
        elif chance < 0.08:
            out.append({"n": n + 1, "do": "move", "of": n, "t": max(0, t - 900)})
        elif chance < 0.09:
            out.append({"n": n + 1, "do": "doubt", "of": n, "sure": False})
        elif chance < 0.11:
            out.append({"n": n + 1, "do": "note", "t": t + 50, "text": "she turned towards the burrow"})
        elif chance < 0.12:
            out.append({"n": n + 1, "do": "prompt", "t": t + 60, "name": "cup_ready"})
        elif chance < 0.13:
            out.append({"n": n + 1, "do": "gap", "t": t + 70, "why": "the door bell"})
            out.append({"n": n + 2, "do": "back", "t": t + 150})
    return out


def files(folder: Path, count: int, like_recorded: bool = False) -> None:
    """Write `count` sessions: marks alone, or with all that a keeper's evening has besides."""
    generator = np.random.default_rng(1)
    for number in range(count):
        lines: list[dict[str, Any]] = []
        times = np.cumsum(generator.integers(200, 9000, MARKS))
        states, picks = generator.random(MARKS) < 0.7, generator.integers(0, 1000, MARKS)
        folding = Folding(KEPT)
        for at in range(MARKS):
            code = STATES[picks[at] % len(STATES)] if states[at] else EVENTS[picks[at] % len(EVENTS)]
            edge = None
            if states[at]:
                edge = "offset" if any(bout.code == code for bout in folding.running.values()) else "onset"
            folding.mark(int(times[at]), at + 1, code, edge, None)
            told = {"edge": edge} if edge else {}
            lines.append({"n": at + 1, "do": "mark", "t": int(times[at]), "code": code, **told})
        lines.append({"n": MARKS + 1, "do": "close", "t": int(times[-1]) + 5000, "outcome": {"ended": "made"}})
        every = [{"n": 0, "do": "begin", **header(number)}, *(recorded(lines, generator) if like_recorded else lines)]
        (folder / f"{number:06d}.jsonl").write_bytes(b"".join(map(journal.encode, every)))


def season(count: int, bouts_each: int = MARKS) -> Season:
    """Return a season straight as tables: `count` sessions with so many bouts each, 70 % of them states."""
    generator = np.random.default_rng(2)
    total = count * bouts_each
    codes = [*STATES, *EVENTS]
    state = generator.random(total) < 0.7
    pick = generator.integers(0, 1000, total)
    code = np.where(state, pick % len(STATES), len(STATES) + pick % len(EVENTS)).astype(np.int8)
    steps = generator.integers(200, 9000, (count, bouts_each))
    onset = np.cumsum(steps, axis=1).reshape(-1)
    length = np.where(state, np.minimum(generator.integers(300, 20_000, total), 8900), 0)
    place = np.repeat(np.arange(count, dtype=np.int32), bouts_each)
    end = onset.reshape(count, -1)[:, -1] + 10_000
    offset = onset + length
    by_code = KEPT.by_code
    actors, kinds = ["male", "female", "pair", "keeper"], ["state", "event"]

    def column(words: list[str], numbers: np.ndarray) -> pd.Categorical:
        return pd.Categorical.from_codes(numbers, categories=pd.Index(words, dtype=object))

    actor = np.array([actors.index(by_code[c].actor) for c in codes], dtype=np.int8)[code]
    ids = pd.Index([f"{number:06d}" for number in range(count)], dtype=object)
    male = np.arange(count, dtype=np.int16) % MALES
    female = (np.arange(count) * 7 % FEMALES).astype(np.int16)
    males, females = [f"M-{n}" for n in range(MALES)], [f"F-{n}" for n in range(FEMALES)]
    sessions = pd.DataFrame(
        {
            "session": pd.Categorical.from_codes(np.arange(count), categories=ids),
            "male": column(males, male),
            "female": column(females, female),
            "ethogram": column([KEPT.name], np.zeros(count, dtype=np.int8)),
            "length_s": end / 1000,
            "watched_s": end / 1000,
            "out_of_sight_s": np.zeros(count),
        }
    )
    bouts = pd.DataFrame(
        {
            "session": pd.Categorical.from_codes(place, categories=ids),
            "male": column(males, male[place]),
            "female": column(females, female[place]),
            "actor": column(actors, actor),
            "behaviour": column(codes, code),
            "kind": column(kinds, (~state).astype(np.int8)),
            "qualifier": column([], np.full(total, -1, dtype=np.int8)),
            "onset_s": onset / 1000,
            "offset_s": offset / 1000,
            "duration_s": length / 1000,
            "whole": generator.random(total) < 0.98,
            "confident": np.ones(total, dtype=bool),
            "hides": np.zeros(total, dtype=bool),
            "n": np.tile(np.arange(1, bouts_each + 1, dtype=np.int32), count),
        }
    )
    gaps = pd.DataFrame({"session": pd.Categorical.from_codes(np.zeros(0, dtype=np.int32), categories=ids),
                         "onset_s": np.zeros(0), "offset_s": np.zeros(0), "why": pd.Categorical([])})  # fmt: skip
    return Season(Path(), sessions, bouts, gaps, {KEPT.name: KEPT})
