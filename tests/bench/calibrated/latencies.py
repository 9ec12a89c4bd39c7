"""`etholog latency`: medians, means, who is sooner, competing ends, Cox's model, and the p of each comparison."""

import math
from collections.abc import Iterator
from functools import lru_cache, partial

import numpy as np
import pandas as pd

from etholog.analysis import survival
from etholog.analysis.compare import compare, test
from etholog.analysis.hazard import hazards
from etholog.analysis.incidence import first_ends
from etholog.analysis.rivals import rivals
from tests.bench.calibrated.answers import SHUFFLES, Answers, Cell, Random, drawn, held, rejected, tested
from tests.bench.simulated import Plan, latencies, mean_over, quantile, watched

CLOSED = 0.5  # hazard of an end that closes the evening, by that of what is waited for


def one_male(random: Random, plan: Plan, sessions: int) -> Answers:
    """The median, the quartile and the curve of one male's sessions, each with a female taken at random."""
    time = random.exponential(np.exp(random.normal(0, plan.female_sd, sessions)))
    until = watched(random, sessions)
    table = pd.DataFrame({"latency_s": np.minimum(time, until), "occurred": time <= until, "male": "a"})
    found = compare(table, "male").table.iloc[0]
    curve = survival.kaplan_meier(table["latency_s"].to_numpy(), table["occurred"].to_numpy(dtype=bool))
    answers: dict[str, float | None] = {}
    for name, share in (("median", 0.5), ("q25", 0.25), ("q75", 0.75)):
        low, high = float(found[f"{name}_low_s"]), float(found[f"{name}_high_s"])
        answers[f"{'median' if name == 'median' else 'quartile'} of one male{'' if share != 0.75 else ', upper'}"] = (
            held(low, quantile(plan.female_sd, share), high)
        )
    at = quantile(plan.female_sd)
    upto = curve[curve.index <= at]
    if len(upto) and table["latency_s"].max() > at:
        last = upto.iloc[-1]
        answers["curve of one male, at its median"] = held(float(last["low"]), 0.5, float(last["high"]))
    return answers


def one_kind(random: Random, plan: Plan) -> Answers:
    """The median of a kind of males, of a session of a male taken at random."""
    table, _ = latencies(random, plan)
    found = compare(table.assign(species="one"), "species").table.iloc[0]
    truth = 100 * quantile(math.hypot(plan.male_sd, plan.female_sd))
    return {"median of a kind of males": held(float(found["median_low_s"]), truth, float(found["median_high_s"]))}


def males_differ(random: Random, plan: Plan) -> Answers:
    """p, where males are alike."""
    table, _ = latencies(random, plan)
    found = test(table, "male", permutations=SHUFFLES, seed=drawn(random))
    return {"p, males differ": tested(found.permuted)}


def pairs_of_males(random: Random, plan: Plan) -> Answers:
    """Whether any two males differ after Holm, where they are alike."""
    table, _ = latencies(random, plan)
    found = compare(table, "male", permutations=SHUFFLES, seed=drawn(random)).pairs
    return {"p, pairs of males, any after Holm": rejected(float(found["p_holm"].min()))}


def kinds_differ(random: Random, plan: Plan, by: str) -> Answers:
    """p, where kinds of males are alike and males are not."""
    table, _ = latencies(random, plan)
    found = test(table, by, permutations=SHUFFLES, seed=drawn(random))
    return {f"p, {'two' if by == 'species' else 'three'} kinds of males differ": tested(found.permuted)}


def conditions_differ(random: Random, plan: Plan) -> Answers:
    """p of a condition that changes from session to session."""
    table, _ = latencies(random, plan)
    return {"p, conditions differ": tested(test(table, "light", permutations=SHUFFLES, seed=drawn(random)).permuted)}


def two_males(random: Random, plan: Plan, each: tuple[int, int], apart: float) -> Answers:
    """Two males: sooner, times as fast, means within a named time, and p where they are alike."""
    second = np.repeat([0, 1], each)
    scale = np.where(second, apart, 1.0) * np.exp(random.normal(0, plan.female_sd, len(second)))
    return _two(random, scale, second, None, apart, plan.female_sd, "two males")


def two_within_females(random: Random, plan: Plan, apart: float) -> Answers:
    """Two males who met the same females, once or twice each: only sessions with one female are compared."""
    many = random.integers(1, 3, (2, plan.females)).reshape(-1)
    second, female = np.repeat([0, 1], plan.females).repeat(many), np.tile(np.arange(plan.females), 2).repeat(many)
    of_female = random.normal(0, plan.female_sd, plan.females)
    scale = np.where(second, apart, 1.0) * np.exp(of_female[female])
    return _two(random, scale, second, female, apart, plan.female_sd, "two males within females")


def _two(
    random: Random, scale: np.ndarray, second: np.ndarray, female: np.ndarray | None, apart: float, sd: float, of: str
) -> Answers:
    time, until = random.exponential(scale), random.uniform(1.0, 4.0, len(scale))
    table = pd.DataFrame(
        {"latency_s": np.minimum(time, until), "occurred": time <= until, "male": np.array(["a", "b"])[second]}
    )
    if female is not None:
        table["female"] = female
    within = "female" if female is not None else None
    found = compare(table, "male", within, permutations=SHUFFLES, horizon_s=1.0, seed=drawn(random))
    if not len(found.pairs):
        return {}
    pair = found.pairs.iloc[0]
    sooner, mean = _truths(apart, sd, female is not None)
    answers = {
        f"first sooner, {of}": held(pair["first_sooner_low"], sooner, pair["first_sooner_high"]),
        f"times as fast, {of}": held(pair["times_as_fast_low"], apart, pair["times_as_fast_high"]),
        f"difference of means within N, {of}": held(pair["difference_low_s"], mean, pair["difference_high_s"]),
    }
    return answers | ({f"p, {of}": rejected(pair["p"])} if apart == 1 else {})


@lru_cache
def _truths(apart: float, sd: float, one_female: bool) -> tuple[float, float]:
    """Return the chance that the first is sooner, of pairs whose order is known (both with one female, or each with
    another), and the difference of means within 1, by a large fixed simulation."""
    random = np.random.default_rng(0)
    effects = [np.exp(random.normal(0, sd, 400_000)) for _ in range(2)]
    if one_female:
        effects[1] = effects[0]
    a, b = (random.exponential(c * effect) for c, effect in zip((1.0, apart), effects, strict=True))
    cut_a, cut_b = (random.uniform(1.0, 4.0, 400_000) for _ in range(2))
    first = (a < b) & (a <= cut_a) & (a <= cut_b)
    then = (b < a) & (b <= cut_b) & (b <= cut_a)
    share = first.sum() / (first.sum() + then.sum())
    return float(share), float(np.minimum(a, 1).mean() - np.minimum(b, 1).mean())


def ends_of_one_male(random: Random, plan: Plan, sessions: int) -> Answers:
    """`--competing`: the share in which it came first, of one male's sessions, by the time that the table names."""
    table = _with_ends(random, np.exp(random.normal(0, plan.female_sd, 2 * sessions)))
    table["male"] = np.repeat(["a", "b"], sessions)
    found = first_ends(table, "male")
    own = found[(found["male"] == "a") & (found["end"] == "occurred")].iloc[0]
    speed = 1 + CLOSED
    truth = mean_over(
        plan.female_sd, lambda effect: (1 - np.exp(-speed * float(own["at_s"]) * np.exp(-effect))) / speed
    )
    return {"share of an end, one male": held(float(own["low"]), truth, float(own["high"]))}


def ends_differ(random: Random, plan: Plan, by: str) -> Answers:
    """`--competing`: Gray's test and the cause-specific log-rank, where the groups are alike."""
    table, met = latencies(random, plan)
    table = table.assign(**_with_ends(random, np.exp(met.effect)))
    # Compared as the command does: within what the comparison itself chose.
    within = test(table, by, permutations=1).within or "none"
    found = rivals(table, by, within, shuffles=SHUFFLES, seed=drawn(random)).iloc[0]
    of = {"species": "two kinds of males", "light": "conditions", "male": "males"}[by]
    return {f"p, Gray, {of}": rejected(found["gray_p"]), f"p, cause-specific, {of}": rejected(found["log_rank_p"])}


def _with_ends(random: Random, scale: np.ndarray) -> pd.DataFrame:
    came, closed = random.exponential(scale), random.exponential(scale / CLOSED)
    until = watched(random, len(scale))
    time = np.minimum(np.minimum(came, closed), until)
    end = np.where(time == came, "occurred", np.where(time == closed, "parted", "watching ended"))
    return pd.DataFrame({"latency_s": time, "occurred": end == "occurred", "ended_by": end})


def covariate(random: Random, plan: Plan) -> Answers:
    """`--cox`: the p of what varies by session, such as temperature."""
    table, _ = latencies(random, plan)
    found = hazards(table, "heat", permutations=SHUFFLES, seed=drawn(random))
    return {"p, Cox, one covariate": rejected(float(found.table.loc["heat", "p"]))}


def covariates(random: Random, plan: Plan, within: str | None = None) -> Answers:
    """`--cox` of two columns, of which the other matters and goes with this one; and his how manieth session."""
    table, _ = latencies(random, plan, effect=0.7)
    found = hazards(table, ["heat", "damp", "male_session"], within, permutations=SHUFFLES, seed=drawn(random)).table
    of = "three covariates" if within is None else f"three covariates within {within}"
    return {
        f"p, Cox, one of {of}": rejected(float(found.loc["damp", "p"])),
        f"p, Cox, nth session, {of}": rejected(float(found.loc["male_session", "p"])),
    }


def no_animals(random: Random, plan: Plan, of: str) -> Answers:
    """`--cox` with `--cluster`, where what repeats is no animal but a place, or each session stands alone."""
    table, _ = latencies(random, plan)
    table = table.drop(columns="female").rename(columns={"male": of})
    found = hazards(table, "heat", cluster=of).table.loc["heat"]
    return {
        f"ratio of hazards, clusters by {of}": held(float(found["low"]), 1.0, float(found["high"])),
        f"p, Cox, clusters by {of}": rejected(float(found["p"])),
    }


def grid() -> Iterator[Cell]:
    for sessions in (4, 5, 8):
        for female_sd in (0.0, 0.3):
            plan = Plan(1, 0.0, female_sd)
            kind = f"{sessions} sessions; females {female_sd:g}"
            yield kind, partial(one_male, plan=plan, sessions=sessions)
            yield kind, partial(ends_of_one_male, plan=plan, sessions=sessions)
    for males in (5, 8, 10):
        for sd in (0.0, 0.5, 1.0):
            yield str(Plan(males, sd)), partial(one_kind, plan=Plan(males, sd))
        yield str(Plan(males, own=True)), partial(one_kind, plan=Plan(males, own=True))
    for males in (5, 8, 10):
        yield str(Plan(males, 0.0)), partial(males_differ, plan=Plan(males, 0.0))
    for plan in (Plan(8, 0.0, 0.0), Plan(8, 0.0, 0.3, own=True), Plan(8, 0.0, 1.0, own=True)):
        yield str(plan), partial(males_differ, plan=plan)
    for plan in (Plan(5, 0.0), Plan(8, 0.0)):
        yield str(plan), partial(pairs_of_males, plan=plan)
    for males in (7, 8, 10):
        for sd in (0.0, 0.5, 1.0):
            yield f"{Plan(males, sd)}; two kinds", partial(kinds_differ, plan=Plan(males, sd), by="species")
            if males > 7:
                yield f"{Plan(males, sd)}; three kinds", partial(kinds_differ, plan=Plan(males, sd), by="kind")
    for males in (5, 8, 10):
        for sd in (0.0, 1.0):
            for own in (False, True):
                plan = Plan(males, sd, own=own)
                yield str(plan), partial(conditions_differ, plan=plan)
    for each in ((3, 3), (4, 4), (3, 6), (6, 6)):
        for apart in (1.0, 4.5):
            for sd in (0.0, 0.3) if each == (4, 4) else (0.3,):
                kind = f"{each[0]} v {each[1]} sessions, {apart:g}-fold; females {sd:g}"
                yield kind, partial(two_males, plan=Plan(female_sd=sd), each=each, apart=apart)
    for females in (5, 7):
        for apart in (1.0, 4.5):
            for sd in (0.3, 1.0):
                plan = Plan(female_sd=sd, females=females)
                kind = f"{females} females {sd:g}, once or twice; {apart:g}-fold"
                yield kind, partial(two_within_females, plan=plan, apart=apart)
    for by, males_ in (("species", (8, 10)), ("light", (5, 8)), ("male", (5, 8))):
        for males in males_:
            for sd in (0.0,) if by == "male" else (1.0,):
                yield f"{Plan(males, sd)}; by {by}", partial(ends_differ, plan=Plan(males, sd), by=by)
    for males in (5, 6, 8, 10):
        for sd in (0.0, 1.0):
            yield str(Plan(males, sd)), partial(covariate, plan=Plan(males, sd))
        yield str(Plan(males, 1.0)), partial(covariates, plan=Plan(males, 1.0))
    for males in (8,):
        for within in ("male", "female"):
            yield f"{Plan(males, 1.0)}; within {within}", partial(covariates, plan=Plan(males, 1.0), within=within)
    for count in (10, 24, 50):
        plan = Plan(count, 0.5, sessions=(1, 1))
        yield str(plan), partial(no_animals, plan=plan, of="session")
    for count in (5, 10, 20):
        for sd in (0.0, 1.0):
            plan = Plan(count, sd)
            yield f"{plan}; places and not males", partial(no_animals, plan=plan, of="place")
