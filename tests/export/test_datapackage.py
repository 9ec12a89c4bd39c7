"""The description of an export, judged by the validator of Frictionless Data (Data Package and Table Schema)."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import frictionless
import pytest

from tests.export.conftest import described


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
