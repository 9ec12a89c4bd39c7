"""The colours of the figures as colour-blind people see them, by colorspacious: the simulation of Machado, Oliveira &
Fernandes 2009, and distances in CAM02-UCS (Luo, Cui & Li 2006). How far apart two colours must be has no source: 10 is
a choice; two that differ by 1 are just told apart side by side."""

import warnings
from itertools import combinations

import numpy as np
import pytest
from matplotlib.colors import to_hex, to_rgb

from etholog.figures.flow import SHARES
from etholog.figures.style import ACTORS, GROUPS, Look
from etholog.figures.transitions import SCALE
from etholog.report.svg import COLOURS

with warnings.catch_warnings():  # of a backslash in its docstrings, when Python first compiles it
    warnings.simplefilter("ignore")
    from colorspacious import cspace_convert, deltaE

APART = 10.0
KINDS = ["deuteranomaly", "protanomaly", "tritanomaly"]
SETS = {"actors": list(ACTORS.values()), "groups": list(GROUPS)}


def seen_by(kind: str, colour: str) -> np.ndarray:
    space = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}
    return np.clip(cspace_convert(np.array(to_rgb(colour)), space, "sRGB1"), 0, 1)


def distance(kind: str, first: Look, second: Look) -> float:
    return float(deltaE(seen_by(kind, first.colour), seen_by(kind, second.colour), input_space="sRGB1"))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("looks", SETS.values(), ids=SETS)
def test_colours_are_told_apart_by_colour_blind_people(looks: list[Look], kind: str) -> None:
    for first, second in combinations(looks, 2):
        assert distance(kind, first, second) > APART, (first, second)


def test_red_and_green_would_be_noticed() -> None:
    assert distance("deuteranomaly", Look("#d62728", "", "-"), Look("#2ca02c", "", "-")) < 2 * APART
    assert distance("deuteranomaly", Look("#a05a2c", "", "-"), Look("#6b7a1f", "", "-")) < APART


def test_hatch_and_line_say_it_again_without_any_colour() -> None:
    for looks in SETS.values():
        assert len({look.hatch for look in looks}) == len({look.line for look in looks}) == len(looks)


@pytest.mark.parametrize("kind", KINDS)
def test_a_scale_gets_darker_step_by_step_and_its_two_sides_stay_two(kind: str) -> None:
    space = {"name": "sRGB1+CVD", "cvd_type": kind, "severity": 100}

    def lightness(colours: np.ndarray) -> np.ndarray:
        return np.asarray(cspace_convert(np.clip(cspace_convert(colours, space, "sRGB1"), 0, 1), "sRGB1", "JCh"))[:, 0]

    assert (np.diff(lightness(SHARES(np.linspace(0, 1, 9))[:, :3])) < 0).all()
    steps = np.array([to_rgb(colour) for colour in SCALE])
    middle = len(steps) // 2
    assert (np.diff(lightness(steps[: middle + 1])) > 0).all() and (np.diff(lightness(steps[middle:])) < 0).all()
    seen = np.clip(cspace_convert(steps, space, "sRGB1"), 0, 1)
    for first, second in combinations(seen, 2):
        assert deltaE(first, second, input_space="sRGB1") > APART


def test_a_dark_page_leaves_the_shades_of_the_matrix_as_they_are() -> None:
    assert not {to_hex(SHARES(at)) for at in range(SHARES.N)} & set(COLOURS)
