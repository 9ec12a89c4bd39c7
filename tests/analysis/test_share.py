"""Limits of shares, against published ones."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binomtest
from statsmodels.stats.proportion import proportion_confint

from etholog.analysis.share import wilson


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [  # Newcombe 1998, Stat. Med. 17:857-872 (the four cases from memory)
        (81, 263, 0.25528852, 0.36620958),
        (15, 148, 0.06238640, 0.16048724),
        (0, 20, 0, 0.16112516),
        (1, 29, 0.00611321, 0.17175522),
        (15, 20, 0.5312991224, 0.8881382983),
        (8, 15, 0.3011698003, 0.7519046463),
    ],
)
def test_limits_of_a_share_as_published(count: int, of: int, low: float, high: float) -> None:
    np.testing.assert_allclose(wilson(count, of), (low, high), atol=6e-9)


def test_no_share_of_nothing() -> None:
    assert all(np.isnan(wilson(0, 0)))


def test_as_two_libraries_have_it() -> None:
    for of in (1, 2, 3, 7, 20, 148, 1000):
        for count in range(0, of + 1, 1 + of // 50):
            for limits in (
                proportion_confint(count, of, method="wilson"),
                tuple(binomtest(count, of).proportion_ci(0.95, "wilson")),
            ):
                np.testing.assert_allclose(wilson(count, of), limits, rtol=0, atol=4e-16)


def test_the_facts_before_a_pairing_load_no_library_of_statistics(repository: Path) -> None:
    script = (
        "import sys; from etholog.commands import main;"
        " main(['ready', 'M-Basalt', 'F-Umbra', '--folder', sys.argv[1]]);"
        " print([name for name in ('scipy', 'statsmodels', 'pandas', 'numpy') if name in sys.modules])"
    )
    season = str(repository / "examples" / "season")
    done = subprocess.run([sys.executable, "-c", script, season], capture_output=True, text=True, check=True)
    assert "she attacked in" in done.stdout
    assert done.stdout.splitlines()[-1] == "[]"
