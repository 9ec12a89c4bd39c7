"""Onsets that nobody saw: known to lie between two instants, and to no instant.

When he comes into sight and is drumming already, the drumming began while he was away. To take the moment in which it
was seen makes latencies too long. Written here: no library at hand has Turnbull's estimate.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns
from etholog.analysis.latency import hiding, intervals, of_each
from etholog.base import notebook
from etholog.base.refusal import Refusal
from etholog.season import Season

Floats = NDArray[np.float64]

SOON_S = 5.0
"""Seconds: to find an animal in dim light, see what it does, and press a key. Common practice, no source."""
ROUNDS = 20_000


@dataclass(frozen=True)
class Weibull:
    """An accelerated Weibull model: log time = terms + scale times an extreme-value error."""

    table: pd.DataFrame
    """Index = term ('intercept' first); coef, se: of log seconds."""
    scale: float
    log_likelihood: float

    @property
    def median(self) -> float:
        """Return the median of a row whose terms are all 0."""
        return float(np.exp(self.table["coef"].iloc[0]) * np.log(2) ** self.scale)

    def _repr_html_(self) -> str:
        return notebook.html(f"Weibull, log likelihood {self.log_likelihood:.2f}", self.table)


def unseen_onsets(season: Season, times: pd.DataFrame, soon_s: float = SOON_S) -> pd.DataFrame:
    """Return latencies as spans: a mark up to `soon_s` after watching resumed, or after the animal came into sight
    again, may have begun at any moment since it was lost.

    Parameters
    ----------
    season, times: a season, and a `latency` of it.
    soon_s: how soon after, in seconds.

    Returns
    -------
    `times` with lower_s and upper_s (seconds from where the latency begins, gaps counted, since the animals did not
    stop; equal where the onset was seen, upper_s infinite where it never came) and unseen (bool).

    Raises
    ------
    Refusal: for times that are no `latency` of this season.

    >>> import etholog
    >>> season = etholog.read("examples/unseen")
    >>> int(etholog.unseen_onsets(season, etholog.latency(season, "courtship"))["unseen"].sum())
    4
    """
    bouts = columns.season(season).bouts
    times = columns.table(columns.latencies(times), "session", "length_s")
    asked = intervals(times)
    columns.number(soon_s, "soon_s", 0.0)
    text = bouts["session"].astype(str)
    # Each session by the interval of its own ethogram: a code may mean another thing in another one.
    onsets = {
        name: bouts[of_each(season, {of: one[name] for of, one in asked.items()})].groupby(text)["onset_s"]
        for name in ("since", "to")
    }
    first = onsets["since"].min()
    came = {session: own.to_numpy() for session, own in onsets["to"]}
    hidden = hiding(season, {of: one["to"] for of, one in asked.items()})
    away = pd.concat(
        [part[["session", "onset_s", "offset_s"]].astype({"session": str}) for part in (season.gaps, hidden)]
    )
    lost = dict(tuple(away.groupby("session")))
    rows = []
    for session, occurred, length in zip(
        times["session"].astype(str), times["occurred"], times["length_s"], strict=True
    ):  # fmt: skip
        start = float(first.get(session, 0.0))
        if not occurred:
            rows.append((float(length) - start, np.inf, False))
            continue
        at = float(min(one for one in came[session] if one >= start))
        own = lost.get(session)
        lower = at
        if own is not None:
            soon = own.loc[own["offset_s"].between(at - soon_s, at), "onset_s"]
            lower = max(start, float(soon.min())) if len(soon) else at
        rows.append((lower - start, at - start, lower < at))
    spans = pd.DataFrame(rows, columns=["lower_s", "upper_s", "unseen"], index=times.index)
    return times.assign(**spans.astype({"lower_s": float, "upper_s": float, "unseen": bool}))


def turnbull(spans: pd.DataFrame) -> pd.DataFrame:
    """Return the non-parametric estimate of how long it takes, from times known as spans (Turnbull 1976, J. R. Stat.
    Soc. B 38:290), by self-consistency.

    Parameters
    ----------
    spans: `lower_s`, `upper_s` (seconds): the onset lies after the one and at the other at the latest; equal where it
        was seen, `upper_s` infinite or missing where it had not come by `lower_s`.

    Returns
    -------
    A row for each span that holds some of it: after_s, by_s, mass, share (still without it after `by_s`). Within a span
    nothing is known of how it is spread.

    Raises
    ------
    Refusal: for a column that is not there, a negative time, or a span that ends before it begins.

    >>> import pandas as pd
    >>> turnbull(pd.DataFrame({"lower_s": [0.0, 4, 2], "upper_s": [3.0, 5, None]}))["share"].round(2).tolist()
    [0.5, 0.0]
    """
    lower, upper = _spans(spans)
    left, right = _innermost(lower, upper)
    seen, points = lower == upper, left == right
    inside = (lower[:, None] <= left) & (right <= upper[:, None])
    # A span is open on its left: what was seen at just that instant is not in it.
    inside &= ~(points & ~seen[:, None] & (left <= lower[:, None]))
    inside &= ~(seen[:, None] & ~points)
    weight = inside.astype(np.float64)
    mass = np.full(len(left), 1 / max(len(left), 1))
    for _ in range(ROUNDS):
        new = (weight * mass / (weight @ mass)[:, None]).mean(axis=0)
        if np.abs(new - mass).max(initial=0.0) < 1e-12:
            break
        mass = new
    kept = (mass > 1e-8) & np.isfinite(right)
    share = np.clip(1 - np.cumsum(mass), 0.0, 1.0)
    share[share < 1e-9] = 0.0  # what rounding leaves after the last of all
    return pd.DataFrame({"after_s": left, "by_s": right, "mass": mass, "share": share}).loc[kept].reset_index(drop=True)


def _innermost(lower: Floats, upper: Floats) -> tuple[Floats, Floats]:
    """Return the spans that can hold any mass: from a beginning to the next end, no other beginning between them."""
    starts = sorted({(float(a), bool(a != b)) for a, b in zip(lower, upper, strict=True)})  # a point before a span
    left, right = [], []
    for at, (start, is_open) in enumerate(starts):
        ends = upper[upper > start] if is_open else upper[upper >= start]
        end = float(ends.min()) if len(ends) else np.inf
        following = starts[at + 1] if at + 1 < len(starts) else (np.inf, True)
        if following >= (end, True) or not is_open:
            left.append(start)
            right.append(end)
    return np.array(left), np.array(right)


def weibull(spans: pd.DataFrame, by: str | None = None) -> Weibull:
    """Return a Weibull model of times known as spans, by maximum likelihood (as R's survreg; Kalbfleisch & Prentice
    2002).

    Parameters
    ----------
    spans: lower_s and upper_s (seconds), as `turnbull` takes them.
    by: a column whose values but the first are terms.

    Returns
    -------
    Weibull: `.table` (index = term; coef and se, of the logarithm of seconds), `.scale`, `.log_likelihood`.

    Raises
    ------
    Refusal: as `turnbull`, and where nothing ever came or the spans determine no curve.

    >>> import etholog
    >>> season = etholog.read("examples/unseen")
    >>> spans = etholog.unseen_onsets(season, etholog.latency(season, "courtship"))
    >>> etholog.weibull(spans).table["coef"].round(2).to_dict()
    {'intercept': 4.68}
    """
    from scipy.optimize import minimize

    lower, upper = _spans(spans)
    if not np.isfinite(upper).any():
        raise Refusal("the behaviour never came in these sessions: nothing to fit")
    lower, upper = np.where(lower == upper, np.maximum(lower, 0.5), lower), np.maximum(upper, 0.5)
    terms, names = np.ones((len(lower), 1)), ["intercept"]
    if by is not None:
        columns.labels(columns.table(spans, by), by)
        label, values = pd.factorize(spans[by], sort=True)
        terms = np.column_stack([terms, *(label == one for one in range(1, len(values)))])
        names += [f"{by}: {value}" for value in values[1:]]
    seen = lower == upper
    with np.errstate(divide="ignore"):
        low, high = np.log(lower), np.log(upper)

    def negative(parameters: Floats) -> float:
        middle, scale = terms @ parameters[:-1], np.exp(parameters[-1])
        a, b = np.exp((low - middle) / scale), np.exp((high - middle) / scale)
        spread = -a + np.log(-np.expm1(-(b - a)))
        point = (low - middle) / scale - a - np.log(scale) - low
        return -float(np.where(seen, point, spread).sum())

    start = np.zeros(terms.shape[1] + 1)
    start[0] = np.log(np.mean(np.where(np.isfinite(upper), upper, lower)) + 1)
    with np.errstate(all="ignore"):  # on the way it meets curves that hold nothing
        simplex = {"xatol": 1e-9, "fatol": 1e-11, "maxiter": 20_000}
        found = minimize(negative, start, method="Nelder-Mead", options=simplex)
        found = minimize(negative, found.x, method="BFGS", options={"gtol": 1e-7})
        curvature = _curvature(negative, found.x)
    if not np.isfinite(curvature).all() or np.linalg.matrix_rank(curvature, hermitian=True) < len(curvature):
        raise Refusal("too few spans, or too alike, to fit a Weibull curve")
    inverse = np.linalg.inv(curvature)
    if (np.diag(inverse) < 0).any():
        raise Refusal("too few spans, or too alike, to fit a Weibull curve")
    table = pd.DataFrame(
        {"coef": found.x[:-1], "se": np.sqrt(np.diag(inverse))[:-1]}, index=pd.Index(names, name="term")
    )
    return Weibull(table, float(np.exp(found.x[-1])), -float(found.fun))


def _curvature(negative: Callable[[Floats], float], at: Floats) -> Floats:
    """Return the second differences, whose error is near 1e-7."""
    n, step = len(at), 1e-4
    unit = np.eye(n) * step
    out = np.empty((n, n))
    for i in range(n):
        for j in range(n):
            corners = [negative(at + a * unit[i] + b * unit[j]) * a * b for a in (1, -1) for b in (1, -1)]
            out[i, j] = sum(corners) / (4 * step**2)
    return out


def _spans(spans: pd.DataFrame) -> tuple[Floats, Floats]:
    rows = columns.table(spans, "lower_s", "upper_s")
    if rows.empty:
        raise Refusal("spans: no row in the table; there is nothing to estimate from")
    lower = columns.seconds(rows, "lower_s")
    upper = columns.numbers(rows, "upper_s", infinite=True)
    upper = np.where(np.isnan(upper), np.inf, upper)
    wrong = np.flatnonzero(~(lower >= 0) | (upper < lower) | ~np.isfinite(lower))
    if len(wrong):
        at = int(wrong[0])
        raise Refusal(
            f"row {at}: from {lower[at]:g} s to {upper[at]:g} s is not a span; from 0 or later, to no earlier"
        )
    return lower, upper
