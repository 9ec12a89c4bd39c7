"""95 % limits of a number that rests on males crossed with females: both vary, and both are few.

Sessions of one male resemble each other, and so do those of one female. Limits that know the males alone cover less
the more males there are, because the females do not grow in number. So the variance is two-way (Cameron, Gelbach &
Miller 2011, J. Bus. Econ. Stat. 29:238), taken over the larger of the two when the difference is negative, and
Student's t has as many degrees of freedom as the rarer sex has animals, less one. In simulated seasons such limits
hold the truth in 93 to 98 of 100 (`tests/bench/calibration.py`); with fewer animals than the least named here they
don't, or are too wide to mean anything, and none are given.

No library has two-way clustered limits of a censored median or of a ratio of sums.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from etholog.analysis.distribution import t_quantile
from etholog.analysis.share import wilson

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.integer[Any]]
Scale = Literal["log", "logit"]

FEWEST_MALES = 4
FEWEST_MALES_MEDIAN = 5
FEWEST_FEMALES = 4  # or one: the limits then hold for that female alone
_CUTS = 4_096  # ends that are tried at once, at most
_CELLS = 200_000  # numbers held at once


@dataclass(frozen=True)
class Estimate:
    """A number with its 95 % limits, on how many males and females they rest, why there are none (then both are NaN)
    and, where there are some, what they do not hold for."""

    value: float
    low: float
    high: float
    males: int
    females: int
    why: str = ""
    note: str = ""


class Crossing(NamedTuple):
    """Who met whom. `pair`: for each row the number of its male and female together. `male`, `female`: the numbers
    of the two in each pair. `females` is 0 where a female has no name."""

    pair: Ints
    male: Ints
    female: Ints
    males: int
    females: int

    def at(self, rows: Ints) -> "Crossing":
        """Return the crossing with these rows instead, which hold every pair."""
        return self._replace(pair=self.pair[rows])

    def sums(self, values: Floats) -> Floats:
        """Return the sum of the values over each pair."""
        return np.bincount(self.pair, weights=values, minlength=len(self.male)).astype(np.float64)


def crossing(male: Ints, female: Ints) -> Crossing:
    """Number the males, females and pairs of rows; a negative number has no name, and each such male is another."""
    male = np.where(male < 0, male.max(initial=-1) + 1 + np.arange(len(male)), male).astype(np.int64)
    wide = int(female.max(initial=-1)) + 2
    pairs, pair = np.unique(male * wide + female + 1, return_inverse=True)
    males, own = np.unique(pairs // wide, return_inverse=True)
    females, hers = np.unique(pairs % wide, return_inverse=True)
    return Crossing(pair, own, hers, len(males), 0 if (females == 0).any() else len(females))


def ratio(above: Floats, below: Floats, male: Ints, female: Ints, scale: Scale) -> Estimate:
    """Return sum(above) / sum(below) over rows (sessions), with limits on a logarithmic scale (rates) or that of the
    log odds (shares): linearised, two-way.

    For rates, and where each male has mostly one female, the males' part is by leverage (CR2): one male with most of
    the events hides how much males differ.
    """
    above, below, who = _rows(above, below, male, female)
    total = float(below.sum())
    if not total:
        return Estimate(np.nan, np.nan, np.nan, who.males, who.females, "nothing was watched")
    value = float(above.sum()) / total
    found = Estimate(value, np.nan, np.nan, who.males, who.females, _too_few(who, FEWEST_MALES))
    if found.why:
        return found
    if not _on_scale(value, scale):
        return replace(found, why="it never came" if value <= 0 else "it took all the time")
    influence = who.sums((above - value * below) / total)
    variance, df = float(_variance(influence, who)), _df(who)
    apart = inseparable(who)
    if scale == "log" or (apart and who.females > 1):
        weight = np.bincount(who.male[who.pair], weights=below) / total
        variance, df = _leveraged(influence, weight, who)
    return _limits(found, scale, float(np.sqrt(variance)), df, _note(who, apart))


def typical(above: Floats, below: Floats, male: Ints, female: Ints) -> Estimate:
    """Return the rate of the typical male, the geometric mean of males' own rates (half an event is added to each),
    with limits from their spread and from the females' part of the variance."""
    above, below, who = _rows(above, below, male, female)
    of = who.male[who.pair]
    total = np.bincount(of, weights=below)
    rate = (np.bincount(of, weights=above) + 0.5) / total
    value = float(np.exp(np.log(rate).mean())) if len(rate) else np.nan
    found = Estimate(value, np.nan, np.nan, who.males, who.females, _too_few(who, FEWEST_MALES))
    if found.why:
        return found
    if not above.any():
        return replace(found, why="it never came")
    influence = who.sums((above - rate[of] * below) / total[of] / rate[of] / who.males)
    females = squares(influence, who.female) - squares(influence, None) if who.females > 1 else 0.0
    variance = float(np.log(rate).var(ddof=1)) / who.males + max(0.0, float(females))
    return _limits(found, "log", value * float(np.sqrt(variance)), _df(who), _note(who, inseparable(who)))


def design_effect(came: Bools, male: Ints, female: Ints) -> float:
    """Return how many times as much the share of rows that came varies as that of independent rows would, because
    rows of one male, and of one female, resemble each other; never under 1 (Kish 1965)."""
    share, n = float(came.mean()) if len(came) else np.nan, len(came)
    if not 0 < share < 1:
        return 1.0
    who = crossing(male, female)
    return max(1.0, float(_variance(who.sums((came - share) / n), who)) / (share * (1 - share) / n))


def share_limits(came: Bools, male: Ints, female: Ints) -> tuple[float, float]:
    """Return Wilson's 95 % limits (1927) of the share of rows that came, of as many independent rows as these are
    worth (`design_effect`); NaN where there is none."""
    effect = design_effect(came, male, female)
    return wilson(float(came.sum()) / effect, len(came) / effect)


def median(time: Floats, ended: Bools, who: Crossing) -> Estimate:
    """Return the median of right-censored times (Kaplan & Meier 1958), males weighed alike: of a bout of a male taken
    at random. Its limits are the times at which a share of one half is not rejected (Brookmeyer & Crowley 1982, on
    the scale of the log odds), with the two-way variance of the curve; NaN where one is not reached.

    An end comes before a censoring at the same time. Beyond some 4,000 distinct ends the limits are looked for as
    though what is not rejected were one stretch.
    """
    bouts = np.bincount(who.male, weights=np.bincount(who.pair, minlength=len(who.male)))
    curve = _Curve(time, ended, (1 / bouts)[who.male], who)
    found = Estimate(curve.median(), np.nan, np.nan, who.males, who.females, _too_few(who, FEWEST_MALES_MEDIAN))
    if found.why:
        return found
    if not len(curve.at):
        return replace(found, why="no end was seen")
    inside = curve.not_rejected(t_quantile(0.975, _df(who)))
    low = curve.first(lambda at: inside(at) | (curve.share[at] < 0.5))
    high = curve.first(lambda at: ~inside(at) & (curve.share[at] < 0.5))
    if low == high:
        return replace(found, why="all are alike")
    return replace(found, low=low, high=high, note=_note(who, False))


class _Curve:
    """The weighed curve at each distinct end: `at` (s), `share` still going on just after, and sums by pair."""

    def __init__(self, time: Floats, ended: Bools, weight: Floats, who: Crossing) -> None:
        order = np.argsort(time, kind="stable")
        self._time, self._ended, self._pair = time[order], ended[order], who.pair[order]
        self._weight = weight[self._pair]
        first = np.ones(len(order), dtype=bool)
        np.not_equal(self._time[1:], self._time[:-1], out=first[1:])
        start = np.flatnonzero(first)
        before = np.concatenate([[0.0], np.cumsum(self._weight)])
        risk = before[-1] - before[start]
        ends = np.add.reduceat(self._weight * self._ended, start) if len(start) else np.zeros(0)
        share = np.cumprod(1 - ends / risk)
        # What rounding leaves after the last end of all would be a share that goes on for ever.
        share[share < 1e-9] = 0.0
        self._variance_sum = np.cumsum(ends / risk**2)
        some = np.flatnonzero(ends > 0)
        self.at, self.share = self._time[start[some]], share[some]
        self._last = np.append(start, len(order))[some + 1]  # rows up to and with each end
        self._some, self._place, self._risk = some, np.cumsum(first) - 1, risk
        self._who = who

    def median(self) -> float:
        """Return the first time at which half is left or less; where exactly half is, the middle of that flat."""
        low = np.flatnonzero(self.share <= 0.5 + 1e-9)
        if not len(low):
            return np.nan
        below = np.flatnonzero(self.share < self.share[low[0]] - 1e-9)
        if abs(self.share[low[0]] - 0.5) < 1e-9 and len(below):
            return float(self.at[low[0]] + self.at[below[0]]) / 2
        return float(self.at[low[0]])

    def not_rejected(self, critical: float) -> Callable[[Ints], Bools]:
        """Return the question whether one half is not rejected at ends (their numbers, in order)."""

        def inside(at: Ints) -> Bools:
            with np.errstate(divide="ignore", invalid="ignore"):
                se = np.sqrt(_variance(self._influence(at), self._who)) / (1 - self.share[at])
                odds = np.log(self.share[at] / (1 - self.share[at]))
            return np.asarray(np.abs(odds) <= critical * se)

        return inside

    def first(self, holds: Callable[[Ints], Bools]) -> float:
        """Return the first end at which it holds; NaN where it does at none."""
        low, high = 0, len(self.at)
        cuts = min(_CUTS, max(256, _CELLS // len(self._who.male)))
        while high - low > 0:
            tried = np.unique(np.linspace(low, high - 1, min(cuts, high - low)).round().astype(np.intp))
            found = np.flatnonzero(holds(tried))
            if not len(found):
                return np.nan
            low, high = int(tried[found[0] - 1]) + 1 if found[0] else low, int(tried[found[0]])
            if not found[0] or low == high:
                return float(self.at[high])
        return np.nan

    def _influence(self, at: Ints) -> Floats:
        """Return (ends, pairs): the influence of each pair on minus the log of the share at these ends."""
        rows = slice(0, int(self._last[at[-1]]))
        pairs = len(self._who.male)
        place, weight, pair = self._place[rows], self._weight[rows], self._pair[rows]
        own = weight * (self._ended[rows] / self._risk[place] - self._variance_sum[place])
        cell = np.searchsorted(self._last[at] - 1, np.arange(rows.stop)) * pairs + pair
        shape = (len(at), pairs)
        done, gone = (
            np.bincount(cell, weights=column, minlength=shape[0] * pairs).reshape(shape).cumsum(axis=0)
            for column in (own, weight)
        )
        left = np.bincount(self._pair, weights=self._weight, minlength=pairs) - gone
        return np.asarray(done - self._variance_sum[self._some[at], None] * left, dtype=np.float64)


def inseparable(who: Crossing) -> bool:
    """Return whether males and females can't be told apart: at least half of the males with more than one row have
    more than half of their rows with one and the same female."""
    rows = np.bincount(who.pair, minlength=len(who.male))
    most, total = np.zeros(who.males, dtype=np.int64), np.bincount(who.male, weights=rows)
    np.maximum.at(most, who.male, rows)
    often = total > 1
    return bool(often.any() and who.females > 1 and (most[often] > total[often] / 2).mean() >= 0.5)


def _rows(above: Floats, below: Floats, male: Ints, female: Ints) -> tuple[Floats, Floats, Crossing]:
    some = below > 0
    return above[some].astype(float), below[some].astype(float), crossing(male[some], female[some])


def _too_few(who: Crossing, males: int) -> str:
    if who.males == 1:
        return "one male"
    if who.males < males:
        return f"{who.males} males, and it takes {males}"
    return f"{who.females} females, and it takes {FEWEST_FEMALES}" if 1 < who.females < FEWEST_FEMALES else ""


def _note(who: Crossing, apart: bool) -> str:
    if who.females <= 1:
        return "for these females only"
    return "males and females cannot be told apart" if apart else ""


def _df(who: Crossing) -> float:
    return who.males - 1 if who.females <= 1 else min(who.males, who.females) - 1


def squares(influence: Floats, cluster: Ints | None) -> Floats:
    """Return g / (g - 1) times the sum of squares of g clusters' sums, from (..., pairs); no cluster: each pair."""
    if cluster is not None:
        order = np.argsort(cluster, kind="stable")
        starts = np.flatnonzero(np.diff(cluster[order], prepend=-1))
        influence = np.add.reduceat(influence[..., order], starts, axis=-1)
    many = influence.shape[-1]
    return np.asarray((influence**2).sum(axis=-1) * many / max(1, many - 1), dtype=np.float64)


def _variance(influence: Floats, who: Crossing) -> Floats:
    males = squares(influence, who.male)
    if who.females <= 1:
        return males
    return np.maximum(males, males + squares(influence, who.female) - squares(influence, None))


def _leveraged(influence: Floats, weight: Floats, who: Crossing) -> tuple[float, float]:
    """Return the variance and the degrees of freedom, the males' part by leverage, with Satterthwaite's degrees of
    freedom (CR2; Bell & McCaffrey 2002, Surv. Methodol. 28:169)."""
    by_male = np.bincount(who.male, weights=influence)
    males = float((by_male**2 / (1 - weight)).sum())
    # With C = I - weight 1', the traces of C' D C W and of its square, D = 1 / (1 - weight) and W = weight^2 diagonal,
    # summed without the matrices: off the diagonal C' D C is s - u_i - u_j.
    one, q = 1 / (1 - weight), weight**2
    u, s = one * weight, float((weight**2 * one).sum())
    diagonal, off = one + s - 2 * u, s - 2 * u
    total, first, second = float(q.sum()), float((q * u).sum()), float((q * u**2).sum())
    square = (s * total) ** 2 - 4 * s * total * first + 2 * total * second + 2 * first**2
    square += float((q**2 * (diagonal**2 - off**2)).sum())
    satterthwaite = float((q * diagonal).sum()) ** 2 / square
    if who.females <= 1:
        return males, satterthwaite
    females = float(squares(influence, who.female) - squares(influence, None))
    return max(males, males + females), min(satterthwaite, who.females - 1)


def _on_scale(value: float, scale: Scale) -> bool:
    return value > 0 and (scale == "log" or value < 1)


def _limits(found: Estimate, scale: Scale, se: float, df: float, note: str) -> Estimate:
    if not se > 0:
        return replace(found, why="all are alike")
    value = found.value
    if scale == "log":
        factor = np.exp(t_quantile(0.975, df) * se / value)
        return replace(found, low=value / float(factor), high=value * float(factor), note=note)
    odds, half = np.log(value / (1 - value)), t_quantile(0.975, df) * se / (value * (1 - value))
    low, high = (float(1 / (1 + np.exp(-end))) for end in (odds - half, odds + half))
    return replace(found, low=low, high=high, note=note)
