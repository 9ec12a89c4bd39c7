"""A small seeded part of `tests/bench/calibration.py`: limits hold and p are rare where nothing differs."""

from functools import partial

import pytest

from tests.bench import calibration
from tests.bench.calibration import Plan

# Of 150 seasons two simulation errors are 3.6 of 100 at 5, and 4.9 at 90.
CELLS = [
    *(
        (str(plan), partial(work, plan=plan))
        for sd in (0.0, 1.0)
        for plan in (Plan(6, sd, 0.3),)
        for work in (calibration.rates, calibration.shares, calibration.median_bout, calibration.covariate)
    ),
    ("quick males have more bouts", partial(calibration.median_bout, plan=Plan(6, 0.5, quick=True))),
    ("each male has his female", partial(calibration.shares, plan=Plan(6, 0.5, own=True))),
    ("males alike", partial(calibration.males_differ, plan=Plan(6, 0.0, 0.3))),
    ("4 v 4 males", partial(calibration.species_differ, plan=Plan(8, 1.0))),
    ("4 v 4", partial(calibration.two_males, plan=Plan(), sessions_each=4, apart=1.0)),
    ("4 v 4", partial(calibration.two_rates, plan=Plan(), sessions_each=4, apart=1.0)),
]


@pytest.mark.slow
@pytest.mark.parametrize("cell", CELLS, ids=[f"{work.func.__name__}, {kind}" for kind, work in CELLS])
def test_limits_hold_and_p_are_rare(cell: calibration.Cell) -> None:
    found = calibration.run([cell], 150, seed=1)
    assert (found["printed"] > 0).any()
    assert calibration.faults(found).empty, calibration.faults(found).to_string()
