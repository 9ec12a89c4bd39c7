"""Cox's model as an extra: how many times sooner, per group or per unit, with the animals that come again allowed
for."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import survival
from etholog.base import notebook
from etholog.base.refusal import Refusal
from etholog.base.text import nearest

CLUSTERS_AT_LEAST = 20
EVENTS_EACH = 10  # events for each coefficient (a rule of thumb, from memory)
_BEYOND = 15.0  # a log hazard ratio that no real sessions show: the data are separated and there is no estimate


@dataclass(frozen=True)
class Hazards:
    """What Cox's model gave.

    `table`: index = term; ratio (of hazards: over 1 is sooner) with its 95 % limits, coef, se (by cluster), naive_se
    and p. NaN where there is no estimate: `sentence` says why, and what else to know. `clusters`: how many, by the
    column `cluster`.
    """

    table: pd.DataFrame
    log_likelihood: float
    events: int
    cluster: str
    clusters: int
    sentence: str

    def _repr_html_(self) -> str:
        return notebook.html(self.sentence, self.table)


def hazards(
    times: pd.DataFrame, by: str | Sequence[str], within: str | None = None, cluster: str | None = None
) -> Hazards:
    """Fit Cox's proportional hazards (Cox 1972; Breslow's ties) of `latency_s`, `occurred` on the columns of `by`.

    A column of numbers is one term, any other one term for each value but the first. Stratified by `within`; robust
    standard errors by `cluster` (Lin & Wei 1989; not given: the male, or the female where `by` has the male, or
    else each session). Rows with something missing are left out. It is statsmodels' PHReg: its Breslow ties equal
    R's coxph, cluster errors included, which its Efron ties do not.
    """
    columns = [by] if isinstance(by, str) else list(by)
    for column in ("latency_s", "occurred", *columns, *(name for name in (within, cluster) if name)):
        if column not in times.columns:
            raise Refusal(f"no column {column!r}{nearest(column, map(str, times.columns))}")
    if cluster is None:
        cluster = next((c for c in ("male", "female") if c in times.columns and c not in columns), "session")
    known = [name for name in (within, cluster) if name in times.columns]
    rows = times.dropna(subset=[*columns, *known])
    group = np.arange(len(rows))
    if cluster in rows.columns:
        group = pd.factorize(rows[cluster].astype(object))[0]
    design, against = _design(rows, columns)
    clusters, events = len(np.unique(group)), int(rows["occurred"].sum())
    missing = pd.DataFrame(np.nan, design.columns, ["ratio", "low", "high", "coef", "se", "naive_se", "p"])
    missing.index.name = "term"
    why = _impossible(design, events, cluster, clusters)
    fitted = None if why else _fit(rows, design, within, group)
    if fitted is None:
        why = why or "Cox's model: not estimable, the groups or values are separated by who came to it at all or first."
        return Hazards(
            missing, np.nan, events, cluster, clusters, f"{why} Trust the log-rank test and its permutation."
        )
    table, likelihood = fitted
    return Hazards(
        table, likelihood, events, cluster, clusters, _sentence(against, len(table), events, cluster, clusters)
    )


def _design(rows: pd.DataFrame, columns: list[str]) -> tuple[pd.DataFrame, list[str]]:
    """Return the terms, and what the terms of each column of groups are against."""
    parts, against = [], []
    for column in columns:
        values = rows[column]
        if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
            parts.append(values.astype(float).to_frame())
        else:
            dummies = pd.get_dummies(values.astype(str), prefix=column, prefix_sep=": ", dtype=float)
            parts.append(dummies.iloc[:, 1:])
            against += [str(name).partition(": ")[2] for name in dummies.columns[:1]]
    return pd.concat(parts, axis=1), against


def _impossible(design: pd.DataFrame, events: int, cluster: str, clusters: int) -> str:
    if not events:
        return "Cox's model: the behaviour never occurred."
    if design.empty or (design.nunique() < 2).any():
        return "Cox's model: only one group or value, nothing to compare."
    if np.linalg.matrix_rank(design.to_numpy() - design.to_numpy().mean(axis=0)) < design.shape[1]:
        return "Cox's model: not estimable, some of the columns say the same."
    if clusters < 2:
        return f"Cox's model: not estimable, all sessions are of one {cluster}."
    return ""


def _fit(
    rows: pd.DataFrame, design: pd.DataFrame, within: str | None, group: NDArray[np.integer]
) -> tuple[pd.DataFrame, float] | None:
    from statsmodels.duration.hazard_regression import PHReg

    strata = None if within is None else pd.factorize(rows[within].astype(object))[0]
    scale = design.to_numpy().std(axis=0)
    model = PHReg(
        rows["latency_s"].to_numpy(float), design.to_numpy() / scale, status=rows["occurred"].to_numpy(int),
        ties="breslow", strata=strata,
    )  # fmt: skip
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what it warns of is looked for below, and said in words
        try:
            naive, robust = model.fit(disp=0), model.fit(groups=group, disp=0)
        except np.linalg.LinAlgError:
            return None
    coef = np.asarray(naive.params)
    if not np.isfinite(coef).all() or (np.abs(coef) * np.ptp(design.to_numpy() / scale, axis=0) > _BEYOND).any():
        return None
    from scipy.special import ndtr

    # No variation between clusters, as where all times are one, is no certainty.
    bse = np.asarray(robust.bse)
    se, naive_se = np.where(bse > 0, bse, np.nan) / scale, np.asarray(naive.bse) / scale
    coef = coef / scale
    half = survival.normal_quantile(0.975) * se
    columns = {
        "ratio": np.exp(coef),
        "low": np.exp(coef - half),
        "high": np.exp(coef + half),
        "coef": coef,
        "se": se,
        "naive_se": naive_se,
        "p": 2 * ndtr(-np.abs(coef / se)),
    }
    return pd.DataFrame(columns, index=pd.Index(design.columns, name="term")), float(naive.llf)


def _sentence(against: list[str], terms: int, events: int, cluster: str, clusters: int) -> str:
    said = "Cox's model" + (f", each against {' and '.join(against)}" if against else "")
    said += f": Breslow's ties, standard errors by {cluster} ({clusters} of them)."
    if clusters < CLUSTERS_AT_LEAST:
        said += (
            f" Under {CLUSTERS_AT_LEAST} such clusters these errors come out too small: take its p for nothing, and"
            " the permutation p of the comparison instead."
        )
    if events < EVENTS_EACH * terms:
        said += f" {events} events for {terms} term{'s' if terms > 1 else ''} are few (ten each, from memory)."
    return said
