"""A workspace without sessions, such as one gathered from keepers who wrote cards alone."""

import csv
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import frictionless
import pytest

from tests.make import write_card

pytestmark = pytest.mark.slow
Run = Callable[..., CompletedProcess[str]]


def table(to: Path, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((to / f"{name}.csv").read_text(encoding="utf-8-sig").splitlines()))


def test_cards_lots_and_pedigree_are_exported_where_no_session_is(tmp_path: Path, etholog: Run) -> None:
    anna, bert, group = (tmp_path / name for name in ("anna", "bert", "group"))
    write_card(anna, "M-1", ("sex", "2020", "male"), ("lent", "2026-01-01", "Zdenka"))
    told = ("paired", "2026-01-01", "M-1"), ("sac", "2026-03-01"), ("count", "2026-04-20", "eggs", "100")
    later = ("count", "2026-05-20", "nymphs of 2026-03-01", "70"), ("placed", "2026-06-01", "Zdenka", "20")
    write_card(bert, "F-1", ("sex", "2020", "female"), *told, *later)
    write_card(bert, "Y", ("born", "2026-05"), ("dam", "2026", "F-1"), ("sire", "2026", "M-1:3 or M-2:1"))
    assert etholog("gather", anna, bert, "--to", group, "--join-same-names").returncode in (0, 1)
    to = tmp_path / "out"
    done = etholog("export", to, "--also", "xlsx", "--also", "parquet", "--folder", group)
    assert done.returncode == 0, done.stderr
    assert frictionless.validate(str(to / "datapackage.json")).valid
    assert {path.stem for path in to.glob("*.csv")} == {"cards", "animals", "pedigree", "lots"}
    (lot,) = table(to, "lots")
    numbers = ("first_counted", "laid", "alive", "dead", "placed", "raised", "missing")
    assert [lot[name] for name in numbers] == ["100.0", "TRUE", "50.0", "0.0", "20.0", "0.0", "30.0"]
    assert lot["sires"] == "M-1"
    up = {(row["animal"], row["parent"]): (row["as"], row["chance"]) for row in table(to, "pedigree")}
    assert up == {("Y", "F-1"): ("dam", "1.0"), ("Y", "M-1"): ("sire", "0.75"), ("Y", "M-2"): ("sire", "0.25")}
    assert {row["animal"] for row in table(to, "animals")} == {"F-1", "M-1", "M-2", "Y"}
    assert [row["sac"] for row in table(to, "cards") if row["entry"] == "count"] == ["", "2026-03-01"]
    archive = tmp_path / "archive"
    words = "--deposit", "CC-BY-4.0", "--creator", "YOUR NAME", "--folder"
    assert etholog("export", archive, *words, group).returncode == 0
    assert frictionless.validate(str(archive / "datapackage.json")).valid
    assert {row["relatedResourceID"] for row in table(archive, "relationships")} == {"Y"}
    # A paper and an engine's Parquet are of sessions.
    assert etholog("export", tmp_path / "paper", "--paper", "--folder", group).returncode == 2
    assert "no session" in etholog("export", tmp_path / "large", "--by-month", "--folder", group).stderr
