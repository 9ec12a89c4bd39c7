"""What came with a practice, and what without it: the keeper's own experiments."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from etholog.analysis import columns
from etholog.analysis.compare import compare
from etholog.analysis.share import wilson
from etholog.animals.attempts import by_female
from etholog.base.dates import Day
from etholog.base.refusal import Refusal
from etholog.base.text import nearest
from etholog.season import Season


@dataclass(frozen=True)
class Practice:
    """What came with a practice and without it. `table`: a row for each thing that can come of it; `sentence` says
    what the numbers rest on."""

    name: str
    table: pd.DataFrame
    sentence: str


def practice(season: Season, name: str, today: date) -> Practice:
    """Compare attempts with a practice and without: a sac, where it was done before one; the sac kept, where it was
    done while she guarded. Shares with Wilson's limits, Fisher's exact test, and for kept sacs the log-rank test of
    the time to their loss. Raises Refusal for a practice that no card has."""
    columns.word(name, "practice")
    animals = columns.season(season).animals.as_of(columns.day(today))
    done = {one.id: [e.on for e in one.all("practice") if e.words == name] for one in animals.cards.values()}
    if not any(done.values()):
        known = {e.words for one in animals.cards.values() for e in one.all("practice")}
        raise Refusal(f"no practice {name!r} on any card{nearest(name, sorted(known))}")
    tries = [(one, animals.species_of(one.female)) for own in by_female(animals).values() for one in own if one.taken]
    before, guarding = [], []
    for one, species in tries:
        dates = [on for on in done.get(one.female, []) if not on.before(one.taken[0].on)]
        known_by = {"female": one.female, "species": species, "year": one.taken[0].on.first.year}
        if one.end != "open":
            early = any(one.ended_on is None or on.before(one.ended_on) for on in dates)
            before.append(known_by | {"with": early, "came": one.end == "sac"})
        if one.sac:
            lost = one.eaten
            until = lost or one.opened or one.pulled
            end = until.on if until else Day.of(today)
            late = any(not on.before(one.sac.on) and not end.before(on) for on in dates)
            days = sum(one.sac.on.days_until(end)) / 2
            guarding.append(known_by | {"with": late, "came": lost is None, "days": days, "open": until is None})
    rows = []
    told: list[pd.DataFrame] = []
    for what, some in (("a sac", before), ("the sac kept", guarding)):
        frame = pd.DataFrame(some)
        if len(frame) and frame["with"].any():
            told.append(frame)
            rows.append({"outcome": what} | _compared(frame))
    return Practice(name, pd.DataFrame(rows), _alike(told))


def _compared(frame: pd.DataFrame) -> dict[str, Any]:
    from scipy.stats import fisher_exact

    settled = frame[~frame["open"]] if "open" in frame else frame
    row: dict[str, Any] = {}
    counts = []
    for label, mask in (("with", settled["with"]), ("without", ~settled["with"])):
        n, of = int(settled.loc[mask, "came"].sum()), int(mask.sum())
        low, high = wilson(n, of)
        row |= {label: n, f"{label}_of": of, f"{label}_low": low, f"{label}_high": high}
        counts.append((n, of - n))
    row["p"] = float(fisher_exact(counts).pvalue) if all(sum(pair) for pair in counts) else np.nan
    row["loss_p"] = np.nan
    if "days" in frame and frame["with"].nunique() == 2:
        times = pd.DataFrame({"latency_s": frame["days"], "occurred": ~frame["came"], "with": frame["with"]})
        times["session"] = range(len(frame))
        row["loss_p"] = compare(times, "with", permutations=1000).p
    return row


def _alike(frames: list[pd.DataFrame]) -> str:
    if not frames:
        return "The practice falls into no attempt that can be judged: there is nothing to compare."
    frame = pd.concat(frames)
    own, others = frame[frame["with"]], frame[~frame["with"]]
    parts = [f"{own['female'].nunique()} females with it, {others['female'].nunique()} without"]
    for column, word in (("female", "female"), ("species", "species"), ("year", "year")):
        shared = set(own[column]) & set(others[column])
        if not shared:
            parts.append(f"no {word} in both: what looks like the practice may be the {word}")
    parts.append("so few animals show no more than a direction, and who got it was not drawn by lot")
    return "; ".join(parts) + "."
