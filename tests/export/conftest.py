"""The invented season, exported once in every form."""

import json
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from etholog import season
from etholog.export import folder
from etholog.season import Season
from tests.conftest import REPOSITORY

PANDAS = {"string": "string", "number": "float64", "integer": "Int64", "boolean": "boolean"}


@pytest.fixture(scope="session")
def known() -> Season:
    return season.read(REPOSITORY / "examples" / "season")


@pytest.fixture(scope="session")
def exported(known: Season, tmp_path_factory: pytest.TempPathFactory) -> Path:
    to = tmp_path_factory.mktemp("export") / "tables"
    folder.write(known, to, also=("parquet", "xlsx"))
    return to


def described(to: Path) -> dict[str, dict[str, Any]]:
    return {one["name"]: one for one in json.loads((to / "datapackage.json").read_text())["resources"]}


def read(to: Path, table: str) -> pd.DataFrame:
    """Read a table with pandas and nothing but what the description declares."""
    fields = {field["name"]: field["type"] for field in described(to)[table]["schema"]["fields"]}
    return pd.read_csv(
        to / f"{table}.csv",
        dtype={name: PANDAS[kind] for name, kind in fields.items() if kind in PANDAS},
        parse_dates=[name for name, kind in fields.items() if kind in ("datetime", "date")],
        keep_default_na=False,
        na_values=[""],
    )
