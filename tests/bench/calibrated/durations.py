"""`etholog duration`: medians, rates, shares, the balance of the palps, and comparisons of them."""

import math
from collections.abc import Iterator
from functools import partial

import numpy as np
import pandas as pd

from etholog.analysis import crossed
from etholog.analysis.contrast import Measure, compared
from etholog.analysis.crossed import crossing
from tests.bench.calibrated.answers import SHUFFLES, Answers, Cell, Random, drawn, held, rejected
from tests.bench.simulated import Floats, Ints, Plan, Sessions, mean_over, sessions

NOISE = 0.3  # standard deviation of sessions, on the logarithmic scale


def median_bout(random: Random, plan: Plan) -> Answers:
    """The median of a bout, which is 1 here for a male taken at random."""
    met = sessions(random, plan)
    length = met.effect + random.normal(0, NOISE, len(met))
    bouts = np.clip(random.poisson(7 * np.exp(-met.of_male) if plan.quick else 7, len(met)), 1, 15)
    row = np.repeat(np.arange(len(met)), bouts)
    time = np.exp(length[row] + random.normal(0, 0.7, len(row)))
    # A cut bout is as long as another one, if that is shorter: censoring that knows nothing of the length.
    cut_at = np.where(random.random(len(row)) < 2 * plan.cut, np.exp(random.normal(0, 1.0, len(row))), np.inf)
    found = crossed.median(np.minimum(time, cut_at), time <= cut_at, crossing(met.male[row], met.female[row]))
    return {"median bout": held(found.low, 1.0, found.high)}


def rates(random: Random, plan: Plan) -> Answers:
    """The pooled rate, and that of the typical male."""
    met = sessions(random, plan)
    watched, count = _counts(random, met)
    typical = 4 * math.exp((plan.female_sd**2 + NOISE**2) / 2)
    one = crossed.ratio(count, watched, met.male, met.female, "log")
    other = crossed.typical(count, watched, met.male, met.female)
    return {
        "rate, pooled": held(one.low, typical * math.exp(plan.male_sd**2 / 2), one.high),
        "rate, typical male": held(other.low, typical, other.high),
    }


def shares(random: Random, plan: Plan) -> Answers:
    """The share of the time watched."""
    met = sessions(random, plan)
    watched = random.uniform(0.3, 3.0, len(met))
    odds = -1 + met.effect + random.normal(0, NOISE, len(met))
    found = crossed.ratio(watched / (1 + np.exp(-odds)), watched, met.male, met.female, "logit")
    return {"share of time": held(found.low, _mean_share(plan, -1), found.high)}


def palps(random: Random, plan: Plan) -> Answers:
    """The share of the left palp, of insertions; males have their preference."""
    met = sessions(random, plan)
    odds = met.effect + random.normal(0, NOISE, len(met))
    insertions = random.integers(1, 8, len(met))
    left = random.binomial(insertions, 1 / (1 + np.exp(-odds)))
    found = crossed.ratio(left.astype(float), insertions.astype(float), met.male, met.female, "logit")
    return {"share of the left palp": held(found.low, _mean_share(plan, 0), found.high)}


def two_rates(random: Random, plan: Plan, each: tuple[int, int], apart: float) -> Answers:
    """`--compare` of two males: the ratio of their rates, shares and bouts, and p where they are alike."""
    second = np.repeat([0, 1], each)
    of_female = random.normal(0, plan.female_sd, len(second))
    met = Sessions(second, np.arange(len(second)), np.zeros(len(second)), of_female)
    return _compared(random, met, second, "male", "two males", apart, within="none")


def kinds(random: Random, plan: Plan, first: int, apart: float) -> Answers:
    """`--compare` of two kinds of males, `first` of them of one: the ratio of the typical males, and p where the kinds
    are alike."""
    met = sessions(random, plan)
    second = (met.male >= first).astype(np.intp)
    return _compared(random, met, second, "kind", "two kinds", apart)


def conditions(random: Random, plan: Plan, apart: float) -> Answers:
    """`--compare` of two conditions that change from session to session."""
    met = sessions(random, plan)
    second = (random.random(len(met)) < 0.5).astype(np.intp)
    return _compared(random, met, second, "light", "two conditions", apart)


def males(random: Random, plan: Plan) -> Answers:
    """`--compare rate --by male`, males alike: p of all, and whether any two differ after Holm."""
    met = sessions(random, plan)
    frame = pd.DataFrame({"male": met.male, "female": met.female})
    above, below = _measures(random, met)["rate"]
    names = list(range(plan.males))
    found = compared(frame, above, below, met.male, names, "male", "rate", permutations=SHUFFLES, seed=drawn(random))
    least = float(found.pairs["p_holm"].min())
    return {"p, males' rate": rejected(found.p), "p, pairs of males' rate, any after Holm": rejected(least)}


def _compared(
    random: Random, met: Sessions, second: Ints, by: str, of: str, apart: float, within: str | None = None
) -> Answers:
    """Compare what differs `apart`-fold between the two groups, and ask whether the limits hold it."""
    frame = pd.DataFrame({"male": met.male, "female": met.female, by: second})
    answers: dict[str, float | None] = {}
    if len(np.unique(second)) < 2:
        return answers
    shifted = Sessions(met.male, met.female, met.of_male + math.log(apart) * second, met.of_female)
    for measure, (above, below) in _measures(random, shifted).items():
        found = compared(
            frame, above, below, second, [0, 1], by, measure, within=within, permutations=SHUFFLES,
            seed=drawn(random),
        )  # fmt: skip
        answers[f"ratio of {of}, {measure}"] = held(
            float(found.pairs["low"].iloc[0]), apart, float(found.pairs["high"].iloc[0])
        )
        if apart == 1:
            answers[f"p, {of}' {measure}"] = rejected(found.p)
    return answers


def _counts(random: Random, met: Sessions) -> tuple[Floats, Floats]:
    watched = random.uniform(0.3, 3.0, len(met))
    rate = 4 * np.exp(met.effect + random.normal(0, NOISE, len(met)))
    return watched, random.poisson(rate * watched).astype(float)


def _measures(random: Random, met: Sessions) -> dict[Measure, tuple[Floats, Floats]]:
    """Return, above and below the line of the ratio, what differs between sessions by their effects."""
    watched, count = _counts(random, met)
    share = 0.05 * np.exp(met.effect + random.normal(0, NOISE, len(met)))  # rare enough to be as large as it likes
    bouts = np.maximum(1, random.poisson(5, len(met)))
    length = random.gamma(bouts, 1.0) * np.exp(met.effect + random.normal(0, NOISE, len(met)))
    return {"rate": (count, watched), "share": (share * watched, watched), "bout": (length, bouts.astype(float))}


def _mean_share(plan: Plan, odds: float) -> float:
    spread = math.sqrt(plan.male_sd**2 + plan.female_sd**2 + NOISE**2)
    return mean_over(spread, lambda effect: 1 / (1 + np.exp(-odds - effect)))


def grid() -> Iterator[Cell]:
    works = (median_bout, rates, shares, palps)
    for males_ in (5, 6, 8, 10):
        for sd in (0.0, 0.5, 1.0):
            for female_sd in (0.0, 0.3):
                plan = Plan(males_, sd, female_sd)
                for work in works:
                    yield str(plan), partial(work, plan=plan)
    for males_ in (5, 8, 10):
        for sd in (0.0, 0.5, 1.0):
            quick, cut, own, few = (
                Plan(males_, sd, quick=True), Plan(males_, sd, cut=0.35), Plan(males_, sd, own=True),
                Plan(males_, sd, females=6),
            )  # fmt: skip
            yield str(quick), partial(median_bout, plan=quick)
            yield str(cut), partial(median_bout, plan=cut)
            for work in works:
                yield str(own), partial(work, plan=own)
                yield str(few), partial(work, plan=few)
    for each in ((4, 4), (4, 6), (5, 5), (6, 6)):
        for apart in (1.0, 4.5):
            kind = f"{each[0]} v {each[1]} sessions, {apart:g}-fold"
            yield kind, partial(two_rates, plan=Plan(), each=each, apart=apart)
    for first, last in ((3, 3), (3, 4), (4, 4), (3, 5), (5, 5), (3, 7)):
        for sd, apart in ((0.0, 1.0), (0.5, 2.0), (1.0, 1.0)):
            plan = Plan(first + last, sd)
            yield f"{first} v {last}, {plan}; {apart:g}-fold", partial(kinds, plan=plan, first=first, apart=apart)
    for males_ in (5, 8, 10):
        for sd, apart in ((0.0, 1.0), (1.0, 1.0), (0.5, 2.0)):
            plan = Plan(males_, sd)
            yield f"{plan}; {apart:g}-fold", partial(conditions, plan=plan, apart=apart)
    for plan in (Plan(5, 0.0), Plan(8, 0.0), Plan(8, 0.0, own=True)):
        yield str(plan), partial(males, plan=plan)
