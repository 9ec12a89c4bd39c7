"""Seasons simulated as keepers have them: who met whom, how animals differ, how long each session was watched.

5 to 10 males with 2 to 5 sessions each, crossed with 6 to 8 females, or most of a male's sessions with 'his'; males
differ with a standard deviation of 0, .5 or 1 on the logarithmic scale, females of 0 or .3; watching is unequal, bouts
are cut, quick males have more bouts.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Random = np.random.Generator


@dataclass(frozen=True)
class Plan:
    """A kind of season."""

    males: int = 6
    male_sd: float = 0.5
    female_sd: float = 0.3
    females: int = 7
    sessions: tuple[int, int] = (2, 5)
    own: bool = False  # 70 % of a male's sessions are with 'his' female
    quick: bool = False  # quick males have more bouts
    cut: float = 0.15  # share of bouts that are cut

    def __str__(self) -> str:
        words = f"{self.males} males, sd {self.male_sd:g}; females {self.female_sd:g}"
        if self.sessions != (2, 5):
            words += f"; {self.sessions[0]} to {self.sessions[1]} sessions"
        words += f"; {self.females} females" * (self.females != 7)
        words += f"; {self.cut:.0%} cut" * (self.cut != 0.15)
        return words + "; his female" * self.own + "; quick have more" * self.quick


@dataclass(frozen=True)
class Sessions:
    """Who met whom, and the animals' effects on the logarithmic scale."""

    male: Ints
    female: Ints
    of_male: Floats
    of_female: Floats

    def __len__(self) -> int:
        return len(self.male)

    @property
    def effect(self) -> Floats:
        """Of the male and the female together."""
        return self.of_male + self.of_female


def sessions(random: Random, plan: Plan) -> Sessions:
    many = random.integers(plan.sessions[0], plan.sessions[1] + 1, plan.males)
    male = np.repeat(np.arange(plan.males), many)
    female = random.integers(0, plan.females, len(male))
    if plan.own:
        female = np.where(random.random(len(male)) < 0.7, male % plan.females, female)
    of_male, of_female = random.normal(0, plan.male_sd, plan.males), random.normal(0, plan.female_sd, plan.females)
    return Sessions(male, female, of_male[male], of_female[female])


def nth(male: Ints) -> Floats:
    """Return the how manieth of its male each row is, from 1; rows lie male by male."""
    starts = np.flatnonzero(np.diff(male, prepend=-1))
    return (np.arange(len(male)) - np.repeat(starts, np.diff(np.append(starts, len(male)))) + 1).astype(np.float64)


def watched(random: Random, count: int) -> Floats:
    """Return how long sessions were watched, in means of a typical latency: up to 12 times as long as the shortest."""
    return np.exp(random.uniform(-0.5, 2.0, count))


def latencies(random: Random, plan: Plan, effect: float = 0.0) -> tuple[pd.DataFrame, Sessions]:
    """Return exponential latencies, watched for unequal times; `effect`: of a covariate that varies by session."""
    met = sessions(random, plan)
    level = random.normal(0, 1, plan.males)[met.male]
    heat = math.sqrt(0.6) * level + math.sqrt(0.4) * random.normal(0, 1, len(met))
    time = random.exponential(np.exp(met.effect + effect * heat))
    until = watched(random, len(met))
    table = pd.DataFrame(
        {
            "latency_s": np.maximum(1e-3, np.minimum(time, until)) * 100,
            "occurred": time <= until,
            "male": met.male,
            "female": met.female,
            "heat": heat,
            "damp": 0.5 * heat + random.normal(0, 1, len(met)),
            "male_session": nth(met.male),
            "species": np.where(met.male < plan.males / 2, "one", "other"),
            "kind": np.array(["a", "b", "c"])[met.male * 3 // plan.males],
            "light": np.where(random.random(len(met)) < 0.5, "red", "white"),
        }
    )
    return table, met


@lru_cache
def _nodes() -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    return nodes, weights / weights.sum()


def mean_over(spread: float, function: Callable[[Floats], Floats]) -> float:
    """Return the mean of function(effect) over normal effects of this standard deviation."""
    nodes, weights = _nodes()
    return float(weights @ function(spread * nodes))


def still_without(spread: float, at: float) -> float:
    """Return the share of exponential latencies over `at`, of animals that differ by `spread`."""
    return mean_over(spread, lambda effect: np.exp(-at * np.exp(-effect)))


@lru_cache
def quantile(spread: float, share: float = 0.5) -> float:
    """Return the time by which the share of such latencies is over."""
    from scipy.optimize import brentq

    return float(brentq(lambda at: still_without(spread, at) - (1 - share), 1e-9, 1e4))
