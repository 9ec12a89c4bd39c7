"""Transitions: what follows what, and what follows more often than chance.

No Python library has tables with structural zeros ready-made; the fit is the textbook's iterative proportional one,
and a Poisson model of
statsmodels is the reference in the tests.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import survival
from etholog.analysis.multiplicity import holm
from etholog.refusal import Refusal
from etholog.season import Season

SMALL_EXPECTED = 5.0


@dataclass(frozen=True)
class Transitions:
    """A table of transitions, first behaviours down, next ones across, and its tests. What can't be is NaN in every
    table.

    `p_holm`: two-sided p of each adjusted residual, by Holm 1979. `small`: cells whose expected count is under 5,
    where p is not to be trusted.
    """

    counts: pd.DataFrame
    probabilities: pd.DataFrame
    expected: pd.DataFrame
    residuals: pd.DataFrame
    p_holm: pd.DataFrame
    small: pd.DataFrame
    x2: float
    g2: float
    df: int
    p: float
    sentence: str

    def long(self) -> pd.DataFrame:
        """Return one row for each transition that was seen: first, next, count, probability, expected, residual,
        p_holm."""
        parts = {
            "count": self.counts,
            "probability": self.probabilities,
            "expected": self.expected,
            "residual": self.residuals,
            "p_holm": self.p_holm,
        }
        where = np.argwhere(np.nan_to_num(self.counts.to_numpy(dtype=float)) > 0)
        rows = {name: frame.to_numpy()[where[:, 0], where[:, 1]] for name, frame in parts.items()}
        rows["count"] = rows["count"].astype(np.int64)
        return pd.DataFrame(
            {"first": self.counts.index[where[:, 0]], "next": self.counts.columns[where[:, 1]], **rows}
        ).sort_values(["count"], ascending=False, kind="stable", ignore_index=True)


def transitions(counts: pd.DataFrame, impossible: pd.DataFrame | None = None) -> Transitions:
    """Test a square table of counts against independence, or quasi-independence where cells are `impossible`
    (Goodman 1968).

    Expected counts by iterative proportional fitting from the mask. Adjusted residuals (Haberman 1973): (o - e) /
    sqrt(e (1 - h)), h being the
    leverage in the Poisson model. df = possible cells - rows used - columns used + 1.
    """
    if list(counts.index) != list(counts.columns):
        raise Refusal("a table of transitions has the same behaviours, in the same order, down and across")
    observed = counts.to_numpy(dtype=float)
    possible = np.ones_like(observed, dtype=bool)
    if impossible is not None:
        possible = ~impossible.to_numpy(dtype=bool)
    if (observed[~possible] > 0).any():
        raise Refusal("an impossible transition was counted; correct the mask or the counts")
    observed = np.where(possible, observed, 0.0)
    rows, columns = observed.sum(axis=1) > 0, observed.sum(axis=0) > 0
    used = possible & rows[:, None] & columns[None, :]
    expected = _fit(observed, used)
    df = max(0, int(used.sum() - rows.sum() - columns.sum() + 1))
    x2, g2, p = np.nan, np.nan, np.nan
    residual = np.full_like(observed, np.nan)
    if df > 0:
        inside = used & (expected > 0)
        x2 = float((((observed - expected) ** 2)[inside] / expected[inside]).sum())
        filled = inside & (observed > 0)
        g2 = float(2 * (observed[filled] * np.log(observed[filled] / expected[filled])).sum())
        p = survival.chi_squared_tail(x2, df)
        residual = _residuals(observed, expected, inside)
    with np.errstate(divide="ignore", invalid="ignore"):
        probability = observed / observed.sum(axis=1, keepdims=True)
    small = used & (expected < SMALL_EXPECTED)

    def frame(values: NDArray[np.float64], where: NDArray[np.bool_]) -> pd.DataFrame:
        return pd.DataFrame(np.where(where, values, np.nan), counts.index, counts.columns)

    return Transitions(
        frame(observed, possible),
        frame(probability, possible & rows[:, None]),
        frame(expected, used),
        frame(residual, used),
        frame(_two_sided_holm(residual), used),
        pd.DataFrame(small, counts.index, counts.columns),
        x2,
        g2,
        df,
        p,
        _sentence(observed, used, small, df, p),
    )


def _fit(observed: NDArray[np.float64], used: NDArray[np.bool_]) -> NDArray[np.float64]:
    expected = used.astype(float)
    down, across = observed.sum(axis=1), observed.sum(axis=0)
    for _ in range(10_000):
        before = expected
        with np.errstate(divide="ignore", invalid="ignore"):
            expected = expected * np.nan_to_num(down / expected.sum(axis=1), posinf=0.0)[:, None]
            expected = expected * np.nan_to_num(across / expected.sum(axis=0), posinf=0.0)[None, :]
        if np.abs(expected - before).max(initial=0.0) < 1e-12:
            break
    return expected


def _residuals(
    observed: NDArray[np.float64], expected: NDArray[np.float64], inside: NDArray[np.bool_]
) -> NDArray[np.float64]:
    row, column = np.nonzero(inside)
    size = observed.shape[0]
    design = np.zeros((len(row), 2 * size))
    design[np.arange(len(row)), row] = 1
    design[np.arange(len(row)), size + column] = 1
    e = expected[inside]
    root = design * np.sqrt(e)[:, None]
    leverage = np.einsum("ij,jk,ik->i", root, np.linalg.pinv(root.T @ root, rcond=1e-12, hermitian=True), root)
    out = np.full_like(observed, np.nan)
    free = 1 - leverage
    with np.errstate(divide="ignore", invalid="ignore"):
        # A cell that the margins fix has no freedom to deviate, and so no residual.
        out[inside] = np.where(free > 1e-9, (observed[inside] - e) / np.sqrt(e * free), np.nan)
    return out


def _two_sided_holm(residual: NDArray[np.float64]) -> NDArray[np.float64]:
    from scipy.special import ndtr

    return holm(2 * ndtr(-np.abs(residual)).reshape(-1)).reshape(residual.shape)


def _sentence(
    observed: NDArray[np.float64], used: NDArray[np.bool_], small: NDArray[np.bool_], df: int, p: float
) -> str:
    total = int(observed.sum())
    if df <= 0:
        return f"{total} transitions between too few behaviours: nothing can be tested."
    said = f"{total} transitions."
    if small.sum() > used.sum() / 5:
        said += (
            f" {int(small.sum())} of {int(used.sum())} cells expect fewer than {SMALL_EXPECTED:g}:"
            " take p as a rough guide (Cochran's rule, from memory)."
        )
    return said + " The same animals come again and again, and pooling them makes p too small."


def transition(
    season: Season,
    *,
    actor: str | None = None,
    lag: int = 1,
    repeats: bool = False,
    longest_pause_s: float | None = None,
    sessions: Sequence[str] | None = None,
) -> Transitions:
    """Count what follows what, `lag` onsets later, within sessions, and test it by `transitions`.

    actor: only behaviours of this one. Sequences break at gaps, when an animal goes out of sight, and where the
    next onset comes later than
    `longest_pause_s`. Without `repeats`, a behaviour that comes again at once counts as one, and can't follow
    itself (Slater 1973).
    """
    bouts = season.bouts
    if sessions is not None:
        bouts = bouts[bouts["session"].isin(list(sessions))]
    codes, counts = count(season, bouts, actor, lag, repeats, longest_pause_s)
    table = pd.DataFrame(counts, index=codes, columns=codes)
    impossible = None
    if not repeats and lag == 1:
        impossible = pd.DataFrame(np.eye(len(codes), dtype=bool), index=codes, columns=codes)
    return transitions(table, impossible)


def count(
    season: Season,
    bouts: pd.DataFrame,
    actor: str | None,
    lag: int,
    repeats: bool,
    longest_pause_s: float | None,
) -> tuple[list[str], NDArray[np.int64]]:
    """Return the behaviours that came, in the order of the ethogram, and the (k, k) counts at this lag."""
    names, chain, code = _chained(season, bouts, actor, repeats, longest_pause_s)
    k = len(names)
    together = chain[lag:] == chain[:-lag]
    pairs = code[:-lag][together] * k + code[lag:][together]
    return names, np.bincount(pairs, minlength=k * k).reshape(k, k).astype(np.int64)


def sequences(
    season: Season, *, actor: str | None = None, repeats: bool = False, longest_pause_s: float | None = None
) -> tuple[list[str], list[NDArray[np.int64]], list[int]]:
    """Return the behaviours that came, the unbroken sequences of their numbers, and the row of `season.sessions` of
    each."""
    names, chain, code = _chained(season, season.bouts, actor, repeats, longest_pause_s)
    starts = np.flatnonzero(np.concatenate([[True], chain[1:] != chain[:-1]])) if len(chain) else np.array([], int)
    rows = [int(one) // _CHAINS for one in chain[starts]]
    return names, np.split(code, starts[1:]) if len(chain) else [], rows


_CHAINS = 10**9  # more than any session can have


def _chained(
    season: Season, bouts: pd.DataFrame, actor: str | None, repeats: bool, longest_pause_s: float | None
) -> tuple[list[str], NDArray[np.int64], NDArray[np.int64]]:
    """Return names, and for each onset the number of its unbroken chain and the number of its behaviour."""
    wanted = ~bouts["hides"].to_numpy()
    if actor is not None:
        wanted &= (bouts["actor"] == actor).to_numpy()
    place, onset = bouts["session"].cat.codes.to_numpy(), bouts["onset_s"].to_numpy()
    stretch = _stretches(season, bouts, place, onset)[wanted]
    place, onset = place[wanted], onset[wanted]
    code = bouts["behaviour"].cat.codes.to_numpy()[wanted]
    if longest_pause_s is not None and len(onset):
        stretch = stretch + np.cumsum(np.concatenate([[False], np.diff(onset) > longest_pause_s]))
    chain = place.astype(np.int64) * _CHAINS + stretch
    if not repeats and len(code):
        kept = np.concatenate([[True], (code[1:] != code[:-1]) | (chain[1:] != chain[:-1])])
        chain, code = chain[kept], code[kept]
    names = [str(name) for name in bouts["behaviour"].cat.categories]
    order = [c for c in _in_order(season, names) if (code == c).any()]
    rank = np.full(len(names), -1, dtype=np.int64)
    rank[order] = np.arange(len(order))
    return [names[c] for c in order], chain, rank[code]


def _in_order(season: Season, names: list[str]) -> list[int]:
    told = [b.code for kept in season.ethograms.values() for b in kept.behaviour]
    place = {code: at for at, code in reversed(list(enumerate(told)))}
    return sorted(range(len(names)), key=lambda c: place.get(names[c], len(told)))


def _stretches(
    season: Season, bouts: pd.DataFrame, place: NDArray[np.integer], onset: NDArray[np.float64]
) -> NDArray[np.int64]:
    """Number the stretches that sequences must not reach across: a new one after each gap and each going out of
    sight."""
    breaks = np.zeros(len(bouts), dtype=np.int64)
    hides = bouts["hides"].to_numpy()
    breaks[hides] += 1
    key = _key(place, onset)
    gaps = _key(season.gaps["session"].cat.codes.to_numpy(), season.gaps["offset_s"].to_numpy())
    after = np.searchsorted(key, np.sort(gaps))
    np.add.at(breaks, after[after < len(breaks)], 1)
    return np.cumsum(breaks)


def _key(place: NDArray[np.integer], seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    # No session lasts 10^8 s (the reader refuses more than 10^10 ms), so this sorts as (session, time) does.
    return place.astype(float) * 1e8 + seconds
