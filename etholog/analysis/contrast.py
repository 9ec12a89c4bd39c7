"""Rates, shares of time, bout lengths and counts compared between males, or between conditions.

All four are a ratio of two sums over sessions, so one method serves them: a permutation of whole sessions (or of
whole animals, where the groups belong to them), and a ratio with limits (see `analysis.ratio`).
"""

from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any, Literal, get_args

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, permutation, ratio, welch
from etholog.analysis import design as designs
from etholog.analysis.design import OTHER
from etholog.analysis.duration import asked_of, in_sight
from etholog.analysis.latency import check_names, named
from etholog.analysis.multiplicity import holm
from etholog.analysis.permutation import NOTHING, Permuted
from etholog.analysis.sequence import groups
from etholog.base import notebook
from etholog.base.refusal import Refusal
from etholog.base.text import p_number
from etholog.season import Season

Floats = NDArray[np.float64]
Ints = NDArray[np.integer[Any]]
Measure = Literal["rate", "share", "bout", "count"]

UNITS = {"rate": "per hour in sight", "share": "of the time watched", "bout": "s a bout", "count": "a session"}


@dataclass(frozen=True)
class Contrast:
    """What a comparison of a ratio between groups gave. NaN: not known, and `sentence` or `why` says why."""

    measure: str
    """rate, share, bout or count."""
    table: pd.DataFrame
    """Index: group. sessions; value: sum of `above` by sum of `below`; above, below: events or seconds, and hours,
    seconds, bouts or sessions."""
    pairs: pd.DataFrame
    """Each two groups: first, second, ratio of the second to the first with its 95 % limits low and high, p, p_holm,
    smallest_p, and why there are no limits. Between groups of males, and between conditions that one male was under,
    the ratio is that of the typical male (the geometric mean of males' own), who is not the sum of all."""
    within: str | None
    """The column within whose values sessions were permuted."""
    p: float
    """By permutation; NaN where the design can't give one of .05."""
    permutations: int
    """Labellings that it rests on."""
    exact: bool
    """Whether they are all there are."""
    smallest_p: float
    """The smallest p that the design could have given."""
    dispersion: float
    """By how much counts vary more from session to session than Poisson's would (Pearson's chi-squared by its degrees
    of freedom); NaN for seconds."""
    sentence: str
    """All this in words."""

    def _repr_html_(self) -> str:
        return notebook.html(self.sentence, self.table, self.pairs)


def contrast(
    season: Season,
    behaviour: str,
    by: str,
    measure: Measure = "rate",
    within: str | None = None,
    permutations: int = permutation.SHUFFLES,
    seed: int = 0,
) -> Contrast:
    """Return how a behaviour's rate, share of time, bout length or count differs between groups of sessions.

    Parameters
    ----------
    season
        What `etholog.read` returned.
    behaviour
        A behaviour ('insertion'), or one value of its qualifier ('insertion:left').
    by
        The column of `season.sessions` that makes the groups.
    measure
        'rate': by the hour in which its actor was watched and in sight. 'share': of the time watched. 'bout': mean
        seconds of a bout (all seconds by the bouts whose end was seen). 'count': a session.
    within
        Permute within the values of this column; 'none' for all together. Not given: as in `compare`.
    permutations, seed
        So many random labellings where not all can be gone through, and their seed.

    Returns
    -------
    Contrast
        See its fields. The statistic is Welch's of the sessions' scores, what was seen less what was expected.

    Raises
    ------
    Refusal
        For a behaviour, column or measure that there is not.

    References
    ----------
    Welch 1951, Biometrika 38:330; Neuhaus 1993, Ann. Stat. 21:1760 (studentised permutation); Miller 1974, Biometrika
    61:1 (jackknife).

    Examples
    --------
    >>> import etholog
    >>> found = etholog.contrast(etholog.read("examples/season"), "drumming", by="male", measure="count")
    >>> found.table["value"].round(2).tolist()
    [1.25, 0.8, 2.4, 1.0, 1.8, 1.4]
    """
    columns.one_of(measure, "measure", get_args(Measure))
    permutations, seed = columns.whole(permutations, "permutations", 1), columns.whole(seed, "seed", most=2**63)
    check_names(season, [columns.word(behaviour, "behaviour")])
    names, group = groups(season, by)
    above, below = _sums(season, behaviour, measure)
    kept = (group >= 0) & ((below > 0) | (above > 0))
    frame = season.sessions[kept].reset_index(drop=True)
    if within is not None and columns.word(within, "within") != designs.NONE:
        columns.labels(columns.table(frame, within), within)
    came, label = np.unique(group[kept], return_inverse=True)
    return compared(
        frame, above[kept], below[kept], label, [names[at] for at in came], by, measure, behaviour, within,
        permutations, seed,
    )  # fmt: skip


def compared(
    frame: pd.DataFrame, above: Floats, below: Floats, label: Ints, names: list[Any], by: str, measure: Measure,
    what: str = "", within: str | None = None, permutations: int = permutation.SHUFFLES, seed: int = 0,
) -> Contrast:  # fmt: skip
    """Return how sum(above) / sum(below) over the sessions of `frame` differs between groups, `label` numbering the
    `names` of each session's group in the column `by`; the rest as in `contrast`."""
    total = np.bincount(label, below, len(names))
    table = pd.DataFrame(
        {
            "sessions": np.bincount(label, minlength=len(names)),
            "value": np.divide(
                np.bincount(label, above, len(names)), total, out=np.full(len(names), np.nan), where=total > 0
            ),
            "above": np.bincount(label, above, len(names)),
            "below": total,
        },
        index=pd.Index(names, name=by),
    )
    counted = measure in ("rate", "count")
    spread = dispersion(above, below, label) if counted else np.nan
    if len(names) < 2 or not above.any():
        why = "the behaviour never came" if len(names) > 1 else "fewer than two groups"
        return Contrast(
            measure, table, _pairs_table([]), None, np.nan, 0, False, np.nan, spread,
            f"{why.capitalize()}: nothing to compare.",
        )  # fmt: skip
    plan = designs.design(frame, by, within, None)
    alike = by in OTHER and designs.paired(frame, by)
    for chosen in plan.strata:
        stratum = np.zeros(len(frame), dtype=np.intp)
        if chosen is not None:
            stratum = pd.factorize(frame[chosen].astype(object))[0]
        found = _permuted(above, below, label, stratum, plan, permutations, seed)
        if found.usable:
            break
    if alike and chosen != OTHER.get(by):
        found = NOTHING
    mate = np.full(len(frame), -1)
    if (mates := OTHER.get(plan.unit or "")) in frame.columns:
        mate = designs.numbers(frame[mates])
    rows = []
    too_many = len(names) > designs.PAIRED_AT_MOST
    couples = [] if too_many else list(combinations(range(len(names)), 2))
    for one, other in couples:
        both = (label == one) | (label == other)
        second = (label[both] == other).astype(np.intp)
        tested = NOTHING
        if np.isfinite(found.p):
            part = replace(plan, units=tuple(unit[both] for unit in plan.units))
            tested = _permuted(above[both], below[both], second, stratum[both], part, permutations, seed)
        sums = above[both], below[both]
        if plan.kind == "each animal":
            beside = ratio.of_sessions(*sums, second)
        else:
            how = ratio.of_animals if plan.kind == "whole animals" else ratio.within_animals
            beside = how(*sums, plan.unit_of[both], mate[both], second, counted)
        row = {"first": names[one], "second": names[other], "ratio": beside.value, "low": beside.low}
        row |= {"high": beside.high, "p": tested.p if tested.usable else np.nan, "smallest_p": tested.smallest_p}
        rows.append(row | {"why": beside.why})
    p = found.p if found.usable else np.nan
    said = _sentence(measure, what, by, chosen, found, spread, plan, alike)
    if too_many:
        said += f" {designs.too_many_said(len(names))}"
    return Contrast(
        measure, table, _pairs_table(rows), chosen, p, found.labellings, found.exact, found.smallest_p, spread, said
    )


def dispersion(above: Floats, below: Floats, group: Ints) -> float:
    """Return by how much counts vary more than Poisson's: Pearson's chi-squared by its degrees of freedom (Wedderburn
    1974, Biometrika 61:439)."""
    total = np.bincount(group, below)
    rate = np.divide(np.bincount(group, above), total, out=np.zeros(len(total)), where=total > 0)
    expected = rate[group] * below
    some = expected > 0
    df = int(some.sum()) - len(np.unique(group[some]))
    return float(((above - expected)[some] ** 2 / expected[some]).sum() / df) if df > 0 else np.nan


def _sums(season: Season, behaviour: str, measure: Measure) -> tuple[Floats, Floats]:
    """Return what is above and below the line of the ratio, for each session."""
    bouts = season.bouts[named(season.bouts, [behaviour])]
    many = len(season.sessions)
    place = bouts["session"].cat.codes.to_numpy()
    count = np.bincount(place, minlength=many).astype(np.float64)
    asked = asked_of(season, *behaviour.split(":", 1))
    watched = np.where(asked, season.sessions["watched_s"].to_numpy(dtype=float), 0.0)
    if measure == "count":
        return count, (watched > 0).astype(np.float64)
    if measure == "rate":
        actors = bouts["actor"].astype(str).unique()
        seen = in_sight(season).get(actors[0] if len(actors) == 1 else "", watched)
        return count, np.asarray(np.minimum(seen, watched) / 3600, dtype=np.float64)
    if not (bouts["kind"] == "state").all():
        raise Refusal(f"{behaviour} is an event, which has no duration; compare its rate or its count")
    total = np.bincount(place, weights=bouts["duration_s"].to_numpy(dtype=float), minlength=many)
    if measure == "share":
        return total.astype(np.float64), watched
    ended = np.bincount(place[bouts["whole"].to_numpy(dtype=bool)], minlength=many)
    return total.astype(np.float64), ended.astype(np.float64)


def _permuted(
    above: Floats, below: Floats, label: Ints, stratum: Ints, plan: designs.Design, shuffles: int, seed: int
) -> Permuted:
    score = np.zeros(len(above))
    for one in np.unique(stratum):
        own = stratum == one
        if (total := below[own].sum()) > 0:
            score[own] = above[own] - above[own].sum() / total * below[own]
    if plan.kind == "whole animals":
        return welch.whole_animals(score, label, plan.units, shuffles, seed)
    if np.bincount(label).min() < welch.LEAST or (plan.kind == "within animals" and not stratum.any()):
        return NOTHING
    return permutation.permute(welch.statistic(score, label), label, stratum, shuffles, seed)


def _pairs_table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    heads = ["first", "second", "ratio", "low", "high", "p", "p_holm", "smallest_p", "why"]
    table = pd.DataFrame(rows, columns=heads)
    table["p_holm"] = holm(table["p"].to_numpy(dtype=float))
    return table


def _sentence(
    measure: str, behaviour: str, by: str, within: str | None, found: Permuted, spread: float,
    plan: designs.Design, alike: bool,
) -> str:  # fmt: skip
    said = f"{behaviour}: {measure} ({UNITS[measure]}) by {by}."
    if alike and not np.isfinite(found.p):
        said += f" {designs.no_p_of(by)}"
    elif not np.isfinite(found.p):
        said += " No p: it takes two sessions or animals in each group."
    elif not found.usable:
        said += f" {designs.smallest_said(found.smallest_p)}"
    else:
        kind = f"exact over {found.labellings:,} labellings" if found.exact else f"from {found.labellings:,} shuffles"
        said += f" Permutation p = {p_number(found.p)}, {kind}{f', within {within}' if within else ''}."
        said += "".join(f" {one}" for one in designs.at_random_said(by, within))
    if plan.kind == "whole animals":
        said += f" {designs.whole_said(plan)}"
    if plan.kind != "each animal":
        said += f" Ratio: of the typical {plan.unit}, the geometric mean of {plan.unit}s' own."
    if spread > 1:
        said += f" Counts vary {spread:.1f} times as much between sessions as chance alone (Poisson) would have them."
    return said
