"""Cox's model as an extra: how many times sooner, per group or per unit, with the animals that come again allowed
for."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import cox
from etholog.analysis.columns import latencies, numbers, one_of, seconds, whole, words
from etholog.analysis.columns import table as table_of
from etholog.analysis.covariate import permute_within
from etholog.analysis.design import how_many, named_rows
from etholog.analysis.distribution import t_quantile
from etholog.base import notebook
from etholog.base.refusal import Refusal
from etholog.base.text import many

ANIMALS = ("male", "female")
EVENTS_EACH = 10  # events for each coefficient (a rule of thumb, from memory)


@dataclass(frozen=True)
class Hazards:
    """What Cox's model gave."""

    table: pd.DataFrame
    """Index = term; ratio (of hazards: over 1 is sooner), low and high (95 %), coef, se (by cluster), naive_se, p.
    NaN where there is none: `sentence` says why."""
    log_likelihood: float
    events: int
    cluster: str
    """The column whose values may depend on each other within; 'session' for none."""
    clusters: int
    sentence: str
    not_estimable: tuple[str, ...] = ()
    """Terms of which the strata or other terms leave nothing, or whose ratio is 0 or infinite."""

    def _repr_html_(self) -> str:
        return notebook.html(self.sentence, self.table)


def hazards(
    times: pd.DataFrame,
    by: str | Sequence[str],
    within: str | None = None,
    cluster: str | None = None,
    ties: cox.Ties = "breslow",
    entry: str | None = None,
    permutations: int = 9_999,
    seed: int = 0,
) -> Hazards:
    """Return Cox's proportional hazards (Cox 1972) of a latency on the columns of `by`.

    Where the clusters are animals, p permutes a covariate within them (the score of the model without it) and there are
    no limits: robust errors of 5 to 20 males are too small. Elsewhere both are of the larger of the robust error and
    that of the model, with Student's t of as many degrees of freedom as there are clusters that say
    anything of it, less one.

    Parameters
    ----------
    times: one row a session: `latency_s` (seconds), `occurred` (bool), the columns named here. Rows with something
        missing are left out.
    by: a column of numbers is one term; any other is one term for each value but the first.
    within: strata, each with a hazard of its own.
    cluster: whose rows may depend on each other (not given: the male, or the female where `by` has the male, or else
        each row stands alone).
    ties: 'breslow' (Breslow 1974), 'efron' (Efron 1977), or 'exact'.
    entry: the column with the seconds from which on a row is at risk (not given: from the start).
    permutations, seed: shuffles where the orders are too many to go through.

    Returns
    -------
    Hazards: `.table` (index = term; coef, ratio, low, high, se, naive_se, p), `.log_likelihood`, `.events`,
    `.clusters`, `.not_estimable`, `.sentence`. Standard errors by cluster: Lin & Wei 1989.

    Raises
    ------
    Refusal: for a column that is not there.

    >>> import etholog
    >>> times = etholog.latency(etholog.read("examples/season"), "courtship")
    >>> etholog.hazards(times, "temperature_c").table["coef"].round(2).to_dict()
    {'temperature_c': -0.15}
    """
    columns = list(words(by, "by"))
    times = latencies(times, columns, [within, cluster])
    if entry is not None:
        times = times.assign(**{entry: seconds(table_of(times, entry), entry, -np.inf)})
    one_of(ties, "ties", ("breslow", "efron", "exact"))
    permutations, seed = whole(permutations, "permutations", 1), whole(seed, "seed", most=2**63)
    if cluster is None:
        animals = (one for one in ANIMALS if one in times.columns and one not in columns)
        cluster = next((one for one in animals if how_many(times[one])), "session")
    rows = named_rows(times, *columns, within, cluster, entry)
    group = np.arange(len(rows))
    if cluster in rows.columns:
        group = pd.factorize(rows[cluster].astype(object))[0]
    design, against = design_of(rows, columns)
    # The values of a column of several groups can't move one by one: such a column is the comparison's.
    column_of = [str(name).partition(": ")[0] for name in design.columns]
    several = [column_of.count(column) > 1 for column in column_of]
    clusters, events = len(np.unique(group)), int(rows["occurred"].sum())
    table = pd.DataFrame(np.nan, design.columns, ["ratio", "low", "high", "coef", "se", "naive_se", "p"])
    table.index.name = "term"
    why = _impossible(design, events, cluster, clusters)
    data = data_of(rows, design, within, entry)
    fitted = None if why else cox.fit(data, ties)
    terms = np.array(design.columns, dtype=object)
    lost = () if fitted is None else tuple(map(str, terms[np.isnan(fitted.coef)]))
    if fitted is None or len(lost) == len(terms):
        why = why or _lost(terms, fitted, within)
        said = f"{why} Use the comparison's p."
        return Hazards(table, np.nan, events, cluster, clusters, said, lost)
    table["coef"] = fitted.coef
    table["ratio"] = np.exp(fitted.coef)
    table["naive_se"] = np.sqrt(np.diag(fitted.variance))
    # No variation between clusters, as where all times are one, is no certainty.
    se = np.sqrt(np.diag(fitted.robust(group)))
    table["se"] = np.where(se > 1e-9 * table["naive_se"], se, np.nan)
    said = _sentence(against, len(terms) - len(lost), events, cluster, clusters, ties) + _lost(terms, fitted, within)
    if cluster in ANIMALS:
        table["p"] = [
            np.nan if name in lost or several[at] else _permuted(data, at, group, ties, permutations, seed)
            for at, name in enumerate(terms)
        ]
        said += _on_p(table, cluster)
    else:
        from scipy.special import stdtr

        # The robust error alone is too small: with 10 to 50 sessions p is under .05 in 7 to 15 of 100, by chance.
        larger = table[["se", "naive_se"]].max(axis=1)
        df = _telling(fitted, group) - 1
        half = t_quantile(0.975, df) * larger
        table["low"], table["high"] = np.exp(table["coef"] - half), np.exp(table["coef"] + half)
        table["p"] = 2 * stdtr(df, -np.abs(table["coef"] / larger))
    return Hazards(table, fitted.log_likelihood, events, cluster, clusters, said, lost)


def _telling(fitted: cox.Fit, group: NDArray[np.intp]) -> int:
    """Return how many clusters say anything of the coefficients; one that left before the first event, or whose stratum
    had none, does not."""
    size = np.abs(fitted.residuals[:, np.isfinite(fitted.coef)])
    return len(np.unique(group[(size > 1e-9 * size.max(axis=0)).any(axis=1)]))


def _permuted(data: cox.Data, at: int, group: NDArray[np.intp], ties: cox.Ties, permutations: int, seed: int) -> float:
    """Return the p of one term: its values permuted within the clusters, against what the model without it leaves."""
    others = np.delete(data.terms, at, axis=1)
    left = cox.fit(cox.Data(data.start, data.stop, data.event, data.stratum, others), ties).martingale
    # What other columns say of this one is theirs: with it p is under .05 in some 8 of 100 seasons, by chance.
    animals = np.equal.outer(group, np.unique(group)).astype(np.float64)
    known = np.column_stack([others, animals])
    own = data.terms[:, at]
    own = own - known @ np.linalg.lstsq(known, own, rcond=None)[0] if others.shape[1] else own
    found = permute_within(left, own, group, permutations, seed)
    return found.p if found.usable else np.nan


def design_of(rows: pd.DataFrame, columns: list[str]) -> tuple[pd.DataFrame, list[str]]:
    """Return the terms, and what the terms of each column of groups are against."""
    if not columns:
        raise Refusal("by: no column; name at least one")
    parts, against = [], []
    for column in columns:
        values = rows[column]
        if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
            parts.append(pd.DataFrame({column: numbers(rows, column)}, rows.index))
        else:
            dummies = pd.get_dummies(values.astype(str), prefix=column, prefix_sep=": ", dtype=float)
            parts.append(dummies.iloc[:, 1:])
            against += [str(name).partition(": ")[2] for name in dummies.columns[:1]]
    return pd.concat(parts, axis=1), against


def data_of(rows: pd.DataFrame, design: pd.DataFrame, within: str | None, entry: str | None = None) -> cox.Data:
    """Return the sessions as `cox` takes them, with the terms of `design_of`."""
    return cox.Data(
        rows[entry].to_numpy(float) if entry else np.full(len(rows), -np.inf),
        rows["latency_s"].to_numpy(float), rows["occurred"].to_numpy(bool),
        pd.factorize(rows[within].astype(object))[0] if within else np.zeros(len(rows), dtype=np.intp),
        design.to_numpy(float),
    )  # fmt: skip


def _impossible(design: pd.DataFrame, events: int, cluster: str, clusters: int) -> str:
    if not events:
        return "Cox's model: the behaviour never occurred."
    if design.empty or (design.nunique() < 2).all():
        return "Cox's model: only one group or value, nothing to compare."
    if clusters < 2:
        return f"Cox's model: not estimable, all sessions are of one {cluster}."
    return ""


def _lost(terms: NDArray[np.object_], fitted: cox.Fit | None, within: str | None) -> str:
    """Name the terms that have no estimate, and why."""
    if fitted is None:
        return ""
    said = ""
    if fitted.empty.any():
        says = f"the strata by {within}, or other columns," if within else "other columns"
        said += f" {', '.join(terms[fitted.empty])}: not estimable, {says} already say the same, or nothing is left."
    if fitted.separated.any():
        said += (
            f" {', '.join(terms[fitted.separated])}: not estimable: it alone decides in which sessions the behaviour"
            " came, or came first."
        )
    return said if np.isfinite(fitted.coef).any() else f"Cox's model:{said}"


def _sentence(against: list[str], terms: int, events: int, cluster: str, clusters: int, ties: str) -> str:
    method = "Exact ties" if ties == "exact" else f"{ties.capitalize()}'s ties"
    said = f"Cox's model, each against {' and '.join(against)}: {method}." if against else f"Cox's model: {method}."
    if cluster not in ANIMALS:
        said += f" Limits and p by the larger of the model's errors and those by {cluster} ({clusters} of them)."
    if events < EVENTS_EACH * terms:
        said += f" {events} events for {many(terms, 'term')} are few (ten each, from memory)."
    return said


def _on_p(table: pd.DataFrame, cluster: str) -> str:
    said = f" No limits: standard errors by {cluster} are too small with so few {cluster}s."
    known = table["p"].notna()
    if known.any():
        said += f" p permutes the column within {cluster}s."
        if known.sum() > 1:
            said += (
                " With several columns such a p is .05 or less in up to 8 of 100 seasons in which they change nothing."
            )
    if (table["coef"].notna() & ~known).any():
        none = ", ".join(map(str, table.index[table["coef"].notna() & ~known]))
        said += f" No p for {none}: more than two groups, or it varies too little within {cluster}s for a p of .05."
        said += " Use the comparison's p."
    return said
