"""Taps under kills of the recorder and loads of the page: each once, in order, within what is known of its time."""

import sys
from pathlib import Path

import pytest

from tests.conftest import need
from tests.phone.kills import run

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys there")]


def test_fifty_taps_two_kills_and_two_loads_of_the_page(tmp_path: Path) -> None:
    need("chromium")
    figures = run(tmp_path, taps=50, kills=2, reloads=2, seed=1)
    print(figures)
    assert figures.wrong == []
    assert len(figures.off) == 50
