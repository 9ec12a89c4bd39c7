"""`etholog agree FOLDER`: kappa, the limits of the limits of agreement, and the intraclass correlation."""

from collections.abc import Iterator
from functools import partial

import numpy as np

from etholog.analysis.observers import icc, kappa_limits, limits_over_sessions
from tests.bench.calibrated.answers import Answers, Cell, Random, held
from tests.bench.simulated import Floats

CODES = 4


def _units(random: Random, sessions: int, wrong: float) -> list[Floats]:
    """Return each session's table of units: what happens lasts, so that 300 to 900 units are as few as 60 to 180
    independent ones; how often the second observer errs varies by session."""
    tables = []
    for _ in range(sessions):
        share = random.dirichlet(np.full(CODES, 1.5))
        errs = random.beta(20 * wrong, 20 * (1 - wrong))
        joint = (1 - errs) * np.diag(share) + errs * np.outer(share, np.full(CODES, 1 / CODES))
        tables.append(5.0 * random.multinomial(random.integers(60, 181), joint.reshape(-1)).reshape(CODES, CODES))
    return tables


def kappas(random: Random, sessions: int, wrong: float) -> Answers:
    found = kappa_limits(_units(random, sessions, wrong))
    # Over all sessions the codes are alike, and a wrong one is drawn from all of them: kappa is the share not drawn.
    return {"kappa over sessions": held(found[1], 1 - wrong, found[2])}


def totals(random: Random, sessions: int, observer_sd: float, skewed: bool = False) -> Answers:
    """Limits of agreement and ICC(2,1) of two observers drawn at random."""
    noise = random.normal(0, 0.4, (sessions, 2))
    if skewed:
        noise = 0.4 * (random.exponential(1, (sessions, 2)) - 1)
    table = random.normal(5, 1, (sessions, 1)) + random.normal(0, observer_sd, 2) + noise
    found = icc(table)
    answers = {"ICC(2,1) of two observers": held(found["low"], 1 / (1 + observer_sd**2 + 0.16), found["high"])}
    apart = noise[:, 1] - noise[:, 0]
    limit = limits_over_sessions(apart)
    # Of two errors, each with a standard deviation of .4, whatever their shape.
    answers["lower limit of agreement"] = held(limit["low_from"], -1.96 * 0.4 * 2**0.5, limit["low_to"])
    return answers


def grid() -> Iterator[Cell]:
    for sessions in (5, 8, 12, 20):
        for wrong in (0.05, 0.2):
            yield f"{sessions} sessions, {wrong:.0%} wrong", partial(kappas, sessions=sessions, wrong=wrong)
        for sd in (0.0, 0.3):
            yield f"{sessions} sessions, observers {sd:g}", partial(totals, sessions=sessions, observer_sd=sd)
        kind = f"{sessions} sessions, observers 0, skewed"
        yield kind, partial(totals, sessions=sessions, observer_sd=0.0, skewed=True)
