"""A few thousand mutants, always the same ones; `python -m tests.fuzz` tries a hundred thousand."""

import pytest

from tests.fuzz.targets import TARGETS, attack

pytestmark = pytest.mark.slow

FEW = {"session": 400, "card": 1500, "ethogram": 250, "arguments": 60}


@pytest.mark.parametrize("name", TARGETS)
def test_each_mutant_is_read_right_or_refused_in_words(name: str) -> None:
    accepted = sum(attack(name, seed) for seed in range(FEW[name]))
    assert 0 < accepted < FEW[name]  # both ways were tried
