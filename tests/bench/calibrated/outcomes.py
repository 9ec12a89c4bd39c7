"""`etholog outcome`: shares of the evening, a sac by a named day, what of the evening goes with it, and practices."""

import math
from collections.abc import Iterator
from functools import partial

import numpy as np
import pandas as pd

from etholog.analysis.begun import begun
from etholog.analysis.outcome import evening_measures, funnel
from tests.bench.calibrated.answers import SHUFFLES, Answers, Cell, Random, drawn, held, rejected
from tests.bench.simulated import Plan, mean_over

LAID, ENDED = 1 / 90, 1 / 150  # hazards a day: of a sac, of a moult or death first
COURTED = 0.8  # log odds that he courts


def _attempts(random: Random, plan: Plan) -> pd.DataFrame:
    """Return 1 to 4 attempts of each female, a male taken at random."""
    many = random.integers(1, 5, plan.females)
    female = np.repeat(np.arange(plan.females), many)
    male = random.integers(0, plan.males, len(female))
    of_female = random.normal(0, plan.female_sd, plan.females)[female]
    effect = of_female + random.normal(0, plan.male_sd, plan.males)[male]
    day = random.exponential(1 / (np.exp(of_female) * (LAID + ENDED)))
    until = random.uniform(20, 300, len(female))
    first = np.where(random.random(len(female)) < LAID / (LAID + ENDED), "sac", "moult")
    courted = random.random(len(female)) < 1 / (1 + np.exp(-COURTED - effect))
    return pd.DataFrame(
        {
            "female": [f"F-{one}" for one in female],
            "males": [f"M-{one}" for one in male],
            "end": np.where(day <= until, first, "open"),
            "days": np.minimum(day, until),
            "sac_end": "open",
            "sac_days": 1.0,
            "watched": True,
            "may_have_taken": True,
            "courted": courted,
            "evidence": np.where(courted, 1.0, 0.0),
            "insertion_s": np.exp(effect + random.normal(0, 0.7, len(female))),
            "insertions": np.nan,
            "palps": np.nan,
            "latency_s": np.nan,
        }
    )


def steps(random: Random, plan: Plan) -> Answers:
    """The share courted, and the share with a sac by the day that the table names."""
    found = funnel(_attempts(random, plan)).set_index("step")
    truth = mean_over(math.hypot(plan.male_sd, plan.female_sd), lambda effect: 1 / (1 + np.exp(-COURTED - effect)))
    at = float(found.loc["sac", "day"])
    laid = mean_over(
        plan.female_sd, lambda effect: (1 - np.exp(-at * (LAID + ENDED) * np.exp(effect))) * LAID / (LAID + ENDED)
    )
    return {
        "share of an evening step": held(*_limits(found.loc["courted"], truth)),
        "share with a sac by a day": held(*_limits(found.loc["sac"], laid)),
    }


def evenings(random: Random, plan: Plan) -> Answers:
    """What of the evening goes with a sac: nothing does here."""
    goes = evening_measures(_attempts(random, plan)).set_index("measure").loc["insertion_s"]
    return {
        "p, what of the evening goes with a sac": rejected(float(goes["p"])),
        "shift of what goes with a sac": held(*_limits(goes, 0.0)),
    }


def _limits(row: pd.Series, truth: float) -> tuple[float, float, float]:
    return float(row["low"]), truth, float(row["high"])


def practice(random: Random, sacs: int, females: int, by_female: bool, chosen: bool) -> Answers:
    """A useless practice, begun on some sacs on some day; the female decides how soon sacs are lost, and (`by_female`)
    the practice is decided for her and not for the sac; `chosen`: later seasons have it more often."""
    female = random.integers(0, females, sacs)
    of_female = np.exp(random.normal(0, 0.3, females))
    lost = random.exponential(60 / of_female[female])
    days = np.minimum(lost, 70.0)
    who = random.random(females)[female] < 0.5 if by_female else random.random(sacs) < 0.5
    if chosen:
        who = random.random(sacs) < np.linspace(0.2, 0.8, sacs)
    start = np.where(who, random.uniform(1, 60, sacs), np.nan)
    table = pd.DataFrame({"days": days, "occurred": lost < 70, "began": np.where(start < days, start, np.nan)})
    found = begun(table, shuffles=SHUFFLES, seed=drawn(random))
    of = "for a female" if by_female else "for a sac"
    return {f"p, practice, decided {of}": rejected(found.p)}


def grid() -> Iterator[Cell]:
    for females in (6, 8):
        for sd in (0.0, 0.5, 1.0):
            for female_sd in (0.0, 0.3):
                plan = Plan(6, sd, female_sd, females)
                yield str(plan), partial(steps, plan=plan)
    for plan in (Plan(6, 0.0, 0.0, 8), Plan(6, 1.0, 0.3, 8), Plan(10, 0.5, 0.3, 16), Plan(10, 1.0, 0.3, 30)):
        if plan.females > 8:
            yield str(plan), partial(steps, plan=plan)
        yield str(plan), partial(evenings, plan=plan)
    for sacs in (12, 20):
        for by_female in (False, True):
            kind = f"{sacs} sacs of 8 females" + ", decided for her" * by_female
            yield kind, partial(practice, sacs=sacs, females=8, by_female=by_female, chosen=False)
        kind = f"{sacs} sacs of 8 females, more often later"
        yield kind, partial(practice, sacs=sacs, females=8, by_female=False, chosen=True)
