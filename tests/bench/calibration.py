"""How often 95 % limits hold the truth, and how often p is under .05 where nothing differs: `python -m
tests.bench.calibration [--runs 1000] [--only WORD]`.

Seasons are simulated as keepers have them: 5 to 10 males with 2 to 5 sessions each, crossed with 6 to 8 females, or
most of a male's sessions with 'his'; males differ with a standard deviation of 0, .5 or 1 on the logarithmic scale,
females of 0 or .3; watching is unequal, bouts are cut, quick males have more bouts. Each cell simulates one kind of
season over and over, asks the function that a command asks, and says for each limit whether it held the truth, for each
p whether it was at most .05, or None where nothing was printed. The simulation error (one standard error) stands beside
each share. The grid with 1,000 runs takes about an hour.
"""

import argparse
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import crossed
from etholog.analysis.compare import compare
from etholog.analysis.contrast import contrast_p, ratio_of_ratios
from etholog.analysis.crossed import crossing
from etholog.analysis.hazard import hazards

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Random = np.random.Generator
Answers = dict[str, bool | None]  # of each statistic: held the truth, or p at most .05; None: nothing was printed

COVERED, REJECTED = "limits", "p"


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


def sessions(random: Random, plan: Plan) -> Sessions:
    many = random.integers(plan.sessions[0], plan.sessions[1] + 1, plan.males)
    male = np.repeat(np.arange(plan.males), many)
    female = random.integers(0, plan.females, len(male))
    if plan.own:
        female = np.where(random.random(len(male)) < 0.7, male % plan.females, female)
    of_male, of_female = random.normal(0, plan.male_sd, plan.males), random.normal(0, plan.female_sd, plan.females)
    return Sessions(male, female, of_male[male], of_female[female])


def latencies(random: Random, plan: Plan, effect: float = 0.0) -> tuple[pd.DataFrame, Sessions]:
    """Return exponential latencies, watched for unequal times; `effect`: of a covariate that varies by session."""
    met = sessions(random, plan)
    level = random.normal(0, 1, plan.males)[met.male]
    heat = math.sqrt(0.6) * level + math.sqrt(0.4) * random.normal(0, 1, len(met))
    time = random.exponential(np.exp(met.of_male + met.of_female + effect * heat))
    watched = np.exp(random.uniform(-0.5, 2.0, len(met)))
    table = pd.DataFrame(
        {
            "latency_s": np.maximum(1e-3, np.minimum(time, watched)) * 100,
            "occurred": time <= watched,
            "male": met.male,
            "female": met.female,
            "heat": heat,
            "species": np.where(met.male < plan.males / 2, "one", "other"),
        }
    )
    return table, met


def held(low: float, truth: float, high: float) -> bool | None:
    """Return whether limits hold the truth; an end that is not reached holds all on its side."""
    if math.isnan(low) and math.isnan(high):
        return None
    return bool((math.isnan(low) or low <= truth) and (math.isnan(high) or truth <= high))


def rejected(p: float) -> bool | None:
    return None if math.isnan(p) else bool(p <= 0.05)


# ---------------------------------------------------------------- the cells


def median_bout(random: Random, plan: Plan) -> Answers:
    """`duration`: the median of a bout, which is 1 here for a male taken at random."""
    met = sessions(random, plan)
    length = met.of_male + met.of_female + random.normal(0, 0.3, len(met))
    bouts = np.clip(random.poisson(7 * np.exp(-met.of_male) if plan.quick else 7, len(met)), 1, 15)
    row = np.repeat(np.arange(len(met)), bouts)
    time = np.exp(length[row] + random.normal(0, 0.7, len(row)))
    # A cut bout is as long as another one, if that is shorter: censoring that knows nothing of the length.
    cut_at = np.where(random.random(len(row)) < 2 * plan.cut, np.exp(random.normal(0, 1.0, len(row))), np.inf)
    found = crossed.median(np.minimum(time, cut_at), time <= cut_at, crossing(met.male[row], met.female[row]))
    return {"median bout": held(found.low, 1.0, found.high)}


def rates(random: Random, plan: Plan) -> Answers:
    """`duration`: the pooled rate, and that of the typical male."""
    met = sessions(random, plan)
    watched = random.uniform(0.3, 3.0, len(met))
    noise = random.normal(0, 0.3, len(met))
    count = random.poisson(4 * watched * np.exp(met.of_male + met.of_female + noise)).astype(float)
    typical = 4 * math.exp((plan.female_sd**2 + 0.09) / 2)
    one = crossed.ratio(count, watched, met.male, met.female, "log")
    other = crossed.typical(count, watched, met.male, met.female)
    return {
        "rate, pooled": held(one.low, typical * math.exp(plan.male_sd**2 / 2), one.high),
        "rate, typical male": held(other.low, typical, other.high),
    }


def shares(random: Random, plan: Plan) -> Answers:
    """`duration`: the share of the time watched; `balance` asks the same of bouts."""
    met = sessions(random, plan)
    watched = random.uniform(0.3, 3.0, len(met))
    odds = -1 + met.of_male + met.of_female + random.normal(0, 0.3, len(met))
    found = crossed.ratio(watched / (1 + np.exp(-odds)), watched, met.male, met.female, "logit")
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    spread = math.sqrt(plan.male_sd**2 + plan.female_sd**2 + 0.09)
    truth = float((weights / (1 + np.exp(1 - spread * nodes))).sum() / weights.sum())
    return {"share of time": held(found.low, truth, found.high)}


def males_differ(random: Random, plan: Plan) -> Answers:
    """`latency --by male`: p, where males are alike."""
    table, _ = latencies(random, plan)
    found = compare(table, "male", permutations=199, seed=int(random.integers(1 << 30)))
    p = found.permutation_p if found.smallest_p <= 0.05 else math.nan
    return {"males differ": rejected(p)}


def species_differ(random: Random, plan: Plan) -> Answers:
    """`latency --by species`: p, where species are alike and males are not."""
    table, _ = latencies(random, plan)
    found = compare(table, "species", permutations=199, seed=int(random.integers(1 << 30)))
    return {"species differ": rejected(found.permutation_p if found.smallest_p <= 0.05 else math.nan)}


def covariate(random: Random, plan: Plan) -> Answers:
    """`latency --cox`: the p of what varies by session, such as temperature."""
    table, _ = latencies(random, plan)
    found = hazards(table, "heat", permutations=199, seed=int(random.integers(1 << 30)))
    return {"covariate (Cox)": rejected(float(found.table.loc["heat", "p"]))}


def two_males(random: Random, plan: Plan, sessions_each: int, apart: float) -> Answers:
    """`latency --by male`, two males: sooner, times as fast, means within a named time, and p where they are alike."""
    n = sessions_each
    scale = np.repeat([1.0, apart], n) * np.exp(random.normal(0, plan.female_sd, 2 * n))
    time, watched = random.exponential(scale), random.uniform(1.0, 4.0, 2 * n)
    table = pd.DataFrame(
        {"latency_s": np.minimum(time, watched), "occurred": time <= watched, "male": np.repeat(["a", "b"], n)}
    )
    found = compare(table, "male", permutations=999, horizon_s=1.0, seed=1)
    if not len(found.pairs):
        return {}
    pair = found.pairs.iloc[0]
    truth_sooner, mean = _truths(apart, plan.female_sd)
    answers = {
        "first sooner": held(pair["first_sooner_low"], truth_sooner, pair["first_sooner_high"]),
        "times as fast": held(pair["times_as_fast_low"], apart, pair["times_as_fast_high"]),
        "mean within N": held(pair["difference_low_s"], mean, pair["difference_high_s"]),
    }
    return answers | ({"two males differ": rejected(pair["p"])} if apart == 1 else {})


def _truths(apart: float, sd: float) -> tuple[float, float]:
    """Return the chance that the first is sooner, of pairs whose order is known, and the difference of means within 1,
    by a large fixed simulation."""
    if (apart, sd) not in _TRUTHS:
        random = np.random.default_rng(0)
        a, b = (random.exponential(c * np.exp(random.normal(0, sd, 400_000))) for c in (1.0, apart))
        cut_a, cut_b = (random.uniform(1.0, 4.0, 400_000) for _ in range(2))
        first = (a < b) & (a <= cut_a) & (a <= cut_b)
        then = (b < a) & (b <= cut_b) & (b <= cut_a)
        share = first.sum() / (first.sum() + then.sum())
        _TRUTHS[apart, sd] = float(share), float(np.minimum(a, 1).mean() - np.minimum(b, 1).mean())
    return _TRUTHS[apart, sd]


_TRUTHS: dict[tuple[float, float], tuple[float, float]] = {}


def two_rates(random: Random, plan: Plan, sessions_each: int, apart: float) -> Answers:
    """`duration --compare`: the ratio of two males' rates, and p where they are alike."""
    n = sessions_each
    watched = random.uniform(0.3, 3.0, 2 * n)
    effect = np.repeat([0.0, math.log(apart)], n) + random.normal(0, 0.3, 2 * n)
    count = random.poisson(4 * watched * np.exp(effect + random.normal(0, plan.female_sd, 2 * n))).astype(float)
    second = np.repeat([0, 1], n)
    _, low, high, _ = ratio_of_ratios(count, watched, second)
    answers = {"ratio of rates": held(low, apart, high)}
    if apart == 1:
        answers["rates of two differ"] = rejected(contrast_p(count, watched, second))
    return answers


Cell = tuple[str, Callable[[Random], Answers]]
P = {"males differ", "species differ", "covariate (Cox)", "two males differ", "rates of two differ"}


def grid() -> Iterator[Cell]:
    """Yield every cell: what kind of season it is, and the work."""
    for males in (5, 6, 8, 10):
        for sd in (0.0, 0.5, 1.0):
            for female_sd in (0.0, 0.3):
                plan = Plan(males, sd, female_sd)
                for work in (median_bout, rates, shares):
                    yield str(plan), partial(work, plan=plan)
    for males in (5, 8):
        for sd in (0.5, 1.0):
            quick = Plan(males, sd, quick=True)
            yield str(quick), partial(median_bout, plan=quick)
            own = Plan(males, sd, own=True)
            for work in (median_bout, rates, shares):
                yield str(own), partial(work, plan=own)
    for males in (5, 8):
        for plan in (Plan(males, 0.0, 0.0), Plan(males, 0.0, 0.3), Plan(males, 0.0, 1.0, own=True)):
            yield str(plan), partial(males_differ, plan=plan)
    for males in (7, 8, 10):
        for sd in (0.0, 0.5, 1.0):
            yield str(Plan(males, sd)), partial(species_differ, plan=Plan(males, sd))
    for males in (5, 6, 8, 10):
        for sd in (0.0, 1.0):
            yield str(Plan(males, sd)), partial(covariate, plan=Plan(males, sd))
    for n in (3, 4, 5, 6):
        for apart in (1.0, 4.5):
            kind = f"{n} v {n} sessions, {apart:g}-fold"
            for work in (two_males, two_rates):
                yield kind, partial(work, plan=Plan(), sessions_each=n, apart=apart)


def run(cells: list[Cell], runs: int, seed: int = 0) -> pd.DataFrame:
    """Return a row for each statistic of each cell: how many printed, and the share that held, or was at most .05."""
    rows = []
    for at, (kind, work) in enumerate(cells):
        random = np.random.default_rng([seed, at])
        counted: dict[str, list[bool | None]] = {}
        for _ in range(runs):
            for name, answer in work(random).items():
                counted.setdefault(name, []).append(answer)
        for name, answers in counted.items():
            printed = [answer for answer in answers if answer is not None]
            share = float(np.mean(printed)) if printed else math.nan
            row = {"statistic": name, "season": kind, "of": REJECTED if name in P else COVERED, "runs": runs}
            error = math.sqrt(share * (1 - share) / len(printed)) if printed else math.nan
            rows.append(row | {"printed": len(printed), "share": share, "error": error})
    return pd.DataFrame(rows)


def faults(table: pd.DataFrame) -> pd.DataFrame:
    """Return what misses the goal: limits that hold in under 90 %, a p of at most .05 in more than 5 %, by more than
    two simulation errors."""
    some = table[table["printed"] > 0]
    slack = 2 * np.sqrt(0.05 * 0.95 / some["printed"])
    low = (some["of"] == COVERED) & (some["share"] < 0.90 - slack)
    high = (some["of"] == REJECTED) & (some["share"] > 0.05 + slack)
    return some[low | high]


def main() -> None:
    parser = argparse.ArgumentParser(description="Calibrate limits and p.")
    parser.add_argument("--runs", type=int, default=1_000, help="seasons a cell")
    parser.add_argument("--only", default="", help="only cells whose function's name holds this")
    args = parser.parse_args()
    for cell in grid():
        if args.only in ("", cell[1].func.__name__):  # type: ignore[attr-defined]
            for row in run([cell], args.runs).to_dict("records"):
                what = "held" if row["of"] == COVERED else "p <= .05"
                told = f"{row['statistic']:20} {row['season']:48} {what:8} {row['share']:6.1%} +- {row['error']:.1%}"
                print(f"{told}, printed {row['printed']} of {row['runs']}", flush=True)


if __name__ == "__main__":
    main()
