"""Cox's partial likelihood on arrays: estimates, information, residuals.

Written here: the library that we test against loses the cluster errors of R where a row is censored before the first
event of its stratum, does not agree with R's under Efron's ties, and takes a second and 150 MB to be there.
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Labels = NDArray[np.integer[Any]]
Ties = Literal["breslow", "efron", "exact"]

STEPS = 60
_BEYOND = 20.0  # between two rows' log hazards: no sessions show it
_SMALL = 1e-9  # of a column's spread: what the strata and the other columns leave of it is rounding
_CONVERGED = 1e-8  # of a standardised coefficient; the step after a converged one is its square


@dataclass(frozen=True)
class Data:
    """Rows at risk from after `start` until `stop` (n,), whether each ends in an event, its stratum, and its terms
    (n, p)."""

    start: Floats
    stop: Floats
    event: Bools
    stratum: Labels
    terms: Floats


@dataclass(frozen=True)
class Fit:
    """What maximised the partial likelihood."""

    coef: Floats
    """(p,) log hazard ratios; NaN where a term is not estimable."""
    variance: Floats
    """(p, p) the inverse information; NaN where a term is not estimable."""
    log_likelihood: float
    residuals: Floats
    """(n, p) score residuals (Therneau & Grambsch 2000, section 4.6); they sum to 0 by column."""
    martingale: Floats
    """(n,) event less expected, so that a group's sum is its observed less expected events."""
    empty: Bools
    """(p,) terms of which strata and earlier terms leave nothing."""
    separated: Bools
    """(p,) terms whose likelihood rises for ever: their coefficient is infinite."""

    def robust(self, cluster: Labels) -> Floats:
        """Return the (p, p) variance that lets rows of one cluster (n,) depend on each other (Lin & Wei 1989)."""
        known = np.isfinite(self.coef)
        sums = np.zeros((int(cluster.max()) + 1, int(known.sum())))
        np.add.at(sums, cluster, self.residuals[:, known])
        influence = sums @ self.variance[np.ix_(known, known)]
        return _filled(influence.T @ influence, known)


@dataclass(frozen=True)
class Likelihood:
    """A partial likelihood at given coefficients."""

    value: float
    score: Floats
    information: Floats
    residuals: Floats
    martingale: Floats


def fit(data: Data, ties: Ties = "breslow") -> Fit:
    """Return the maximum of the partial likelihood (Cox 1972) by Newton's method.

    `ties`: Breslow 1974, Efron 1977, or the exact conditional likelihood, which for rows of one time is the conditional
    logistic likelihood of the strata as sets (Breslow & Day 1980). Residuals under exact ties are Breslow's.
    """
    spread = data.terms.std(axis=0)
    scale = np.where(spread > 0, spread, 1.0)
    terms = (data.terms - data.terms.mean(axis=0)) / scale
    data = Data(data.start, data.stop, data.event, data.stratum, terms)
    keep = _independent(likelihood(data, np.zeros(terms.shape[1]), ties).information)
    inside = Data(data.start, data.stop, data.event, data.stratum, terms[:, keep])
    coef, step = _climb(inside, ties)
    endless = np.abs(step) > _CONVERGED**0.5
    found = likelihood(inside, coef, ties)
    empty, separated = ~keep, np.zeros(len(keep), dtype=bool)
    separated[np.flatnonzero(keep)[endless]] = True
    known = keep & ~separated
    inverse = np.linalg.inv(found.information[np.ix_(~endless, ~endless)])
    whole = np.full(len(keep), np.nan)
    whole[known] = coef[~endless]
    residuals = np.zeros(terms.shape)
    residuals[:, keep] = found.residuals
    return Fit(
        whole / scale, _filled(inverse, known) / np.outer(scale, scale), found.value, residuals * scale,
        found.martingale, empty, separated,
    )  # fmt: skip


def _filled(matrix: NDArray[Any], known: Bools) -> Floats:
    whole = np.full((len(known), len(known)), np.nan)
    whole[np.ix_(known, known)] = matrix
    return whole


def _independent(information: Floats) -> Bools:
    """Return which terms add something to those before them, by sweeping them out one after another."""
    left, keep = information.copy(), np.zeros(len(information), dtype=bool)
    events = max(1.0, float(np.abs(information).max(initial=0.0)))
    for at in range(len(left)):
        if left[at, at] > _SMALL * events:
            keep[at] = True
            left = left - np.outer(left[:, at], left[at]) / left[at, at]
    return keep


def _climb(data: Data, ties: Ties) -> tuple[Floats, Floats]:
    """Return the coefficients, and Newton's next step from them: not small where the likelihood has no maximum."""
    coef: Floats = np.zeros(data.terms.shape[1])
    now = likelihood(data, coef, ties)
    step = np.zeros_like(coef)
    for _ in range(STEPS):
        step = np.asarray(np.linalg.lstsq(now.information, now.score, rcond=None)[0], dtype=np.float64)
        # Where the likelihood rises for ever, steps stay near 1 and in the end are made of rounding alone.
        endless = np.ptp(data.terms @ coef) > _BEYOND and np.ptp(data.terms @ step) > 0.5
        if endless or np.abs(step).max(initial=0.0) < _CONVERGED:
            break
        tried = likelihood(data, coef + step, ties)
        while not (np.isfinite(tried.value) and tried.value >= now.value - 1e-9 * abs(now.value)):
            step = step / 2
            tried = likelihood(data, coef + step, ties)
        coef, now = np.asarray(coef + step), tried
    return coef, step


def likelihood(data: Data, coef: Floats, ties: Ties) -> Likelihood:
    """Return the partial likelihood at `coef` (p,), with its slope and curvature and the residuals of each row."""
    p = data.terms.shape[1]
    value, score, information = 0.0, np.zeros(p), np.zeros((p, p))
    residuals, martingale = np.zeros(data.terms.shape), np.zeros(len(data.stop))
    order = np.argsort(data.stratum, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(data.stratum[order])) + 1):
        if data.event[rows].any():
            one = _stratum(
                Data(data.start[rows], data.stop[rows], data.event[rows], data.stratum[rows], data.terms[rows]),
                coef, ties,
            )  # fmt: skip
            value, score, information = value + one.value, score + one.score, information + one.information
            residuals[rows], martingale[rows] = one.residuals, one.martingale
    return Likelihood(value, score, information, residuals, martingale)


def _stratum(data: Data, coef: Floats, ties: Ties) -> Likelihood:
    x, event = data.terms, data.event
    eta = x @ coef
    top = float(eta.max())
    weight = np.exp(np.maximum(eta - top, -600.0))
    times, count = np.unique(data.stop[event], return_counts=True)
    at = np.searchsorted(times, data.stop[event])
    first, last = np.searchsorted(times, data.start, side="right"), np.searchsorted(times, data.stop, side="right")

    # Sums are added up from the last time backwards, and those of late entries one by one: to take heavy rows away from
    # a sum would leave rounding where the rows that stay are light.
    def at_risk(values: Floats) -> Floats:
        """Return the sum of `values` (n, ...) over the rows at risk at each event time."""
        if first.any():
            place = np.arange(len(times))[:, None]
            return np.tensordot(((first <= place) & (place < last)).astype(np.float64), values, 1)
        sums = np.zeros((len(times) + 1, *values.shape[1:]))
        np.add.at(sums, last, values)
        return np.asarray(np.cumsum(sums[::-1], axis=0)[::-1][1:])

    def of_events(values: Floats) -> Floats:
        sums = np.zeros((len(times), *values.shape[1:]))
        np.add.at(sums, at, values[event])
        return sums

    moments = weight, weight[:, None] * x, weight[:, None, None] * x[:, :, None] * x[:, None, :]
    # One entry for each event; under Efron's ties the k-th of d at one time has k/d of those d taken from the risk set.
    each = np.repeat(np.arange(len(times)), count)
    gone = np.zeros(len(each))
    if ties == "efron":
        gone = (np.arange(len(each)) - np.searchsorted(each, each)) / count[each]
    if gone.any():
        s0, s1, s2 = (at_risk(m)[each] - gone.reshape(-1, *[1] * (m.ndim - 1)) * of_events(m)[each] for m in moments)
    else:
        s0, s1, s2 = (at_risk(m)[each] for m in moments)
    mean = s1 / s0[:, None]
    value = float(eta[event].sum() - np.log(s0).sum() - len(each) * top)
    score = x[event].sum(axis=0) - mean.sum(axis=0)
    information = (s2 / s0[:, None, None]).sum(axis=0) - mean.T @ mean

    def by_time(values: Floats) -> Floats:
        sums = np.zeros((len(times), *values.shape[1:]))
        np.add.at(sums, each, values)
        return sums

    def until(values: Floats) -> Floats:
        """Return the sum of `values` (times, ...) over the event times at which each row was at risk."""
        sums = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
        return np.asarray(sums[last] - sums[first])

    hazard, drift = until(by_time(1 / s0)), until(by_time(mean / s0[:, None]))
    hazard[event] -= by_time(gone / s0)[at]
    drift[event] -= by_time(gone[:, None] * mean / s0[:, None])[at]
    residuals = -weight[:, None] * (x * hazard[:, None] - drift)
    residuals[event] += x[event] - (by_time(mean) / count[:, None])[at]
    martingale = event - weight * hazard
    if ties == "exact":
        value, score, information = float(eta[event].sum()), x[event].sum(axis=0), np.zeros_like(information)
        for time, d in zip(times, count, strict=True):
            risk = (data.start < time) & (time <= data.stop)
            log, slope, curve = _subsets(weight[risk], x[risk], int(d))
            value, score, information = value - log - d * top, score - slope, information + curve
    return Likelihood(value, score, information, residuals, martingale)


def _subsets(weight: Floats, x: Floats, d: int) -> tuple[float, Floats, Floats]:
    """Return the log of the sum, over all subsets of `d` rows, of the product of their weights, with its gradient and
    Hessian in the coefficients (the recursion of Gail, Lubin & Rubinstein 1981)."""
    p = x.shape[1]
    sums, slopes, curves = np.zeros(d + 1), np.zeros((d + 1, p)), np.zeros((d + 1, p, p))
    sums[0] = 1.0
    for w, row in zip(weight, x, strict=True):
        cross = slopes[:-1, :, None] * row[None, None, :]
        square = sums[:-1, None, None] * np.outer(row, row)
        curves[1:] += w * (curves[:-1] + cross + cross.transpose(0, 2, 1) + square)
        slopes[1:] += w * (slopes[:-1] + sums[:-1, None] * row)
        sums[1:] += w * sums[:-1]
    slope = slopes[d] / sums[d]
    return float(np.log(sums[d])), slope, curves[d] / sums[d] - np.outer(slope, slope)
