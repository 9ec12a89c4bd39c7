"""Which pairings gave sacs and young, and what the evening looked like when they did: one row an attempt.

An attempt is all pairings of one female in one intermoult, up to a sac, a moult or her death. What still waits is open:
it counts neither for nor against.
"""

from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, permutation
from etholog.analysis.incidence import incidence
from etholog.analysis.latency import courtship, of_role
from etholog.analysis.share import wilson
from etholog.animals import Pairing
from etholog.animals.attempts import Attempt, by_female
from etholog.base.dates import Day
from etholog.season import Season
from etholog.session.evidence import Evidence

MEASURES = ("insertion_s", "insertions", "palps", "latency_s")


def outcomes(season: Season, today: date) -> pd.DataFrame:
    """Return one row for each attempt, as known at the end of `today`.

    female, species, males (those that may be the sire), sires (how many), first_on, last_on, pairings; watched
    (whether a session of it was), evidence (rung of the ladder, 0 to 7; NaN unknown), courted, latency_s (of the
    evening with the best evidence), insertions, insertion_s, palps; may_have_taken, end ('sac', 'moult', 'died',
    'open'), days from the last pairing that may have taken to the end (or `today`); eaten, pulled, opened, young (NaN:
    not counted), doubts.
    """
    animals = columns.season(season).animals.as_of(columns.day(today))
    evenings = _evenings(season)
    rows = [
        _row(one, animals.species_of(name), evenings, today)
        for name, own in by_female(animals).items()
        for one in own
        if one.pairings
    ]
    # With one row more, the columns have their types even where there is no attempt.
    return pd.DataFrame([*rows, _row(Attempt(""), "", evenings, today)]).iloc[:-1]


def _evenings(season: Season) -> pd.DataFrame:
    """Return, by session: latency_s, courted, insertions, insertion_s, palps; NaN where its ethogram has no role for
    them."""
    sessions, bouts = season.sessions, season.bouts
    insertions = bouts[of_role(bouts, "insertion")]
    grouped = insertions.groupby(insertions["session"].astype(str))
    table = pd.DataFrame(index=pd.Index(sessions["session"].astype(str), name="session"))
    table["insertions"] = grouped.size().reindex(table.index, fill_value=0)
    table["insertion_s"] = grouped["duration_s"].sum().reindex(table.index, fill_value=0.0)
    table["palps"] = grouped["qualifier"].nunique().reindex(table.index, fill_value=0)
    without = [of for of, kept in season.ethograms.items() if kept.missing("insertion")]
    unknown = sessions["ethogram"].isin(without).to_numpy()
    columns = ["insertions", "insertion_s", "palps"]
    table[columns] = table[columns].astype(float).mask(np.repeat(unknown[:, None], len(columns), axis=1))
    times = courtship(season).set_index("session")
    came = times[times["occurred"]]["latency_s"]
    came.index = came.index.astype(str)
    table["latency_s"] = came.reindex(table.index)
    table["courted"] = table["latency_s"].notna()
    return table


def _row(one: Attempt, species: str, evenings: pd.DataFrame, today: date) -> dict[str, Any]:
    known = [(p, p.file.stem) for p in one.pairings if p.file is not None and p.file.stem in evenings.index]
    seen = evenings.loc[[name for _, name in known]]
    best = max(known, key=lambda pair: pair[0].evidence)[1] if known else None
    start = (one.taken or one.pairings or (Pairing("", "", Day.of(today)),))[-1].on
    end = one.ended_on or Day.of(today)
    return {
        "female": one.female,
        "species": species,
        "males": ", ".join(one.sires),
        "sires": len(one.sires),
        "first_on": one.pairings[0].on.text if one.pairings else "",
        "last_on": one.pairings[-1].on.text if one.pairings else "",
        "pairings": len(one.pairings),
        "watched": bool(known),
        "evidence": float("nan") if one.rung is None else float(one.rung),
        "courted": bool(seen["courted"].any()),
        "latency_s": float(evenings["latency_s"][best]) if best else float("nan"),
        "insertions": float(seen["insertions"].sum(min_count=min(1, len(seen)))),
        "insertion_s": float(seen["insertion_s"].sum(min_count=min(1, len(seen)))),
        "palps": float(seen["palps"].max()) if known else 0.0,
        "may_have_taken": bool(one.taken),
        "end": one.end,
        # A date known to the month counts as its middle.
        "days": sum(start.days_until(end)) / 2,
        "eaten": one.eaten is not None,
        "pulled": one.pulled is not None,
        "opened": one.opened is not None,
        "young": float("nan") if one.young is None else float(one.young),
        "doubts": "; ".join(one.doubts),
    }


def _attempts(value: pd.DataFrame) -> pd.DataFrame:
    """Return a table of `outcomes`, its answers as yes or no and its measures as numbers."""
    yes, numbers = ("watched", "courted", "may_have_taken", "eaten"), ("evidence", "young", "days", *MEASURES)
    rows = columns.table(value, "males", "end", *yes, *numbers)
    for name in ("males", "end"):
        columns.labels(rows, name, holes=name == "males")
    return rows.assign(
        **{name: columns.flags(rows, name) for name in yes},
        **{name: columns.numbers(rows, name) for name in numbers},
    )


def evidence_words(table: pd.DataFrame) -> list[str]:
    """Return the evidence of each attempt in words; where it is missing, why."""
    missing = [Evidence.UNTOLD if watched else Evidence.UNWATCHED for watched in table["watched"]]
    return [
        (Evidence.of(rung) if rung == rung else why).words for rung, why in zip(table["evidence"], missing, strict=True)
    ]


def funnel(table: pd.DataFrame) -> pd.DataFrame:
    """Return, for each step from introduced to young, how many reached it of those that reached the one before.

    Columns: step, reached, of, open (still waiting: in neither), share, low, high (Wilson's 95 % limits). The steps of
    the evening count attempts of which a session was watched.
    """
    table = _attempts(table)
    watched = table[table["watched"] & table["evidence"].notna()]
    inserted = watched["evidence"] >= Evidence.INSERTION
    clasped = inserted | (watched["evidence"] >= Evidence.CLASP)
    courted = clasped | watched["courted"]
    taken = table[table["may_have_taken"]]
    sac = taken["end"] == "sac"
    laid = taken[sac]
    young = laid["young"].fillna(0) > 0
    settled = young | laid["eaten"] | laid["young"].notna()
    steps = [
        ("introduced", len(table), len(table), 0),
        ("courted", int(courted.sum()), len(watched), 0),
        ("clasped", int(clasped.sum()), int(courted.sum()), 0),
        ("inserted", int(inserted.sum()), int(clasped.sum()), 0),
        ("sac", int(sac.sum()), int((taken["end"] != "open").sum()), int((taken["end"] == "open").sum())),
        ("young", int(young.sum()), int(settled.sum()), int((~settled).sum())),
    ]
    return pd.DataFrame(
        [
            {"step": step, "reached": n, "of": of, "open": waiting, "share": n / of if of else np.nan}
            | dict(zip(("low", "high"), wilson(n, of), strict=True))
            for step, n, of, waiting in steps
        ]
    )


def time_to_sac(table: pd.DataFrame) -> pd.DataFrame:
    """Return the share with a sac, and with a moult or death first, by days since the last pairing that may have taken
    (Aalen & Johansen 1978, as `incidence`); index days."""
    table = _attempts(table)
    taken = table[table["may_have_taken"] & (table["days"] >= 0)]
    times = pd.DataFrame({"latency_s": taken["days"], "end": taken["end"].where(taken["end"] != "open")})
    found = incidence(times, "end")
    found.index.name = "days"
    return found


def evening(table: pd.DataFrame) -> pd.DataFrame:
    """Return what of the evening goes with a sac, over closed attempts of which a session was watched.

    A row for each of MEASURES: n_sac, n_none, males; larger (the chance that it is larger in one with a sac than in one
    without, ties as halves); shift (Hodges & Lehmann 1963) with its exact 95 % limits (`exact_shift`), NaN where there
    are too few; p by permuting sacs within males over ranks, and the smallest p that the design could have given.
    """
    table = _attempts(table)
    closed = table[table["may_have_taken"] & table["watched"] & (table["end"] != "open")]
    rows = []
    for measure in MEASURES:
        some = closed.dropna(subset=[measure])
        value = some[measure].to_numpy(dtype=float)
        sac = (some["end"] == "sac").to_numpy()
        row: dict[str, Any] = {"measure": measure, "n_sac": int(sac.sum()), "n_none": int((~sac).sum())}
        row["males"] = some["males"].nunique()
        rows.append(row | _effect(value, sac, pd.factorize(some["males"])[0]))
    return pd.DataFrame(rows)


def _effect(value: NDArray[np.float64], sac: NDArray[np.bool_], male: NDArray[np.intp]) -> dict[str, float]:
    names = ("larger", "shift", "low", "high", "p", "smallest_p")
    if sac.all() or not sac.any():
        return dict.fromkeys(names, np.nan)
    differences = value[sac][:, None] - value[~sac][None, :]
    larger = float(((differences > 0) + 0.5 * (differences == 0)).mean())
    shift, low, high = exact_shift(value[sac], value[~sac])
    ranks = np.asarray(pd.Series(value).rank(), dtype=np.float64)
    found = permutation.test(ranks, sac.astype(np.intp), male, 10_000, 0)
    return dict(zip(names, (larger, shift, low, high, found.p, found.smallest_p), strict=True))


def exact_shift(one: NDArray[np.float64], other: NDArray[np.float64]) -> tuple[float, float, float]:
    """Return the median of all differences (Hodges & Lehmann 1963) and its exact two-sided 95 % limits, from the null
    distribution of the rank sum (Hollander & Wolfe, Nonparametric Statistical Methods, ch. 4).

    Limits are NaN where even the outermost differences cover less than 95 %. Written here: scipy has the test, and not
    its interval.
    """
    differences = np.sort(np.subtract.outer(one, other).ravel())
    m, n = len(one), len(other)
    tail = np.cumsum(_rank_sum_counts(m, n)) / _rank_sum_counts(m, n).sum()
    outside = int(np.searchsorted(tail, 0.025, side="right"))  # so many values of the tail hold 2.5 % at most
    if outside == 0:
        return float(np.median(differences)), float("nan"), float("nan")
    return float(np.median(differences)), float(differences[outside - 1]), float(differences[-outside])


def _rank_sum_counts(m: int, n: int) -> NDArray[np.float64]:
    """Return in how many orders of m and n values without ties the Mann-Whitney U is 0, 1 ... mn."""
    counts = np.zeros((m + 1, m * n + 1))
    counts[0, 0] = 1.0
    for last in range(1, m + n + 1):  # of m chosen ranks, the greatest is `last`: it adds last minus its place
        for size in range(min(m, last), 0, -1):
            add = last - size
            if add <= m * n and last - size <= n:
                counts[size, add:] += counts[size - 1, : m * n + 1 - add]
    whole: NDArray[np.float64] = counts[m]
    return whole
