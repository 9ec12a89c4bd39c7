"""A figure refuses what is not its table in one line."""

import inspect
from typing import Any

import numpy as np
import pandas as pd
import pytest

from etholog import Refusal, figures
from etholog.season import Season

DRAWN = sorted(name for name in figures.__all__ if inspect.isfunction(getattr(figures, name)))
WRONG: list[Any] = [None, 3, "table", pd.DataFrame({"what": [1]}), np.eye(2), {"male": [1]}]


def needed(function: Any) -> int:
    return sum(p.default is p.empty for p in inspect.signature(function).parameters.values())


@pytest.mark.parametrize("name", [name for name in DRAWN if name != "contact_sheet"])
@pytest.mark.parametrize("wrong", WRONG, ids=repr)
def test_what_is_not_its_table_is_refused_in_one_line(name: str, wrong: Any) -> None:
    function = getattr(figures, name)
    with pytest.raises(Refusal) as told:
        function(*[wrong] * needed(function))
    assert len(str(told.value).splitlines()) == 1


def test_a_season_and_something_else_is_no_pair(season: Season) -> None:
    with pytest.raises(Refusal, match="no column 'latency_s'"):
        figures.aligned(season, season.sessions)


def test_pictures_want_a_title_each() -> None:
    with pytest.raises(Refusal, match="2 pictures and 1 titles"):
        figures.contact_sheet([np.zeros((3, 4, 3), np.uint8)] * 2, ["0:12"], 2)
