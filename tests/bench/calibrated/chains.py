"""`etholog transition`: p of the table, of each cell, of a chain's order, and of males' chains alike."""

from collections.abc import Iterator
from functools import partial

import numpy as np

from etholog.analysis import chain, shuffle
from etholog.analysis.transition import transitions
from tests.bench.calibrated.answers import Answers, Cell, Random, drawn, rejected
from tests.bench.simulated import Plan, sessions

ACTS = 4


def chains(random: Random, plan: Plan, session_sd: float) -> Answers:
    """Sequences in which what comes next depends on nothing (but that nothing follows itself); `session_sd`: how much
    sessions differ in how often each act comes, on the logarithmic scale."""
    met = sessions(random, plan)
    often = np.log([4, 3, 2, 2])
    runs = []
    for _ in range(len(met)):
        weight = np.exp(often + random.normal(0, session_sd, ACTS))
        runs.append(_run(random, weight / weight.sum(), int(random.integers(8, 40))))
    tables = np.zeros((plan.males, ACTS, ACTS))
    for male, run in zip(met.male, runs, strict=True):
        np.add.at(tables[male], (run[:-1], run[1:]), 1)
    whole = transitions(tables.sum(axis=0).astype(int), np.eye(ACTS, dtype=bool))
    drawn_ = shuffle.within(runs, ACTS, np.eye(ACTS, dtype=bool), 99, drawn(random))
    off = ~np.eye(ACTS, dtype=bool)
    return {
        "p, whole table": rejected(whole.p),
        "p, any cell after Holm": rejected(float(np.nanmin(whole.p_holm.to_numpy()))),
        "p, whole table, shuffled": rejected(drawn_.p_whole),
        "p, one cell, shuffled": rejected(float(drawn_.p[off][0])),
        "p, order of the chain": rejected(chain.order(runs, ACTS, 1).p),
        "p, males' chains differ": rejected(chain.homogeneity(list(tables)).p),
    }


def _run(random: Random, share: np.ndarray, length: int) -> np.ndarray:
    """Return a sequence of acts in which none follows itself: drawn one by one, repeats left out."""
    drawn_ = random.choice(ACTS, size=8 * length + 20, p=share)
    return drawn_[np.flatnonzero(np.diff(drawn_, prepend=-1))][:length]


def grid() -> Iterator[Cell]:
    for males in (5, 8):
        for sd in (0.0, 0.5):
            plan = Plan(males, 0.0, 0.0)
            yield f"{males} males; sessions {sd:g}", partial(chains, plan=plan, session_sd=sd)
