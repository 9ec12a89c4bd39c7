"""Comparing latencies between groups: males, females, species, observers, anything that a session says."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from etholog.analysis import columns, crossed, logrank, permutation, survival
from etholog.analysis import design as designs
from etholog.analysis.design import NONE, OTHER, Design, named, named_rows
from etholog.analysis.order import confounded
from etholog.analysis.pairs import MEANS_LEAST, Rows, whole_animals
from etholog.analysis.pairs import none as no_pairs
from etholog.analysis.pairs import pairs as pairs_of
from etholog.base import notebook
from etholog.base.language import gettext, gettext_noop, ngettext, number
from etholog.base.refusal import Refusal
from etholog.base.text import p_number

QUANTILES = {"median": 0.5, "q25": 0.25, "q75": 0.75}
TAIL = 0.025
NOTHING = (
    gettext_noop("No session at risk: nothing to compare."),
    gettext_noop("Only one group: nothing to compare."),
    gettext_noop("The behaviour never occurred: nothing to compare."),
)
ANIMALS_LEAST = 4  # in each group; with fewer, more variation among them can pass for a difference


@dataclass(frozen=True)
class Comparison:
    """What a comparison of k groups gave. What could not be computed is NaN here and said in `sentence`."""

    by: str
    """The column that makes the groups."""
    within: str | None
    """The column within whose values they were compared, given or chosen; None: all together."""
    table: pd.DataFrame
    """Index = group. n, occurred, median_s with its limits, mean_s within the first `horizon_s` seconds and its
    standard error mean_se_s, q25_s and q75_s with their limits, the number of males or females that it rests on,
    and why: for what reason there are no limits, or what they do not hold for. Where groups are neither males nor
    females and an animal came twice to one, the median is that of males weighed alike, with limits in which both vary
    (see `analysis.crossed`); quartiles have no limits then, and there are none where a male came twice. Of a male or
    a female, each session counts for itself."""
    horizon_s: float
    """The time to which means reach: given, or the longest to which every curve is known."""
    statistic: float
    """Log-rank's chi-squared: a description of how far groups differ."""
    df: int
    """Its degrees of freedom."""
    p: float
    """Its asymptotic p, for large samples of independent sessions alone: between males that do not differ it is under
    .05 in 10 to 25 of 100 seasons, and no page prints it."""
    permutation_p: float
    """The p to trust; it says nothing where `smallest_p` is over .05."""
    permutations: int
    """How many labellings it rests on."""
    exact: bool
    """Whether they are all there are."""
    smallest_p: float
    """The smallest p that this design could have given."""
    permutation_error: float
    """The Monte Carlo error of p; 0 where exact."""
    pairs: pd.DataFrame
    """Each two groups, as `analysis.pairs.pairs` has it."""
    sentence: str
    """All this in words, with what it can't say."""
    clusters: str
    """The column of animals whose sessions belong together; 'session' where each counts for itself."""
    horizon_named: bool = False
    """Whether the horizon was named before; only then are there limits of differences of means."""
    met: pd.DataFrame | None = None
    """How many sessions each male had with each female, where p assumes that they met at random."""

    @property
    def one_variance(self) -> bool:
        """Whether sessions were permuted with one variance for all labellings (see `analysis.logrank.permuted`)."""
        return logrank.has_one_variance(len(self.table))

    @property
    def usable(self) -> bool:
        """Whether `permutation_p` says anything."""
        return self.smallest_p <= permutation.ALPHA

    def _repr_html_(self) -> str:
        return notebook.html(self.sentence, self.table.filter(regex="^(?!q[0-9])"))


def compare(
    times: pd.DataFrame,
    by: str,
    within: str | None = None,
    permutations: int = permutation.SHUFFLES,
    seed: int = 0,
    cluster: str | None = None,
    horizon_s: float | None = None,
) -> Comparison:
    """Return a comparison of latencies, right-censored, between the groups of a column.

    Medians: Kaplan & Meier 1958 with log-log limits. Means: within the first `horizon_s` seconds (see
    `analysis.survival`). Test: log-rank of k groups, stratified by `within` (Mantel 1966), permuted: sessions within
    strata (see `analysis.logrank.permuted`), or whole animals where groups belong to them (see `analysis.welch`).
    Effects: see `analysis.pairs.pairs`. Rows whose group is not known are left out.

    Parameters
    ----------
    times: one row a session: `latency_s` (seconds, 0 or more), `occurred` (bool, or 0 and 1; where not, the latency
        is right-censored), the column `by`, and where they are known male and female.
    by: the column of groups.
    within: the column of strata; 'none' for no strata. Not given, males are compared within females (and females
        within males), where a p of .05 is possible so, and what varies within an animal within animals.
    permutations, seed: shuffles where the orders are too many to go through.
    cluster: the column of animals whose sessions belong together (not given: the male, unless groups are animals;
        'session': each for itself).
    horizon_s: means are within the first so many seconds (not given: as far as every group is known).

    Returns
    -------
    Comparison: `.table` (index = group), `.permutation_p`, `.exact`, `.smallest_p`, `.pairs`, `.horizon_s`,
    `.sentence` and more, each said in the class.

    Raises
    ------
    Refusal: for a column that is not there or holds what is no time, no flag or no single value, with the first bad
    row.

    >>> import etholog
    >>> times = etholog.latency(etholog.read("examples/season"), "courtship")
    >>> etholog.compare(times, by="male").within
    'female'
    """
    if horizon_s is not None and not columns.number(horizon_s, "horizon_s") > 0:
        raise Refusal(f"a mean within the first {horizon_s:g} s: give a time over 0")
    tested = test(times, by, within, permutations, seed, cluster)
    plan, rows, permuted, names = tested.plan, tested.rows, tested.permuted, tested.names
    groups = [(part.time, part.occurred) for part in (rows.of(rows.label == g) for g in range(len(names)))]
    horizon = survival.common_horizon(groups) if horizon_s is None else horizon_s
    table = _table(tested, by, groups, horizon)
    rank, pairs, said = tested.log_rank, no_pairs(), [tested.nothing]
    if not tested.nothing:
        said = [
            gettext(
                "{sessions} sessions, {came} with the behaviour, in {groups} groups by {by}.",
                sessions=len(rows),
                came=int(rows.occurred.sum()),
                groups=len(names),
                by=gettext(by),
            ),
            *_left_out(len(times) - len(tested.frame)),
            *([gettext("Compared within {column}.", column=gettext(tested.within))] if tested.within else []),
            *_test_said(tested, by),
        ]
        if len(names) <= designs.PAIRED_AT_MOST:
            pairs = pairs_of(
                rows, names, horizon, named=horizon_s is not None, whole=plan.kind == "whole animals",
                alone=plan.kind == "each animal", within=tested.within,
                no_p=designs.no_p_of(by) if tested.paired else "", shuffles=permutations, seed=seed,
            )  # fmt: skip
        else:
            said.append(designs.too_many_said(len(names)))
        said += [*confounded(tested.frame, by), *_animals(tested.frame, table)]
    return Comparison(
        by, tested.within, table, horizon, rank.statistic, rank.df, rank.p, permuted.p, permuted.labellings,
        permuted.exact, permuted.smallest_p, permuted.error, pairs, " ".join(said), plan.unit or "session",
        horizon_s is not None, tested.met,
    )  # fmt: skip


@dataclass(frozen=True)
class Tested:
    """The test alone: the rows that were compared, how, and what came of it. nothing: why there was nothing to
    compare, or ''. met: how often each male met each female, where p assumes that they met at random; paired:
    whether they can't be told apart, so that there is none."""

    frame: pd.DataFrame
    rows: Rows
    names: pd.Index
    plan: Design
    within: str | None
    log_rank: logrank.LogRank
    permuted: permutation.Permuted = permutation.NOTHING
    met: pd.DataFrame | None = None
    paired: bool = False
    nothing: str = ""


def test(
    times: pd.DataFrame,
    by: str,
    within: str | None = None,
    permutations: int = permutation.SHUFFLES,
    seed: int = 0,
    cluster: str | None = None,
) -> Tested:
    """Return the permutation test of `compare`, without its tables; arguments as there."""
    # Without its attrs, which pandas copies at each step.
    times = pd.DataFrame(check_columns(times, by, within, cluster))
    permutations, seed = columns.whole(permutations, "permutations", 1), columns.whole(seed, "seed", most=2**63)
    frame = named_rows(times, by, within)
    plan = designs.design(frame, by, within, cluster)
    label, names = pd.factorize(frame[by].astype(object), sort=True)
    time, occurred = frame["latency_s"].to_numpy(dtype=float), frame["occurred"].to_numpy(dtype=bool)
    strata = [_strata(frame, one) for one in plan.strata]
    tried = [Rows(time, occurred, label.astype(np.intp), stratum, plan.units) for stratum in strata]
    lacks = (not len(frame), len(names) < 2, not occurred.any())
    if any(lacks):
        nobody = logrank.log_rank(time[:0], occurred[:0], label[:0], strata[0][:0])
        chosen = plan.strata[0] if within else None
        return Tested(frame, tried[0], names, plan, chosen, nobody, nothing=gettext(NOTHING[lacks.index(True)]))
    for at, rows in enumerate(tried):
        rank = logrank.log_rank(time, occurred, rows.label, rows.stratum)
        permuted = _permuted(rows, rank, plan, len(names), permutations, seed)
        if permuted.usable or at + 1 == len(tried):
            break
    within = plan.strata[at]
    met = designs.met(frame) if by in OTHER and within != OTHER[by] else None
    alike = met is not None and designs.paired(frame, by)
    return Tested(frame, rows, names, plan, within, rank, permutation.NOTHING if alike else permuted, met, alike)


def check_columns(times: pd.DataFrame, by: str, within: str | None = None, cluster: str | None = None) -> pd.DataFrame:
    """Return the table with what a comparison needs of it, or raise Refusal; see `analysis.columns`."""
    chosen = [
        None if isinstance(name, str) and name == word else name
        for name, word in ((within, NONE), (cluster, "session"))
    ]
    return columns.latencies(times, [by], chosen)


def _strata(rows: pd.DataFrame, within: str | None) -> permutation.Ints:
    if within is None:
        return np.zeros(len(rows), dtype=np.intp)
    return pd.factorize(rows[within].astype(object), sort=True)[0].astype(np.intp)


def _permuted(
    rows: Rows, rank: logrank.LogRank, plan: Design, groups: int, shuffles: int, seed: int
) -> permutation.Permuted:
    if plan.kind == "whole animals":
        return whole_animals(rows, rows.label, shuffles, seed)
    if not rank.df or _animals_mixed(plan, rows):
        return permutation.NOTHING
    if len(rows) == groups:  # each stands alone, so every labelling says the same; to try them grows with its cube
        return permutation.Permuted(1.0, permutation.distinct(rows.label, rows.stratum), True, 1.0, 0.0)
    return logrank.permuted(rows.time, rows.occurred, rows.label, rows.stratum, shuffles, seed)


def _animals_mixed(plan: Design, rows: Rows) -> bool:
    """Return whether sessions of one animal would be taken for as many animals."""
    return plan.kind == "within animals" and not rows.stratum.any()


def _table(
    tested: Tested, by: str, groups: list[tuple[survival.Floats, survival.Bools]], horizon: float
) -> pd.DataFrame:
    frame, plan, label = tested.frame, tested.plan, tested.rows.label
    his = plan.unit == "female" and "male" in frame  # medians weigh males alike, whoever is permuted
    weighed_by = designs.numbers(frame["male"]) if his else plan.unit_of
    who = frame[[name for name in OTHER if name in frame]]  # of many columns each choice of rows takes its time
    met = {f"{name}s": designs.how_many_each(who[name], label) for name in who if name != by}
    out = []
    for g, (time, occurred) in enumerate(groups):
        own = label == g
        alone = len(np.unique(weighed_by[own])) == len(time) and designs.alone(who[own], by)
        known = survival.known_to(time, occurred, horizon)
        mean, se = survival.restricted_mean(time, occurred, horizon) if known else (np.nan, np.nan)
        row: dict[str, object] = {
            "n": len(time),
            "occurred": int(occurred.sum()),
            **(_quantiles(time, occurred) if alone else _weighed(time, occurred, who[own], weighed_by[own])),
            "mean_s": mean,
            "mean_se_s": se if alone else np.nan,
            **{name: int(counts[g]) for name, counts in met.items()},
        }
        why = row.pop("why")
        out.append({**row, "why": why})
    return pd.DataFrame(out, index=pd.Index(tested.names, name=by))


def _quantiles(time: survival.Floats, occurred: survival.Bools) -> dict[str, object]:
    """Return the median and the quartiles of sessions that each count for themselves, with log-log limits."""
    curve = survival.kaplan_meier(time, occurred)
    found: dict[str, object] = {}
    limited = len(time) >= survival.LIMITS_LEAST
    reached = survival.quantiles(curve, QUANTILES.values())
    for (name, q), (value, low, high) in zip(QUANTILES.items(), reached, strict=True):
        if name == "q25" and (1 - q) ** len(time) > TAIL:
            low = 0.0  # so few sessions may all miss the first quarter
        found[f"{name}_s"] = value
        found[f"{name}_low_s"], found[f"{name}_high_s"] = (low, high) if limited else (np.nan, np.nan)
    few = gettext("no limits: under {count} sessions", count=survival.LIMITS_LEAST)
    return found | {"why": "" if limited else few}


def _weighed(
    time: survival.Floats, occurred: survival.Bools, rows: pd.DataFrame, unit: permutation.Ints
) -> dict[str, object]:
    """Return the median of animals weighed alike, with limits in which they and their mates vary; quartiles without
    limits, and none where an animal came twice."""
    mates = np.full(len(rows), -1)
    if "female" in rows.columns:
        mates = pd.factorize(rows["female"].where(named(rows["female"])).astype(object))[0]
    found = crossed.median(time, occurred, crossed.crossing(pd.factorize(unit)[0], mates))
    missing: dict[str, object] = {f"{name}{end}_s": np.nan for name in QUANTILES for end in ("", "_low", "_high")}
    if len(np.unique(unit)) == len(unit):  # each weighs as much as any other
        plain = _quantiles(time, occurred)
        missing |= {f"{name}_s": plain[f"{name}_s"] for name in QUANTILES}
    median = {"median_s": found.value, "median_low_s": found.low, "median_high_s": found.high}
    return missing | median | {"why": f"no limits: {found.why}" if found.why else found.note}


def _left_out(count: int) -> list[str]:
    if not count:
        return []
    return [
        ngettext(
            "{n} session is left out, as what groups are made by is not known of it.",
            "{n} sessions are left out, as what groups are made by is not known of them.",
            count,
        )
    ]


def _test_said(tested: Tested, by: str) -> list[str]:
    """Say what the p is and what it assumes, or why there is none."""
    permuted, plan, rows = tested.permuted, tested.plan, tested.rows
    unit = gettext(plan.unit or "session")
    if not tested.log_rank.df:
        return [gettext("No two groups were ever at risk together: they can't be compared.")]
    if tested.paired:
        return [designs.no_p_of(by)]
    if _animals_mixed(plan, rows):
        return [gettext("No p: sessions of one {unit} belong together; compare within {unit}.", unit=unit)]
    if not np.isfinite(permuted.p):
        return [gettext("No p: it takes two {unit}s or more in each group.", unit=unit)]
    said = [_p_said(permuted)]
    if permuted.usable and tested.met is not None:
        said += designs.at_random_said(by, tested.within)
    if plan.kind == "whole animals":
        least = int(pd.Series(plan.unit_of).groupby(rows.label).nunique().min())
        said.append(designs.whole_said(plan))
        if permuted.usable and least < ANIMALS_LEAST:
            said.append(
                gettext(
                    "The smallest group has {count} {unit}s: if those of one group vary more among themselves, that"
                    " can pass for a difference.",
                    count=least,
                    unit=unit,
                )
            )
    return said


def _p_said(permuted: permutation.Permuted) -> str:
    p, smallest = p_number(permuted.p), number(permuted.smallest_p, ".2g")
    orders = number(permuted.labellings, ",")
    if not permuted.usable:
        return designs.smallest_said(permuted.smallest_p)
    if permuted.exact:
        return gettext(
            "Permutation p = {p}, exact over {orders} labellings; the smallest that this design could give is"
            " {smallest}.",
            p=p,
            orders=orders,
            smallest=smallest,
        )
    return gettext(
        "Permutation p = {p}, from {orders} shuffles, give or take {error}.",
        p=p,
        orders=orders,
        error=number(permuted.error, ".2g"),
    )


def _animals(rows: pd.DataFrame, table: pd.DataFrame) -> list[str]:
    """Say on how few sessions and animals all this rests."""
    said, least = [], int(table["n"].min())
    if least < MEANS_LEAST + 1:
        said.append(
            ngettext(
                "The smallest group has {n} session: take the differences as hints, not as facts.",
                "The smallest group has {n} sessions: take the differences as hints, not as facts.",
                least,
            )
        )
    counts = {name: designs.how_many(rows[name]) for name in OTHER if name in rows.columns}
    who = []
    if "male" in counts:
        who.append(ngettext("{n} male", "{n} males", counts["male"]))
    if "female" in counts:
        who.append(ngettext("{n} female", "{n} females", counts["female"]))
    if who:
        animals = who[0] if len(who) == 1 else gettext("{males} and {females}", males=who[0], females=who[1])
        said.append(gettext("They are {animals}: what holds for them need not hold for others.", animals=animals))
    return said
