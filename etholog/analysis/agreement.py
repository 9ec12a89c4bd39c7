"""Agreement of two records of one session: onsets matched one to one, and time units in which both say the same."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog import notebook

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Agreement:
    """How far two records agree.

    `table`: index = behaviour (with its qualifier); first and second (onsets in each record), matched, agreed =
    matched / (matched + not
    matched), kappa over time units for states, difference_s = mean of second less first duration of matched bouts,
    low_s and high_s its 95 %
    limits of agreement (Bland & Altman 1986). `kappa`: over all time units and behaviours' combinations by actor
    pooled. What is not
    defined is NaN.
    """

    table: pd.DataFrame
    kappa: float
    matched: int
    shift_s: float

    def _repr_html_(self) -> str:
        kappa = "not defined" if np.isnan(self.kappa) else f"{self.kappa:.3f}"
        return notebook.html(f"{self.matched} onsets matched; kappa {kappa}.", self.table)


def match(first: Ints, second: Ints, tolerance: int) -> list[tuple[int, int]]:
    """Match instants (sorted, ms) one to one within the tolerance, as many as can be.

    All windows are of one width, so taking the earliest free partner in the order of time is a maximum matching;
    the nearest-first that
    comes to mind first is not.
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
    another and are not
    independent: kappa describes, and no standard error is given. `align` first takes out the median lag between
    onsets that only one
    partner of the same behaviour can be meant by, found with ten times the tolerance; it stands in `shift_s`.
    """
    one, two = _named(first), _named(second)
    tolerance = round(tolerance_s * 1000)
    shift = _shift(one, two, 10 * tolerance) if align else 0
    two = two.assign(onset=two["onset"] - shift, offset=two["offset"] - shift)
    unit = round(unit_s * 1000)
    end = int(max(one["offset"].max() if len(one) else 0, two["offset"].max() if len(two) else 0, unit))
    rows, total = {}, 0
    for name in sorted({*one["name"], *two["name"]}):
        a, b = (table[table["name"] == name].sort_values("onset") for table in (one, two))
        pairs = match(a["onset"].to_numpy(), b["onset"].to_numpy(), tolerance)
        total += len(pairs)
        row: dict[str, float] = {"first": len(a), "second": len(b), "matched": len(pairs)}
        union = len(a) + len(b) - len(pairs)
        row |= {"agreed": len(pairs) / union, "kappa": np.nan} | _durations(a, b, pairs)
        if (a["kind"] == "state").any() or (b["kind"] == "state").any():
            row["kappa"] = kappa(_cross(_units(a, unit, end), _units(b, unit, end), 2))
        rows[name] = row
    table = pd.DataFrame.from_dict(rows, orient="index")
    table.index.name = "behaviour"
    return Agreement(table, _all_kappa(one, two, unit, end), total, shift / 1000)


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


def _shift(one: pd.DataFrame, two: pd.DataFrame, reach: int) -> int:
    lags: list[int] = []
    for name in set(one["name"]) & set(two["name"]):
        a, b = (np.sort(table.loc[table["name"] == name, "onset"].to_numpy()) for table in (one, two))
        lags += [int(b[j] - a[i]) for i, j in match(a, b, reach)]
    return int(np.median(lags)) if lags else 0


def _durations(a: pd.DataFrame, b: pd.DataFrame, pairs: list[tuple[int, int]]) -> dict[str, float]:
    lengths_a, lengths_b = ((t["offset"] - t["onset"]).to_numpy() / 1000 for t in (a, b))
    apart = np.array([lengths_b[j] - lengths_a[i] for i, j in pairs])
    mean = float(apart.mean()) if len(apart) else np.nan
    half = 1.959964 * float(apart.std(ddof=1)) if len(apart) > 1 else np.nan
    return {"difference_s": mean, "low_s": mean - half, "high_s": mean + half}


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
