"""Agreement of two records of one session: onsets matched one to one, and time units in which both say the same."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.base import notebook

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Agreement:
    """How far two records agree.

    `table`: index = behaviour (with its qualifier); first and second (onsets in each record), matched, agreed =
    matched / (matched + not matched), kappa over time units for states; of matched bouts of states difference_s, the
    mean of second less first duration, and low_s and high_s, its 95 % limits of agreement (Bland & Altman 1986).
    `matched`, `agreed`, `kappa` (all states that run at a time being one code), `difference_s`, `low_s`, `high_s`:
    over all behaviours. `shift_s`: by how much the second record was put earlier. NaN: not defined.
    """

    table: pd.DataFrame
    kappa: float
    matched: int
    shift_s: float
    agreed: float
    difference_s: float
    low_s: float
    high_s: float

    def _repr_html_(self) -> str:
        kappa = "not defined" if np.isnan(self.kappa) else f"{self.kappa:.3f}"
        return notebook.html(f"{self.matched} onsets matched; kappa {kappa}.", self.table)


def match(first: Ints, second: Ints, tolerance: int) -> list[tuple[int, int]]:
    """Match instants (sorted, ms) one to one within the tolerance, as many as can be.

    All windows are of one width, so taking the earliest free partner in the order of time is a maximum matching; the
    nearest-first that comes to mind first is not.
    """
    pairs: list[tuple[int, int]] = []
    at = 0
    for i, instant in enumerate(first):
        while at < len(second) and second[at] < instant - tolerance:
            at += 1
        if at < len(second) and second[at] <= instant + tolerance:
            pairs.append((i, at))
            at += 1
    return pairs


def kappa(table: NDArray[np.float64]) -> float:
    """Return Cohen's kappa (Cohen 1960) of a square table of counts; NaN where both used one and the same code
    throughout."""
    total = table.sum()
    if not total:
        return np.nan
    agreed = float(np.trace(table) / total)
    chance = float((table.sum(axis=0) * table.sum(axis=1)).sum() / total**2)
    return (agreed - chance) / (1 - chance) if chance < 1 else np.nan


def agreement(
    first: pd.DataFrame, second: pd.DataFrame, tolerance_s: float = 1.0, unit_s: float = 1.0, align: bool = False
) -> Agreement:
    """Compare two tables of bouts (behaviour, qualifier, kind, onset_s, offset_s) of one session.

    Both an event-based and a time-based measure are given (Bakeman, Quera & Gnisci 2009). Time units follow one
    another and are not independent: kappa describes, and no standard error is given. `align` first takes out the
    shift between the two clocks: the one at which most onsets of the same behaviours meet within the tolerance.
    """
    one, two = _named(first), _named(second)
    tolerance = round(tolerance_s * 1000)
    shift = _shift(one, two, tolerance) if align else 0
    two = two.assign(onset=two["onset"] - shift, offset=two["offset"] - shift)
    unit = round(unit_s * 1000)
    end = int(max(one["offset"].max() if len(one) else 0, two["offset"].max() if len(two) else 0, unit))
    rows: dict[str, dict[str, float]] = {}
    lengths: list[NDArray[np.float64]] = []
    for name in sorted({*one["name"], *two["name"]}):
        a, b = (table[table["name"] == name].sort_values("onset") for table in (one, two))
        pairs = match(a["onset"].to_numpy(), b["onset"].to_numpy(), tolerance)
        state = bool((a["kind"] == "state").any() or (b["kind"] == "state").any())
        apart = _apart(a, b, pairs) if state else np.zeros(0)
        lengths.append(apart)
        row: dict[str, float] = {"first": len(a), "second": len(b), "matched": len(pairs)}
        row |= {"agreed": len(pairs) / (len(a) + len(b) - len(pairs)), "kappa": np.nan}
        if state:
            row["kappa"] = kappa(_cross(_units(a, unit, end), _units(b, unit, end), 2))
        rows[name] = row | dict(zip(("difference_s", "low_s", "high_s"), limits_of_agreement(apart), strict=True))
    columns = ["first", "second", "matched", "agreed", "kappa", "difference_s", "low_s", "high_s"]
    table = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
    table.index.name = "behaviour"
    matched = sum(int(row["matched"]) for row in rows.values())
    union = len(one) + len(two) - matched
    return Agreement(
        table,
        _all_kappa(one, two, unit, end),
        matched,
        shift / 1000,
        matched / union if union else np.nan,
        *limits_of_agreement(np.concatenate([np.zeros(0), *lengths])),
    )


def limits_of_agreement(apart: NDArray[np.float64]) -> tuple[float, float, float]:
    """Return the mean of differences and its 95 % limits of agreement, mean -+ 1.96 standard deviations (Bland &
    Altman 1986); NaN where there are none, and without limits where there is only one."""
    mean = float(apart.mean()) if len(apart) else np.nan
    half = 1.96 * float(apart.std(ddof=1)) if len(apart) > 1 else np.nan
    return mean, mean - half, mean + half


def _named(bouts: pd.DataFrame) -> pd.DataFrame:
    codes = bouts["behaviour"].astype(str)
    if "qualifier" in bouts:
        side = bouts["qualifier"].astype(object)
        codes = codes.where(side.isna(), codes + ":" + side.astype(str))
    ms = {
        name: (bouts[f"{name}_s"].to_numpy(dtype=float) * 1000).round().astype(np.int64) for name in ("onset", "offset")
    }
    kind = bouts["kind"].astype(str) if "kind" in bouts else "state"
    return pd.DataFrame({"name": codes.to_numpy(), "kind": np.asarray(kind), **ms})


def _shift(one: pd.DataFrame, two: pd.DataFrame, tolerance: int) -> int:
    """Return the shift (ms) at which most onsets meet; of equally good ones, the smallest."""
    onsets = {
        name: [np.sort(table.loc[table["name"] == name, "onset"].to_numpy()) for table in (one, two)]
        for name in sorted({*one["name"]} & {*two["name"]})
    }
    if not onsets:
        return 0
    lags = np.sort(np.concatenate([np.subtract.outer(b, a).reshape(-1) for a, b in onsets.values()]))
    # Every shift that brings onsets together lies in a crowd of lags; the most crowded are tried by matching.
    crowd = np.searchsorted(lags, lags + 2 * tolerance, side="right") - np.arange(len(lags))
    tried = [int(np.median(lags[at : at + crowd[at]])) for at in np.argsort(-crowd, kind="stable")[:50]]
    best = min(
        tried, key=lambda shift: (-sum(len(match(a, b - shift, tolerance)) for a, b in onsets.values()), abs(shift))
    )
    left = [int(b[j] - a[i]) for a, b in onsets.values() for i, j in match(a, b - best, tolerance)]
    return int(np.median(left)) if left else best


def _apart(a: pd.DataFrame, b: pd.DataFrame, pairs: list[tuple[int, int]]) -> NDArray[np.float64]:
    lengths_a, lengths_b = ((t["offset"] - t["onset"]).to_numpy() / 1000 for t in (a, b))
    return np.array([lengths_b[j] - lengths_a[i] for i, j in pairs], dtype=np.float64)


def _units(bouts: pd.DataFrame, unit: int, end: int) -> NDArray[np.int64]:
    """Return for each time unit whether the behaviour ran at its start."""
    starts = np.arange(0, end, unit)
    on = np.zeros(len(starts), dtype=np.int64)
    for onset, offset in zip(bouts["onset"], bouts["offset"], strict=True):
        on[(starts >= onset) & (starts < offset)] = 1
    return on


def _cross(a: NDArray[np.int64], b: NDArray[np.int64], k: int) -> NDArray[np.float64]:
    return np.bincount(a * k + b, minlength=k * k).reshape(k, k).astype(np.float64)


def _all_kappa(one: pd.DataFrame, two: pd.DataFrame, unit: int, end: int) -> float:
    """Return kappa over time units, a unit's code being all the states that run at its start."""
    names = sorted({*one.loc[one["kind"] == "state", "name"], *two.loc[two["kind"] == "state", "name"]})
    if not names:
        return np.nan
    stacks = [np.stack([_units(t[t["name"] == name], unit, end) for name in names], axis=1) for t in (one, two)]
    codes = np.unique(np.concatenate(stacks), axis=0, return_inverse=True)[1].reshape(2, -1)
    k = int(codes.max()) + 1
    return kappa(_cross(codes[0], codes[1], k))
