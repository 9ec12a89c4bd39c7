"""Limits of shares, against published ones."""

import numpy as np
import pytest

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
