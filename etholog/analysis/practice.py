"""What came with a practice, and what without it: the keeper's own experiments."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from etholog.analysis import begun, columns
from etholog.animals import Animals
from etholog.animals.attempts import Attempt, by_female
from etholog.animals.card import Entry
from etholog.base import notebook
from etholog.base.dates import Day
from etholog.base.refusal import Refusal
from etholog.base.text import many, nearest
from etholog.season import Season

QUARTER = 0.25


@dataclass(frozen=True)
class Practice:
    """What came with a practice and without it."""

    name: str
    table: pd.DataFrame
    """A row for each thing that can come: outcome; with and without (how often it came), with_of and without_of (of how
    many), with_days and without_days (time at risk; the time before the practice counts as without); ratio (of hazards
    with to without), p, power (the share of seasons like this in which a practice that makes it a quarter as frequent
    would be found)."""
    sentence: str

    def _repr_html_(self) -> str:
        return notebook.html(self.sentence, self.table)


def practice_outcomes(season: Season, name: str, today: date) -> Practice:
    """Return what came of attempts and sacs before and after a practice was begun, as `analysis.begun` compares it.

    A sac: from the first pairing that may have taken, a moult or her death ending the wait. The sac lost: from the
    sac, for as long as she has it with her. What came after she was sold or given away nobody here has seen. Time
    before the practice counts as time without it (start-stop risk sets; Crowley & Hu 1977).

    Parameters
    ----------
    season: as `etholog.read` returned it, with its cards.
    name: the words of the entries `practice`.
    today: what was told after it is left out.

    Returns
    -------
    Practice: `.table` (a row for each outcome: counts, days at risk, ratio, p and power, where there are enough) and
    `.sentence`.

    Raises
    ------
    Refusal: for a practice that no card has, with the nearest.

    >>> import etholog
    >>> from datetime import date
    >>> found = etholog.practice_outcomes(etholog.read("examples/season"), "cool rest", date(2026, 11, 20))
    >>> found.table["outcome"].tolist()
    ['a sac']
    """
    columns.word(name, "practice")
    today = columns.day(today)
    animals = columns.season(season).animals.as_of(today)
    done = {one.id: [e for e in one.all("practice") if e.words == name] for one in animals.cards.values()}
    if not any(done.values()):
        known = {e.words for one in animals.cards.values() for e in one.all("practice")}
        raise Refusal(f"no practice {name!r} on any card{nearest(name, sorted(known))}")
    every = [one for own in by_female(animals).values() for one in own]
    waits = {
        "a sac": [_waited(one, animals, done.get(one.female, []), today) for one in every if one.taken],
        "the sac lost": [
            _guarded(one, animals, done.get(one.female, []), today) for one in every if one.sac and one.sires
        ],
    }
    rows, judged = [], []
    for what, some in waits.items():
        frame = pd.DataFrame(some)
        if len(frame) and frame["began"].notna().any():
            rows.append({"outcome": what} | _compared(frame))
            judged.append(frame)
    return Practice(name, pd.DataFrame(rows), " ".join(_sentences(pd.DataFrame(rows), judged)))


def _waited(one: Attempt, animals: Animals, done: list[Entry], today: date) -> dict[str, Any]:
    return _unit(one, animals, one.taken[0].on, one.ended_on or one.seen_until(today), one.sac is not None, done)


def _guarded(one: Attempt, animals: Animals, done: list[Entry], today: date) -> dict[str, Any]:
    assert one.sac
    until = one.eaten.on if one.eaten else one.guarded_until or one.seen_until(today)
    return _unit(one, animals, one.sac.on, until, one.eaten is not None, done)


def _unit(one: Attempt, animals: Animals, start: Day, end: Day, came: bool, done: list[Entry]) -> dict[str, Any]:
    """Return a row for `begun`: dates known to the month count as their middle."""
    began = [_days(start, e.on) for e in done if not e.on.before(start) and not end.before(e.on)]
    return {
        "female": one.female,
        "species": animals.species_of(one.female),
        "year": start.first.year,
        "days": max(_days(start, end), 0.0),
        "occurred": came,
        "began": max(min(began), 0.0) if began else np.nan,
    }


def _days(start: Day, end: Day) -> float:
    return sum(start.days_until(end)) / 2


def _compared(frame: pd.DataFrame) -> dict[str, Any]:
    found = begun.begun(frame)
    return {
        "with": found.with_events,
        "with_of": found.began,
        "with_days": found.with_days,
        "without": found.without_events,
        "without_of": int((frame["began"].isna() | (frame["began"] > 0)).sum()),
        "without_days": found.without_days,
        "ratio": found.ratio,
        "p": found.p,
        "power": begun.power(frame, QUARTER) if np.isfinite(found.p) else np.nan,
    }


def _sentences(table: pd.DataFrame, frames: list[pd.DataFrame]) -> Iterator[str]:
    if not frames:
        yield "The practice falls into no attempt that can be judged: there is nothing to compare."
        return
    yield "Time before the practice counts as time without it."
    for row, frame in zip(table.to_dict("records"), frames, strict=True):
        some = many(len(frame), "sac" if row["outcome"] == "the sac lost" else "attempt")
        if np.isfinite(row["p"]):
            yield (
                f"{row['outcome'].capitalize()}: p draws anew who began, from those still waiting that day; with"
                f" {some} like these, a practice that makes it a quarter as frequent is found"
                f" {round(100 * row['power'])} times in 100."
            )
        elif len(frame) < begun.AT_LEAST:
            yield (f"{row['outcome'].capitalize()}: {some}: too few for a p (least {begun.AT_LEAST}).")
        else:
            yield (f"{row['outcome'].capitalize()}: {some} with these days and ends: too few for a p.")
    frame = pd.concat(frames)
    own, others = frame[frame["began"].notna()], frame[frame["began"].isna()]
    yield f"{many(own['female'].nunique(), 'female')} with it, {others['female'].nunique()} without."
    for column in ("female", "species", "year"):
        if not set(own[column]) & set(others[column]):
            yield f"No {column} in both: what looks like the practice may be the {column}."
    yield "If you chose because a female or a sac looked bad, or chose females and not sacs, no figure here repairs it."
