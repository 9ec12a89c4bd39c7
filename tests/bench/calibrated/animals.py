"""`etholog repeatability` and `etholog power`: the limits of a repeatability, what is expected of each male, and how
often a planned test is 'found' where nothing differs."""

import math
from collections.abc import Iterator
from functools import partial

import numpy as np
import pandas as pd

from etholog.analysis.power import power
from etholog.analysis.repeatability import mixed, repeatability
from tests.bench.calibrated.answers import Answers, Cell, Random, drawn, held
from tests.bench.simulated import Plan, quantile, sessions, watched

LOG_NORMAL_SD = 0.7


def latent(random: Random, plan: Plan, exponential: bool) -> Answers:
    """The repeatability of a latency, and each male's own level."""
    met = sessions(random, plan)
    noise = np.log(random.exponential(1, len(met))) if exponential else random.normal(0, LOG_NORMAL_SD, len(met))
    time, until = np.exp(met.effect + noise), 1.5 * watched(random, len(met))
    table = pd.DataFrame(
        {"latency_s": 100 * np.minimum(time, until), "occurred": time <= until, "male": met.male, "female": met.female}
    )
    rest = plan.female_sd**2 + (math.pi**2 / 6 if exponential else LOG_NORMAL_SD**2)
    found = repeatability(table, permutations=19, seed=drawn(random))
    answers = {"repeatability of a latency": held(found.low, plan.male_sd**2 / (plan.male_sd**2 + rest), found.high)}
    if len(found.each):
        own = np.array([met.of_male[met.male == male][0] for male in found.each.index])
        truth = 100 * np.exp(own) * (quantile(plan.female_sd) if exponential else 1.0)
        answers["level of each male, latency"] = _share(found.each, truth)
    return answers


def seconds(random: Random, plan: Plan) -> Answers:
    """`--total`: the repeatability of what is not censored, and each male's own level."""
    met = sessions(random, plan)
    table = pd.DataFrame({"total_s": 10 + met.effect + random.normal(0, 0.7, len(met)), "male": met.male})
    truth = plan.male_sd**2 / (plan.male_sd**2 + plan.female_sd**2 + 0.49)
    found = mixed(table.assign(female=met.female), "total_s", permutations=19, seed=drawn(random))
    answers = {"repeatability of seconds in all": held(found.low, truth, found.high)}
    if len(found.each):
        own = np.array([met.of_male[met.male == male][0] for male in found.each.index])
        answers["level of each male, seconds"] = _share(found.each, 10 + own)
    return answers


def _share(each: pd.DataFrame, truth: np.ndarray) -> float:
    return float(((each["low"] <= truth) & (truth <= each["high"])).mean())


def planned(random: Random, males: int, each: int, like: float) -> Answers:
    """The share of planned seasons in which a latency 'once as long' shows: the level, not the power."""
    found = power(
        median_s=60, ratio=1 + 1e-9, males=[males], sessions=[each], like=[like], seasons=50, seed=drawn(random)
    ).iloc[0]  # fmt: skip
    answers = {"p, power, session to session": found["within"], "p, power, kinds of males": found["between"]}
    least = {"p, power, session to session": "within_smallest_p", "p, power, kinds of males": "between_smallest_p"}
    return {name: float(value) if found[least[name]] <= 0.05 else None for name, value in answers.items()}


def grid() -> Iterator[Cell]:
    for males, many in ((8, (3, 5)), (10, (3, 5))):
        for sd in (0.0, 0.5, 1.0):
            plan = Plan(males, sd, sessions=many)
            for exponential in (True, False) if sd else (True,):
                of = "exponential" if exponential else "log-normal"
                yield f"{of}, {plan}", partial(latent, plan=plan, exponential=exponential)
            yield str(plan), partial(seconds, plan=plan)
    for males, each, like in ((6, 4, 0.1), (8, 4, 0.4), (10, 2, 0.4)):
        kind = f"{males} males, {each} sessions each, repeatability {like:g}"
        yield kind, partial(planned, males=males, each=each, like=like)
