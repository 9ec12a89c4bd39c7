"""Do males differ, and how much of what differs between sessions is the male: repeatability.

Written here: no library at hand fits censored times with an animal's effect and gives limits from the profile of the
repeatability itself. Variances estimated from 5 to 20 males have limits that are far from symmetric.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, cox, permutation
from etholog.analysis.compare import test
from etholog.analysis.design import OTHER, named_rows, paired
from etholog.analysis.distribution import normal_quantile, t_quantile
from etholog.base import notebook
from etholog.base.text import many, p_number

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Labels = NDArray[np.intp]
Family = Literal["log-normal", "Weibull"]

MALES_AT_LEAST = 8
SESSIONS_AT_LEAST = 3
# Limits that take her part for his hold in 66 of 100 where males are alike and females differ (sd 1, 300 seasons).
INSEPARABLE = (
    "No repeatability: half of the animals or more met mostly one mate each, so that males and females can't be told"
    " apart."
)
HALF_SECOND = 0.5  # a latency of 0 has no logarithm
GRID = np.array([0.0, 0.01, 0.03, 0.06, *np.arange(0.1, 0.96, 0.05)])
_U = np.linspace(-8, 8, 321)  # a male's effect in its standard deviations: sums over these are exact to 9 digits
_T = np.linspace(-12, 12, 481)
_NORMAL = ((-(3**0.5), 1 / 6), (0.0, 2 / 3), (3**0.5, 1 / 6))  # Gauss and Hermite's three points
NEGLIGIBLE = 1e-4
_LOG_WEIGHT = -0.5 * _U**2 - np.log(np.exp(-0.5 * _U**2).sum())


@dataclass(frozen=True)
class Profile:
    """The profile likelihood of a repeatability: its maximum, and the values whose likelihood is near enough to it."""

    value: float
    low: float
    high: float
    log_likelihood: float


@dataclass(frozen=True)
class Repeatability:
    """How repeatable animals are. What too few animals can't tell is NaN, and said in `sentence`."""

    males: int
    """How many animals: males, or those that `by` names."""
    sessions: int
    family: str
    """Of the model with the better likelihood: log-normal or Weibull; normal for what is not censored."""
    value: float
    """Variance between animals, of that between and within, on the scale of log seconds."""
    low: float
    high: float
    """Limits of 95 %: twice the fall of the log likelihood up to the square of t with males - 1 degrees of freedom."""
    models: pd.DataFrame
    """Index = model; value, low, high, log_likelihood: the same by each model."""
    p: float
    """Whether animals differ at all: the permutation p of `compare` by them; NaN where none of .05 is possible."""
    each: pd.DataFrame
    """Index = the animal, by name, called as the column of animals; sessions, typical (the median that the model
    expects of it), low, high."""
    population: float
    """The median that the model expects of an animal in the middle."""
    sentence: str

    def _repr_html_(self) -> str:
        return notebook.html(self.sentence, self.models)


def repeatability(
    times: pd.DataFrame,
    by: str = "male",
    adjust: Sequence[str] = (),
    permutations: int = permutation.SHUFFLES,
    seed: int = 0,
) -> Repeatability:
    """Return how repeatable a latency is: log-normal or Weibull with a normal effect of each male, gamma frailty third.

    Only from 8 males with 3 sessions each on: below, the p alone. An estimate of 0 is common where the truth is not, so
    it never says 'not repeatable'.

    Parameters
    ----------
    times: one row a session: `latency_s` (seconds), `occurred` (bool), the columns named here. Under half a second
        counts as half a second.
    by: the column of animals: whose repeatability.
    adjust: columns of numbers (a temperature, the order of his sessions) that are allowed for.
    permutations, seed: of the p, as `compare` has them.

    Returns
    -------
    Repeatability: `.value` with `.low` and `.high` (0 to 1), `.models`, `.p`, `.each`, `.population`, `.sentence`.

    Raises
    ------
    Refusal: for a column that is not there or holds no numbers.

    Nakagawa & Schielzeth 2010, Biol. Rev. 85:935 (repeatability, latent scale); Therneau & Grambsch 2000, ch. 9
    (frailty); Bell, Hankison & Laskowski 2009, Anim. Behav. 77:771 (what to expect of behaviour).

    >>> import etholog
    >>> times = etholog.latency(etholog.read("examples/season"), "courtship")
    >>> etholog.repeatability(times, permutations=99).value
    nan
    """
    rows, label, names, covariates = _given(times, ["latency_s", "occurred"], by, adjust)
    p = _p(rows, by, permutations, seed)
    if _often_watched(label) < MALES_AT_LEAST or not rows["occurred"].any():
        return _too_few(label, names, p)
    if _inseparable(rows, by):
        return _nothing(label, names, p, INSEPARABLE)
    y = np.log(np.maximum(rows["latency_s"].to_numpy(dtype=np.float64), HALF_SECOND))
    ended = rows["occurred"].to_numpy(dtype=bool)
    design = np.column_stack([np.ones(len(y)), covariates])
    cut = _cut(len(names))
    latent = {family: _Latent(family, y, ended, design, label) for family in ("log-normal", "Weibull")}
    found: dict[str, Profile] = {family: profile(model, cut) for family, model in latent.items()}
    best = max(found, key=lambda family: found[family].log_likelihood)
    found["gamma frailty"] = _frailty_profile(rows, covariates, label, cut)
    each, population = latent[best].each(found[best].value, names)
    return Repeatability(
        len(names), len(rows), best, found[best].value, found[best].low, found[best].high, _models(found), p, each,
        population, _sentence(best, found, names, rows, p),
    )  # fmt: skip


def mixed(
    table: pd.DataFrame,
    measure: str,
    by: str = "male",
    adjust: Sequence[str] = (),
    permutations: int = permutation.SHUFFLES,
    seed: int = 0,
) -> Repeatability:
    """Return how repeatable a measure is that nothing censors, by the mixed model (REML; Patterson & Thompson 1971).

    As `repeatability`, on the measure's own scale.

    Parameters
    ----------
    table: one row a session, with the column `measure` (numbers).
    measure: the column.
    by: the column of animals.
    adjust: columns that may explain a part.
    permutations, seed: of the p.

    Returns
    -------
    Repeatability: `.value` with `.low` and `.high` (NaN where there are too few animals or sessions), the p, each
    animal's own place, and `.sentence`.

    Raises
    ------
    Refusal: for a column that is not there, or holds what is not a number.

    >>> import etholog
    >>> sessions = etholog.read("examples/season").sessions
    >>> etholog.mixed(sessions, "length_s").sentence.partition(":")[0]
    'Too few to say how repeatable'
    """
    rows, label, names, covariates = _given(table, [measure], by, adjust)
    values = rows[measure].to_numpy(dtype=np.float64)
    times = rows.assign(latency_s=values - values.min(initial=0.0), occurred=True)
    p = _p(times, by, permutations, seed)
    if _often_watched(label) < MALES_AT_LEAST:
        return _too_few(label, names, p)
    if _inseparable(rows, by):
        return _nothing(label, names, p, INSEPARABLE)
    design = np.column_stack([np.ones(len(values)), covariates])
    model = _Linear(values, design, label)
    found = {"normal": profile(model, _cut(len(names)))}
    each, population = model.each(found["normal"].value, names)
    one = found["normal"]
    return Repeatability(
        len(names), len(rows), "normal", one.value, one.low, one.high, _models(found), p, each, population,
        _sentence("normal", found, names, rows, p),
    )  # fmt: skip


def profile(log_likelihood: Callable[[float], float], cut: float) -> Profile:
    """Return the maximum of a profile log likelihood over 0 to 1, and where it is down by `cut`, interpolated."""
    from scipy.optimize import minimize_scalar

    values = np.array([log_likelihood(r) for r in GRID])
    top = int(values.argmax())
    near = (GRID[max(top - 1, 0)], GRID[min(top + 1, len(GRID) - 1)])
    refined = minimize_scalar(lambda r: -log_likelihood(r), bounds=near, method="bounded", options={"xatol": 1e-7})
    best, value = GRID[top], values[top]
    if -refined.fun > value:
        best, value = float(refined.x), float(-refined.fun)
    at, fall = np.append(GRID, best), value - np.append(values, value) - cut
    order = np.argsort(at)
    at, fall = at[order], fall[order]
    inside = np.flatnonzero(fall <= 0)
    first, last = int(inside[0]), int(inside[-1])

    def crossing(a: int, b: int) -> float:
        return float(at[a] + (at[b] - at[a]) * fall[a] / (fall[a] - fall[b]))

    low = 0.0 if first == 0 else crossing(first - 1, first)
    high = 1.0 if last == len(at) - 1 else crossing(last + 1, last)
    return Profile(float(best), low, high, float(value))


def _likely(log_likelihood: Callable[[float], float], animals: int) -> Floats:
    """Return how likely each repeatability of the grid is, where nothing was known of it before, its likelihood taken
    as flatly as its limits take it. An animal's limits at the one best value would have no width where that is 0, as it
    often is."""
    values = np.array([log_likelihood(r) for r in GRID])
    flat = normal_quantile(0.975) ** 2 / 2 / _cut(animals)
    share = np.exp(flat * (values - values.max())) * np.gradient(GRID)
    return np.asarray(share / share.sum(), dtype=np.float64)


def _quantile(at: Floats, weight: Floats, share: float) -> Floats:
    """Return, row by row, the value below which so much of the weight lies."""
    order = np.argsort(at, axis=1)
    below = np.take_along_axis(weight, order, axis=1).cumsum(axis=1)
    place = (below >= share * below[:, -1:]).argmax(axis=1)
    return np.asarray(np.take_along_axis(at, order, axis=1)[np.arange(len(at)), place])


def _limits(
    log_likelihood: Callable[[float], float],
    animals: int,
    places: Callable[[float], Iterable[tuple[Floats, Floats]]],
    least: float = 0.0,
) -> tuple[Floats, Floats]:
    """Return 95 % limits of where each animal stands, over all repeatabilities that are at least so likely. `places`:
    the places at one of them, a row an animal, and their weights."""
    at, weight = [], []
    for r, likely in zip(GRID, _likely(log_likelihood, animals), strict=True):
        if likely >= least:
            for there, share in places(r):
                at.append(there)
                weight.append(likely * share)
    all_at, all_weight = np.hstack(at), np.hstack(weight)
    return _quantile(all_at, all_weight, 0.025), _quantile(all_at, all_weight, 0.975)


class _Latent:
    """The log likelihood of log times with a normal effect of each animal, at a given repeatability."""

    def __init__(self, family: Family, y: Floats, ended: Bools, design: Floats, label: Labels) -> None:
        self.normal, self.y, self.ended, self.design, self.label = family == "log-normal", y, ended, design, label
        self.own = np.equal.outer(np.arange(int(label.max()) + 1), label).astype(np.float64)
        coef = np.linalg.lstsq(design, y, rcond=None)[0]
        self.last: Floats = np.append(coef, np.log(max(float((y - design @ coef).std()), 0.1)))
        self.bend: Floats | None = None  # how the last search found the likelihood to bend: the next begins with it
        self.known: dict[float, tuple[float, Floats]] = {}

    def __call__(self, r: float) -> float:
        return self._fitted(r)[0]

    def _fitted(self, r: float) -> tuple[float, Floats]:
        """Return the log likelihood at a repeatability, and the parameters at which it is greatest."""
        from scipy.optimize import minimize

        if r not in self.known:
            options = {"gtol": 1e-6, "hess_inv0": self.bend}
            found = minimize(self._negative, self.last, (r,), jac=True, method="BFGS", options=options)
            bend = (found.hess_inv + found.hess_inv.T) / 2
            bent = np.linalg.eigvalsh(bend) if np.isfinite(bend).all() else np.zeros(1)
            bends_up = bent[0] > 1e-12 * bent[-1]  # rounding may have bent it down, which no search begins with
            self.last, self.bend = found.x, bend if bends_up else None
            self.known[r] = -float(found.fun), found.x
        return self.known[r]

    def _scales(self, total: float, r: float) -> tuple[float, float]:
        """Return the standard deviation of the animals' effect and the scale of the rest."""
        rest = total * np.sqrt(1 - r)
        return total * np.sqrt(r), rest if self.normal else rest * np.sqrt(6) / np.pi

    def _rows(self, parameters: Floats, r: float) -> tuple[Floats, Floats, Floats, float]:
        """Return, for each row and each value of its animal's effect, the log likelihood and its slope in z; and the
        part of z that the total standard deviation scales."""
        from scipy.special import log_ndtr

        between, scale = self._scales(float(np.exp(parameters[-1])), r)
        away = (self.y - self.design @ parameters[:-1]) / scale
        z = away[:, None] - between / scale * _U
        if self.normal:
            log_density = -0.5 * z**2 - 0.5 * np.log(2 * np.pi)
            value, slope = log_density - np.log(scale), -z
            waits = ~self.ended
            value[waits] = log_ndtr(-z[waits])
            slope[waits] = -np.exp(np.minimum(log_density[waits] - value[waits], 700))
        else:
            ended = self.ended[:, None]
            rise = np.exp(np.minimum(z, 50))
            value = np.where(ended, z - np.log(scale), 0.0) - rise
            slope = ended - rise
        return value, slope, away, scale

    def _negative(self, parameters: Floats, r: float) -> tuple[float, Floats]:
        value, slope, away, scale = self._rows(parameters, r)
        whole, posterior = self._posterior(value)
        mean_slope = (slope * posterior[self.label]).sum(axis=1)
        gradient = np.append(-(mean_slope / scale) @ self.design, -(mean_slope * away).sum() - self.ended.sum())
        return -float(whole.sum()), -gradient

    def _posterior(self, value: Floats) -> tuple[Floats, Floats]:
        """Return each animal's log likelihood and the weights of the values of its effect."""
        joint = _LOG_WEIGHT + self.own @ value
        top = joint.max(axis=1, keepdims=True)
        share = np.exp(joint - top)
        total = share.sum(axis=1, keepdims=True)
        return (np.log(total) + top)[:, 0], share / total

    def each(self, r: float, names: pd.Index) -> tuple[pd.DataFrame, float]:
        """Return each animal's expected median with its 95 % posterior limits, and the population's."""
        parameters = self._fitted(r)[1]
        posterior, levels = self._levels(parameters, r)
        typical = np.exp((posterior * levels).sum(axis=1))
        low, high = (np.exp(limit) for limit in _limits(self, len(names), self._places, NEGLIGIBLE))
        told = {"sessions": np.bincount(self.label), "typical": typical, "low": low, "high": high}
        return pd.DataFrame(told, index=names), float(np.exp(self._middle(parameters, r)))

    def _places(self, r: float) -> Iterator[tuple[Floats, Floats]]:
        """Yield where each animal may stand at a repeatability, as logs, and the weights of these places."""
        there = self._fitted(r)[1]
        error = self._error_of_the_middle(there, r)
        for away, share in _NORMAL:
            moved = there + np.eye(len(there))[0] * away * error
            posterior, levels = self._levels(moved, r)
            yield np.broadcast_to(levels, posterior.shape), share * posterior

    def _middle(self, parameters: Floats, r: float) -> float:
        _, scale = self._scales(float(np.exp(parameters[-1])), r)
        return float(self.design.mean(axis=0) @ parameters[:-1]) + (0.0 if self.normal else scale * np.log(np.log(2)))

    def _levels(self, parameters: Floats, r: float) -> tuple[Floats, Floats]:
        """Return the weights of each animal's possible levels, and those levels: logs of its median."""
        between, _ = self._scales(float(np.exp(parameters[-1])), r)
        return self._posterior(self._rows(parameters, r)[0])[1], self._middle(parameters, r) + between * _U

    def _error_of_the_middle(self, parameters: Floats, r: float) -> float:
        """Return the standard error of the first coefficient, by differences of the slopes."""
        step = 1e-4
        moved = step * np.eye(len(parameters))
        slopes = [self._negative(parameters + one, r)[1] - self._negative(parameters - one, r)[1] for one in moved]
        return float(np.sqrt(max(np.linalg.pinv(np.array(slopes) / (2 * step))[0, 0], 0.0)))


class _Linear:
    """The restricted log likelihood of a normal measure with a normal effect of each animal."""

    def __init__(self, values: Floats, design: Floats, label: Labels) -> None:
        self.values, self.design, self.label = values, design, label
        self.same = (label[:, None] == label).astype(np.float64)

    def _solved(self, r: float) -> tuple[Floats, Floats, Floats, float]:
        inverse: Floats = np.linalg.inv((1 - r) * np.eye(len(self.values)) + r * self.same)
        inner = self.design.T @ inverse @ self.design
        coef: Floats = np.asarray(np.linalg.solve(inner, self.design.T @ inverse @ self.values))
        rest = self.values - self.design @ coef
        variance = float(rest @ inverse @ rest) / (len(self.values) - self.design.shape[1])
        return inverse, inner, coef, variance

    def __call__(self, r: float) -> float:
        inverse, inner, _, variance = self._solved(r)
        free = len(self.values) - self.design.shape[1]
        logs = np.linalg.slogdet(inner)[1] - np.linalg.slogdet(inverse)[1]
        return float(-0.5 * (free * (np.log(2 * np.pi * variance) + 1) + logs))

    def each(self, r: float, names: pd.Index) -> tuple[pd.DataFrame, float]:
        """Return each animal's predicted mean with 95 % limits, and the population's."""
        own = np.equal.outer(np.arange(len(names)), self.label).astype(np.float64)
        middle, typical, _ = self._predicted(r, own)

        def places(r: float) -> Iterator[tuple[Floats, Floats]]:
            _, level, error = self._predicted(r, own)
            at = level[:, None] + error[:, None] * _T
            yield at, self._t_weights(at.shape)

        low, high = _limits(self, len(names), places)
        told = {"sessions": np.bincount(self.label), "typical": typical, "low": low, "high": high}
        return pd.DataFrame(told, index=names), middle

    def _predicted(self, r: float, own: Floats) -> tuple[float, Floats, Floats]:
        """Return the population's mean, each animal's predicted one and its standard error, in which the error of the
        mean counts (Henderson 1975, Biometrics 31:423)."""
        inverse, inner, coef, variance = self._solved(r)
        at = self.design.mean(axis=0)
        effect = r * own @ inverse @ (self.values - self.design @ coef)
        free = at - r * own @ inverse @ self.design
        error = r * (1 - r * np.diag(own @ inverse @ own.T)) + (free @ np.linalg.inv(inner) * free).sum(axis=1)
        return float(at @ coef), float(at @ coef) + effect, np.sqrt(variance * np.maximum(error, 0.0))

    def _t_weights(self, shape: tuple[int, ...]) -> Floats:
        df = len(self.values) - self.design.shape[1]
        weight = (1 + _T**2 / df) ** (-(df + 1) / 2)
        return np.broadcast_to(weight / weight.sum(), shape)


def _frailty_profile(rows: pd.DataFrame, covariates: Floats, label: Labels, cut: float) -> Profile:
    time, ended = rows["latency_s"].to_numpy(dtype=np.float64), rows["occurred"].to_numpy(dtype=bool)

    def log_likelihood(r: float) -> float:
        return frailty(time, ended, covariates, label, theta_of(r))[1]

    return profile(log_likelihood, cut)


def theta_of(r: float) -> float:
    """Return the variance of a gamma frailty whose logarithm has the share `r` of the variance of log hazards."""
    from scipy.optimize import brentq
    from scipy.special import polygamma

    if r <= 0:
        return 0.0
    wanted = r / (1 - r) * np.pi**2 / 6
    return float(np.exp(-brentq(lambda log_nu: polygamma(1, np.exp(log_nu)) - wanted, -12, 20)))


def frailty(time: Floats, ended: Bools, covariates: Floats, label: Labels, theta: float) -> tuple[Floats, float]:
    """Return the coefficients of Cox's model with a gamma frailty of variance `theta` for each animal, and its
    integrated log likelihood (Therneau & Grambsch 2000, section 9.5: the penalised fit is the EM's)."""
    from scipy.special import gammaln

    p, count = covariates.shape[1], int(label.max()) + 1
    animals = np.equal.outer(label, np.arange(count)).astype(np.float64)
    start, stratum = np.full(len(time), -np.inf), np.zeros(len(time), dtype=np.intp)
    if theta <= 0:
        found = cox.fit(cox.Data(start, time, ended, stratum, covariates), "breslow")
        return found.coef, found.log_likelihood
    nu = 1 / theta
    data = cox.Data(start, time, ended, stratum, np.column_stack([covariates, animals]))
    coef = np.zeros(p + count)
    for _ in range(cox.STEPS):
        now = cox.likelihood(data, coef, "breslow")
        weight = np.concatenate([np.zeros(p), nu * np.exp(coef[p:])])
        score = now.score - weight + np.concatenate([np.zeros(p), np.full(count, nu)])
        step = np.linalg.solve(now.information + np.diag(weight), score)
        coef = coef + step * min(1.0, 2.0 / max(float(np.abs(step).max()), 1e-300))
        if np.abs(step).max() < 1e-10:
            break
    value, own = cox.likelihood(data, coef, "breslow").value, np.bincount(label, weights=ended)
    more = nu * coef[p:] + nu * np.log(nu) - (own + nu) * np.log(own + nu) + gammaln(own + nu) - gammaln(nu) + own
    return coef[:p], value + float(more.sum())


def _given(
    table: pd.DataFrame, needed: list[str], by: str, adjust: Sequence[str]
) -> tuple[pd.DataFrame, Labels, pd.Index, Floats]:
    """Return the rows in which nothing is missing, each one's animal, their names, and the centred covariates."""
    adjust = columns.words(adjust, "adjust")
    table = columns.latencies(table, [by]) if "latency_s" in needed else columns.table(table, *needed, by)
    columns.table(table, *adjust)
    columns.labels(table, by, holes=True)
    table = table.assign(**{name: columns.numbers(table, name) for name in (*adjust, *needed) if name != "occurred"})
    rows = named_rows(table, *needed, by, *adjust).reset_index(drop=True)
    label, names = pd.factorize(rows[by].astype(object).rename(by), sort=True)
    names = names.rename(by)
    covariates = rows[list(adjust)].to_numpy(dtype=np.float64)
    return rows, label, names, covariates - covariates.mean(axis=0) if len(rows) else covariates


def _p(times: pd.DataFrame, by: str, permutations: int, seed: int) -> float:
    """Return whether the animals differ at all, as `compare` has it; NaN where the design can't give a p of .05."""
    found = test(times, by, permutations=permutations, seed=seed).permuted
    return found.p if found.usable else np.nan


def _often_watched(label: Labels) -> int:
    """Return how many animals have enough sessions."""
    return int((np.bincount(label, minlength=1) >= SESSIONS_AT_LEAST).sum())


def _cut(males: int) -> float:
    """Return how far the log likelihood may fall: half the square of t, and not of the normal quantile, which 8 males
    with a repeatability of .58 would be covered by in 90 %."""
    return t_quantile(0.975, males - 1) ** 2 / 2


def _models(found: dict[str, Profile]) -> pd.DataFrame:
    return pd.DataFrame([vars(one) for one in found.values()], index=pd.Index(found, name="model"))


def _called(names: pd.Index) -> str:
    """Return what the animals are called in a sentence."""
    return str(names.name) if names.name in OTHER else "animal"


def _too_few(label: Labels, names: pd.Index, p: float) -> Repeatability:
    animals = many(_often_watched(label), _called(names))
    said = (
        f"Too few to say how repeatable: {animals} with {SESSIONS_AT_LEAST} sessions or more,"
        f" and it takes {MALES_AT_LEAST}."
    )
    return _nothing(label, names, p, said)


def _inseparable(rows: pd.DataFrame, by: str) -> bool:
    return by in OTHER and OTHER[by] in rows.columns and paired(rows, by)


def _nothing(label: Labels, names: pd.Index, p: float, said: str) -> Repeatability:
    nothing = pd.DataFrame(columns=["sessions", "typical", "low", "high"], index=names[:0], dtype=float)
    return Repeatability(
        len(names),
        len(label),
        "",
        np.nan,
        np.nan,
        np.nan,
        _models({}),
        p,
        nothing,
        np.nan,
        f"{said}{_whether(names, p)}",
    )


def _whether(names: pd.Index, p: float) -> str:
    return "" if p != p else f" Whether {_called(names)}s differ at all: permutation p = {p_number(p)}."


def _sentence(best: str, found: dict[str, Profile], names: pd.Index, rows: pd.DataFrame, p: float) -> str:
    one, animal = found[best], _called(names)
    said = (
        f"Repeatability {one.value:.2f} (95 % limits {one.low:.2f} to {one.high:.2f}), {best}, {len(rows)} sessions of"
        f" {len(names)} {animal}s: that share of the variance lies between {animal}s."
    )
    rival = {"log-normal": "Weibull", "Weibull": "log-normal"}.get(best)
    if rival and abs(found[rival].value - one.value) > 0.1:
        said += f" The {rival} model says {found[rival].value:.2f}: the shape of the times matters here."
    said += f" With few {animal}s the estimate is likely too low, and 0 is common where the truth is not."
    return said + f" It does not say which {animal} is better." + _whether(names, p)
