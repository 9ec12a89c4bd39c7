"""Which pairings gave sacs and young, and what the evening looked like when they did: one row an attempt.

An attempt is all pairings of one female in one intermoult, up to a sac, a moult or her death. What still waits is open:
it counts neither for nor against.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, crossed
from etholog.analysis.covariate import permute_within
from etholog.analysis.incidence import by_time, of_sexes
from etholog.analysis.latency import courtship, of_role
from etholog.analysis.permutation import NOTHING, Permuted
from etholog.animals import Pairing
from etholog.animals.attempts import Attempt, by_female
from etholog.animals.lot import Stage
from etholog.base.dates import Day
from etholog.ethogram import Ethogram
from etholog.season import Season
from etholog.session.evidence import Evidence

ANIMALS = ("males", "female")
MEASURES = ("insertion_s", "insertions", "palps", "latency_s")


def outcomes(season: Season, today: date) -> pd.DataFrame:
    """Return one row for each attempt, as known at the end of a day, and one for each further sac of an attempt.

    Parameters
    ----------
    season: as `etholog.read` returned it, with its cards.
    today: what was told after it is left out.

    Returns
    -------
    female, species, males (those that may be the sire and have a name), sires (how many, with those without one),
    first_on, last_on, pairings (0: a further
    sac without a further pairing, which is no attempt of its own: none of them may have taken); watched
    (whether a session of it was), evidence (rung of the ladder, 0 to 7; NaN unknown), courted, latency_s (of the
    evening with the best evidence), insertions, insertion_s, palps; may_have_taken, end ('sac', 'moult', 'died',
    'open'), days from the last pairing that may have taken to the end (or `today`, or the day on which she was sold,
    given away or given back: what came later nobody here has seen); left (whether she was before it ended); eaten,
    pulled, opened, young (NaN: not counted), doubts; sac_end ('young', 'lost', 'none': counted, no young; 'open'; '' no
    sac) in sac_days. seen: the rung that was seen in its sessions, a sac left aside; rests_on: on what it rests that
    sperm may have been transferred. Of the young: laid (all eggs of the first count), then the latest count of the
    living at each stage (eggs, eggs_with_legs, nymphs, first_instar, second_instar, spiderlings; NaN: not counted), and
    stages: the same in words, with what was lost between.

    Raises
    ------
    Refusal: for what is no season or no day.

    >>> import etholog
    >>> from datetime import date
    >>> etholog.outcomes(etholog.read("examples/season"), date(2026, 11, 20))["end"].value_counts().to_dict()
    {'sac': 4, 'open': 3, 'moult': 2}
    """
    animals = columns.season(season).animals.as_of(columns.day(today))
    evenings = _evenings(season).to_dict("index")
    rows = [
        _row(one, animals.species_of(name), evenings, today)
        for name, own in by_female(animals).items()
        for one in own
        if one.pairings or one.stored
    ]
    # With one row more, the columns have their types even where there is no attempt.
    return pd.DataFrame([*rows, _row(Attempt(""), "", evenings, today)]).iloc[:-1]


def looks_at(ethogram: Ethogram) -> set[str]:
    """Return the codes of the behaviours whose bouts `outcomes` looks at."""
    waited = ethogram.with_role("courtship")
    named = {name.partition(":")[0] for name in (*waited.since, *waited.to)} if waited else set()
    return named | set(ethogram.codes_of("insertion"))


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
    counted = ["insertions", "insertion_s", "palps"]
    table[counted] = table[counted].astype(float).mask(np.repeat(unknown[:, None], len(counted), axis=1))
    times = courtship(season).set_index("session")
    came = times[times["occurred"]]["latency_s"]
    came.index = came.index.astype(str)
    table["latency_s"] = came.reindex(table.index)
    table["courted"] = table["latency_s"].notna()
    return table


def _row(one: Attempt, species: str, evenings: Mapping[Any, Mapping[Any, Any]], today: date) -> dict[str, Any]:
    known = [(p, evenings[p.file.stem]) for p in one.pairings if p.file is not None and p.file.stem in evenings]
    seen = [evening for _, evening in known]
    best = max(known, key=lambda pair: pair[0].evidence)[1] if known else None
    start = (one.taken or one.pairings or one.stored or (Pairing("", "", Day.of(today)),))[-1].on
    end = one.ended_on or one.seen_until(today)
    sires = one.sires
    return {
        "female": one.female,
        "species": species,
        "males": ", ".join(filter(None, sires)),
        "sires": len(sires),
        "first_on": one.pairings[0].on.text if one.pairings else "",
        "last_on": one.pairings[-1].on.text if one.pairings else "",
        "pairings": len(one.pairings),
        "watched": bool(known),
        "evidence": float("nan") if one.rung is None else float(one.rung),
        "courted": any(evening["courted"] for evening in seen),
        "latency_s": best["latency_s"] if best else float("nan"),
        "insertions": _of_known(seen, "insertions", sum),
        "insertion_s": _of_known(seen, "insertion_s", sum),
        "palps": _of_known(seen, "palps", max),
        "may_have_taken": bool(one.taken),
        "end": one.end,
        "left": one.end == "open" and one.seen_until(today) == one.left,
        # A date known to the month counts as its middle.
        "days": sum(start.days_until(end)) / 2,
        **_of_sac(one, today),
        "eaten": one.eaten is not None,
        "pulled": one.pulled is not None,
        "opened": one.opened is not None,
        "young": float("nan") if one.young is None else float(one.young),
        "doubts": "; ".join(one.doubts),
        "seen": float(one.best) if one.best.known else float("nan"),
        "rests_on": one.rests_on,
        "laid": float("nan") if one.lot.laid is None else float(one.lot.laid),
        **{stage.name.lower(): float(one.lot.alive.get(stage, np.nan)) for stage in Stage},
        "stages": one.lot.words,
    }


def _of_known(evenings: Sequence[Mapping[Any, Any]], measure: str, of: Callable[[Sequence[float]], float]) -> float:
    """Return the sum, or the largest, over the evenings on which it is known; NaN where none knows, or none was."""
    known = [evening[measure] for evening in evenings if evening[measure] == evening[measure]]
    return float(of(known)) if known else float("nan")


def _attempts(
    value: pd.DataFrame, *, labels: Sequence[str], flags: Sequence[str], numbers: Sequence[str]
) -> pd.DataFrame:
    """Return a table of `outcomes`, of which these columns are needed: its answers as yes or no, its measures as
    numbers."""
    rows = columns.table(value, *labels, *flags, *numbers)
    for name in labels:
        columns.labels(rows, name, holes=name == "males")
    return rows.assign(
        **{name: columns.flags(rows, name) for name in flags},
        **{name: columns.numbers(rows, name) for name in numbers},
    )


def evidence_words(table: pd.DataFrame) -> list[str]:
    """Return the evidence of each attempt in words; where it is missing, why."""
    missing = [Evidence.UNTOLD if watched else Evidence.UNWATCHED for watched in table["watched"]]
    return [
        (Evidence.of(rung) if rung == rung else why).words for rung, why in zip(table["evidence"], missing, strict=True)
    ]


def _of_sac(one: Attempt, today: date) -> dict[str, Any]:
    """Return what came of the sac first, and in how many days; without a sac, nothing."""
    if not one.sac:
        return {"sac_end": "", "sac_days": float("nan")}
    # A sac that was taken from her stays here when she goes.
    came, on = "open", one.seen_until(today) if one.guarding else Day.of(today)
    young = [count for count in one.lot.counts if count.state == "alive" and count.stage > Stage.EGGS]
    if one.gave_young:
        came, on = "young", ([told.on for told in young if told.number] or [one.lot.left[0].on])[0]
    elif one.eaten:
        came, on = "lost", one.eaten.on
    elif young:
        came, on = "none", next(count.on for count in young if not count.number)
    elif one.over:
        came, on = "none", one.over
    return {"sac_end": came, "sac_days": max(sum(one.sac.on.days_until(on)) / 2, 0.0)}


def funnel(table: pd.DataFrame, day: float | None = None) -> pd.DataFrame:
    """Return, for each step from introduced to young, how many reached it of those that reached the one before.

    Up to the insertion, counts of the attempts of which a session was watched, with Wilson's 95 % limits (1927) of as
    many independent attempts as these are worth: those of one male, and of one female, resemble each other. A sac and
    young take time: their share is what had come by a named day (Aalen & Johansen 1978), those that still wait
    counted for as long as they have waited; limits on the log-log scale, in which males and females vary where one
    has several attempts, and none where such males, or females, are fewer than four. The young are those of an
    attempt's first sac. That a pair was introduced makes it an attempt, so that step has no limits.

    Parameters
    ----------
    table: as `outcomes` has it.
    day: days since the last pairing that may have taken, for the sac (not given: the last day on which a quarter of
        the attempts were still under watch). Young are always told by such a last day since the sac.

    Returns
    -------
    step, reached, of, open (still waiting, and for less than `day`), share, low, high, day (NaN: of the evening),
    by_sac (how many of `reached` nobody saw: a later sac is the evidence; 0 where the table has no column `seen`).
    The share is NaN after the last day that anything is known of.

    Raises
    ------
    Refusal: for a table that lacks a column of `outcomes`, or holds something else in it.

    >>> import etholog
    >>> from datetime import date
    >>> attempts = etholog.outcomes(etholog.read("examples/season"), date(2026, 11, 20))
    >>> etholog.funnel(attempts)[["step", "reached", "of"]].iloc[3].to_dict()
    {'step': 'inserted', 'reached': 7, 'of': 7}
    """
    table = _attempts(
        table,
        labels=("end", "sac_end"),
        flags=("watched", "courted", "may_have_taken"),
        numbers=("evidence", "days", "sac_days"),
    )
    watched = table[table["watched"] & table["evidence"].notna()]
    inserted = watched["evidence"] >= Evidence.INSERTION
    clasped = inserted | (watched["evidence"] >= Evidence.CLASP)
    courted = clasped | watched["courted"]
    seen = columns.numbers(watched, "seen") if "seen" in watched else watched["evidence"]
    by_sac = {
        "courted": int((courted & ~watched["courted"] & ~(seen >= Evidence.CLASP)).sum()),
        "clasped": int((clasped & ~(seen >= Evidence.CLASP)).sum()),
        "inserted": int((inserted & ~(seen >= Evidence.INSERTION)).sum()),
    }
    paired = table[columns.numbers(table, "pairings") > 0] if "pairings" in table else table
    rows = [
        _step("introduced", pd.Series(True, index=paired.index), paired, 0) | {"low": np.nan, "high": np.nan},
        _step("courted", courted, watched, by_sac["courted"]),
        _step("clasped", clasped[courted], watched[courted], by_sac["clasped"]),
        _step("inserted", inserted[clasped], watched[clasped], by_sac["inserted"]),
    ]
    taken = table[table["may_have_taken"] & (table["days"] >= 0)]
    laid = taken[taken["end"] == "sac"]
    rows.append({"step": "sac"} | _come(taken, "days", "end", "sac", day))
    rows.append({"step": "young"} | _come(laid, "sac_days", "sac_end", "young", None))
    return pd.DataFrame(rows)


def _step(step: str, came: pd.Series, of: pd.DataFrame, by_sac: int) -> dict[str, Any]:
    """Return the row of a step of the evening: of these attempts, so many came to it, some known by a sac alone."""
    n = len(of)
    animals = (pd.factorize(of[name].replace("", None))[0] if name in of else np.full(n, -1) for name in ANIMALS)
    share = float(came.mean()) if n else np.nan
    low, high = crossed.share_limits(came.to_numpy(dtype=bool), *animals)
    row = {"step": step, "reached": int(came.sum()), "of": n, "open": 0, "share": share, "low": low, "high": high}
    return row | {"day": np.nan, "by_sac": by_sac}


def last_watched(days: pd.Series) -> float:
    """Return the last day on which a quarter of so many were still under watch; NaN for none."""
    return float(np.sort(days)[-int(np.ceil(len(days) / 4))]) if len(days) else np.nan


def _come(of: pd.DataFrame, waited: str, ended: str, wanted: str, day: float | None) -> dict[str, Any]:
    """Return the row of a step that takes time: the share by `day`, of those that wait."""
    days, end = of[waited], of[ended]
    at = last_watched(days) if day is None else float(day)
    still = end == "open"
    row = {
        "reached": int(((end == wanted) & (days <= at)).sum()),
        "of": len(days),
        "open": int((still & (days < at)).sum()),
    }
    curve = _by_time(of, waited, ended)
    known = len(days) > 0 and (at <= days.max() or not still[days == days.max()].any())
    share, _, low, high = by_time(curve, wanted, at)
    shown = (share, low, high) if known else (np.nan,) * 3
    return row | dict(zip(("share", "low", "high"), shown, strict=True)) | {"day": at, "by_sac": 0}


def _by_time(of: pd.DataFrame, waited: str, ended: str) -> pd.DataFrame:
    """Return the share that had come to each end by each time, with errors in which males and females vary; attempts
    with the same possible sires are those of one male."""
    sexes = {sex: of[name] for name, sex in zip(ANIMALS, ("male", "female"), strict=True) if name in of}
    return of_sexes(
        pd.DataFrame({"latency_s": of[waited], "end": of[ended].where(of[ended] != "open"), **sexes}), "end"
    )


def time_to_sac(table: pd.DataFrame) -> pd.DataFrame:
    """Return the share with a sac, and with a moult or death first, by days since the last pairing that may have taken
    (Aalen & Johansen 1978, as `incidence`).

    Parameters
    ----------
    table: attempts, as `outcomes` returns them.

    Returns
    -------
    Index: days. For each end that came, its cumulative share and se_<end>, in which males and females vary where one
    has several attempts; its `attrs` are those of `incidence`.

    Raises
    ------
    Refusal: for a table that lacks a column of `outcomes`, or holds something else in it.

    >>> import etholog
    >>> from datetime import date
    >>> attempts = etholog.outcomes(etholog.read("examples/season"), date(2026, 11, 20))
    >>> round(float(etholog.time_to_sac(attempts)["sac"].iloc[-1]), 3)
    0.571
    """
    table = _attempts(table, labels=("end",), flags=("may_have_taken",), numbers=("days",))
    taken = table[table["may_have_taken"] & (table["days"] >= 0)]
    found = _by_time(taken, "days", "end")
    found.index.name = "days"
    if "female" not in taken:
        found.attrs["animals"] = 0
    return found


def evening_measures(table: pd.DataFrame) -> pd.DataFrame:
    """Return what of the evening goes with a sac, over closed attempts of which a session was watched.

    Animals repeat. For p each male counts with his first attempt alone. Where a female's own attempts differ enough for
    a p of .05, they are compared within her (`compared` = 'within females': the exact conditional test of matched sets,
    Breslow & Day 1980); else each female, too, counts once, with her first such attempt ('females'). Where neither can
    give a p of .05, there is none.

    Parameters
    ----------
    table: attempts, as `outcomes` returns them.

    Returns
    -------
    A row for each of MEASURES: n_sac, n_none (attempts), females, males (each once, whatever sets of possible sires
    they are in); larger (the chance that it is larger in one with a sac than in one without, ties as halves); shift
    (Hodges & Lehmann 1963; in the measure's own unit) with its exact 95 % limits (`exact_shift`), where each animal
    counts once and there are enough; compared, p over ranks, smallest_p.

    Raises
    ------
    Refusal: for a table that lacks a column of `outcomes`, or holds something else in it.

    >>> import etholog
    >>> from datetime import date
    >>> attempts = etholog.outcomes(etholog.read("examples/season"), date(2026, 11, 20))
    >>> etholog.evening_measures(attempts)[["measure", "n_sac", "n_none"]].iloc[0].to_dict()
    {'measure': 'insertion_s', 'n_sac': 4, 'n_none': 1}
    """
    table = _attempts(table, labels=("female", "males", "end"), flags=("watched", "may_have_taken"), numbers=MEASURES)
    closed = table[table["may_have_taken"] & table["watched"] & (table["end"] != "open")]
    return pd.DataFrame(
        [{"measure": measure} | _goes(closed.dropna(subset=[measure]), measure) for measure in MEASURES]
    )


def _goes(rows: pd.DataFrame, measure: str) -> dict[str, Any]:
    sac = rows["end"] == "sac"
    sires = {one for males in rows["males"] for one in _sires(males)}
    counts = {
        "n_sac": int(sac.sum()),
        "n_none": int((~sac).sum()),
        "females": rows["female"].nunique(),
        "males": len(sires),
    }
    new = rows[_of_new_males(rows["males"])]
    once = new.drop_duplicates("female")
    among = _effect(rows, measure)
    if len(once) < len(rows):  # limits hold where no animal is in it twice
        among |= {"low": np.nan, "high": np.nan}
    within = _permuted(new, measure, pd.factorize(new["female"])[0])
    single = _permuted(once, measure, np.zeros(len(once), dtype=np.intp))
    ways = [("within females", within), ("females", single)]
    compared, found = next((way for way in ways if way[1].usable), ("", NOTHING))
    if compared == "females":
        among = _effect(once, measure)
    return counts | among | {"compared": compared, "p": found.p, "smallest_p": found.smallest_p}


def _sires(males: object) -> set[str]:
    """Return the possible sires of an attempt, of their names with commas between."""
    return {one for one in str(males).split(", ") if one}


def _of_new_males(attempts: pd.Series) -> NDArray[np.bool_]:
    """Tell of each attempt's males whether none of them is in one that was kept before."""
    met: set[str] = set()
    kept = []
    for males in attempts:
        own = _sires(males)
        kept.append(met.isdisjoint(own))
        met |= own if kept[-1] else set()
    return np.array(kept, dtype=bool)


def _permuted(rows: pd.DataFrame, measure: str, group: NDArray[np.intp]) -> Permuted:
    ranks = np.asarray(rows[measure].rank(), dtype=np.float64)
    sac = np.asarray(rows["end"] == "sac", dtype=np.float64)
    return permute_within(ranks, sac, group)


def _effect(rows: pd.DataFrame, measure: str) -> dict[str, float]:
    """Return by how much those with a sac have more, with the limits where rows count each for itself."""
    value, sac = rows[measure].to_numpy(dtype=float), (rows["end"] == "sac").to_numpy()
    if sac.all() or not sac.any():
        return dict.fromkeys(("larger", "shift", "low", "high"), np.nan)
    differences = value[sac][:, None] - value[~sac][None, :]
    shift, low, high = exact_shift(value[sac], value[~sac])
    larger = float(((differences > 0) + 0.5 * (differences == 0)).mean())
    return {"larger": larger, "shift": shift, "low": low, "high": high}


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
