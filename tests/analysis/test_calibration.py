"""A small seeded part of `tests/bench/calibration.py`: limits hold and p are rare where nothing differs."""

from functools import partial

import pytest

from tests.bench import calibration
from tests.bench.calibrated import durations, latencies, observers, outcomes
from tests.bench.calibrated.answers import Cell
from tests.bench.simulated import Plan

# Of 150 seasons two simulation errors are 3.6 of 100, of 60 they are 5.6 (at 5 or 95).
MANY: list[Cell] = [
    *(
        (str(plan), partial(work, plan=plan))
        for plan in (Plan(6, 0.0, 0.3), Plan(6, 1.0, 0.3))
        for work in (
            durations.rates,
            durations.shares,
            durations.palps,
            durations.median_bout,
            latencies.covariate,
        )
    ),
    ("quick males have more bouts", partial(durations.median_bout, plan=Plan(6, 0.5, quick=True))),
    ("each male has his female", partial(durations.shares, plan=Plan(6, 0.5, own=True))),
    ("males alike", partial(latencies.males_differ, plan=Plan(6, 0.0, 0.3))),
    ("4 v 4 males", partial(latencies.kinds_differ, plan=Plan(8, 1.0), by="species")),
    ("4 v 4 sessions", partial(latencies.two_males, plan=Plan(), each=(4, 4), apart=1.0)),
    ("4 v 4 sessions", partial(durations.two_rates, plan=Plan(), each=(4, 4), apart=1.0)),
    ("5 sessions", partial(observers.kappas, sessions=5, wrong=0.05)),
    ("8 sessions", partial(observers.totals, sessions=8, observer_sd=0.3)),
]
FEW: list[Cell] = [
    ("5 males", partial(latencies.covariate, plan=Plan(5, 0.0))),
    ("4 sessions", partial(latencies.ends_of_one_male, plan=Plan(1, 0.0), sessions=4)),
    ("4 v 4 males", partial(durations.kinds, plan=Plan(8, 0.5), first=4, apart=1.0)),
    ("20 sacs", partial(outcomes.practice, sacs=20, females=8, by_female=False, chosen=False)),
]
CELLS = [*((cell, 150) for cell in MANY), *((cell, 60) for cell in FEW)]


@pytest.mark.slow
@pytest.mark.parametrize(("cell", "runs"), CELLS, ids=[f"{calibration.name(cell)}, {cell[0]}" for cell, _ in CELLS])
def test_limits_hold_and_p_are_rare(cell: Cell, runs: int) -> None:
    found = calibration.run([cell], runs, seed=1)
    assert (found["printed"] > 0).any()
    assert calibration.faults(found).empty, calibration.faults(found).to_string()
