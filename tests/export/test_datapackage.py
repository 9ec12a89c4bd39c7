"""The description of an export, judged by the validator of Frictionless Data (Data Package and Table Schema)."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import frictionless
import pandas as pd
import pytest

import etholog
from etholog.export import folder
from tests.export.conftest import described, read
from tests.hostile.fields import FIELDS, animals, workspace
from tests.hostile.texts import TEXTS

pytestmark = pytest.mark.slow


def violations(to: Path) -> list[list[Any]]:
    return frictionless.Package(str(to / "datapackage.json")).validate().flatten(["type", "message"])


def test_the_validator_of_frictionless_finds_nothing(exported: Path) -> None:
    assert violations(exported) == []


@pytest.mark.parametrize(
    ("table", "broken"),
    [
        ("bouts", lambda text: text.replace("drumming", "dreaming", 1)),
        ("sessions", lambda text: text + text.splitlines()[1]),
    ],
)
def test_the_validator_would_find_a_key_that_is_broken(
    exported: Path, tmp_path: Path, table: str, broken: Callable[[str], str]
) -> None:
    shutil.copytree(exported, tmp_path / "t")
    file = tmp_path / "t" / f"{table}.csv"
    file.write_text(broken(file.read_text(encoding="utf-8")), encoding="utf-8")
    assert {"foreign-key", "primary-key"} & {kind for kind, _ in violations(tmp_path / "t")}


def test_every_column_is_described_and_no_second_is_without_its_unit(exported: Path) -> None:
    asked = {"temperature_c", "light", "female_days_since_moult", "ended", "male_whole"}
    for table in described(exported).values():
        for field in table["schema"]["fields"]:
            assert (field["description"] == "As the observers gave it.") == (field["name"] in asked), field
            if field["name"].endswith("_s"):
                assert field["unit"] == "s"


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = workspace(tmp_path_factory.mktemp("hostile"))
    animals(place)
    folder.write(etholog.read(place), place / "tables", also=("parquet",))
    return place / "tables"


def test_hostile_tables_are_valid_too(hostile: Path) -> None:
    assert violations(hostile) == []


def test_hostile_text_comes_back_as_it_was_but_for_what_no_table_can_hold(hostile: Path) -> None:
    at = f"{list(FIELDS).index('observer'):02d}"
    rows = read(hostile, "sessions").set_index("session")["observer"]
    stored = pd.read_parquet(hostile / "parquet" / "sessions.parquet").set_index("session")["observer"]
    seen = 0
    for number, text in enumerate(TEXTS.values()):
        if f"{at}-{number:02d}" not in rows.index:
            continue  # the reader refused it
        for cell in (rows[f"{at}-{number:02d}"], stored[f"{at}-{number:02d}"]):
            shown = "" if pd.isna(cell) else str(cell)
            assert shown == text if text.isprintable() else len(shown) >= len(text.replace("\r\n", "\n"))
            seen += text.isprintable()
    assert seen > 40
