"""The exported CSV in the programs that people read CSV with, each left to guess the types by itself: what is a flag
is a flag there, what is a number a number of the same sum."""

import math
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import duckdb
import openpyxl
import pandas as pd
import polars
import pytest

from tests.export.conftest import described, read
from tests.export.test_workbook import libreoffice

pytestmark = pytest.mark.slow

TABLES = ["sessions", "bouts", "durations", "transitions", "cards"]
Seen = dict[str, tuple[str, float]]  # what a reader takes each column for, and the sum of what it reads there
FLAG, NUMBER, OTHER = "flag", "number", "other"


def as_declared(to: Path, table: str) -> Seen:
    """What the description declares, of all flags and numbers; words may look like numbers, as a version does."""
    frame = read(to, table)
    kinds = {"boolean": FLAG, "number": NUMBER, "integer": NUMBER}
    fields = described(to)[table]["schema"]["fields"]
    asked = {field["name"]: kinds[field["type"]] for field in fields if field["type"] in kinds}
    return {name: (kind, float(frame[name].sum())) for name, kind in asked.items() if frame[name].notna().any()}


def by_pandas(file: Path) -> Seen:
    seen = {}
    for name, column in pd.read_csv(file).items():
        values = column.dropna()
        flag = len(values) > 0 and all(isinstance(value, bool) for value in values.tolist())
        number = not flag and pd.api.types.is_numeric_dtype(values)
        seen[str(name)] = (
            FLAG if flag else NUMBER if number else OTHER,
            float(values.sum()) if flag or number else 0.0,
        )
    return seen


def by_polars(file: Path) -> Seen:
    seen = {}
    for column in polars.read_csv(file, infer_schema_length=None):
        kind = FLAG if column.dtype == polars.Boolean else NUMBER if column.dtype.is_numeric() else OTHER
        seen[column.name] = (kind, 0.0 if kind == OTHER else float(column.sum()))
    return seen


def by_duckdb(file: Path) -> Seen:
    told = duckdb.sql(f"from read_csv('{file}', sample_size=-1)")
    kinds = {"BOOLEAN": FLAG, "BIGINT": NUMBER, "DOUBLE": NUMBER}
    seen = {}
    for name, kind in zip(told.columns, map(str, told.types), strict=True):
        total = 0.0
        if kind in kinds:
            [(total,)] = told.aggregate(f'sum("{name}"::double)').fetchall()
        seen[name] = (kinds.get(kind, OTHER), float(total))
    return seen


R = """
t <- {read}
for (name in names(t)) {{
  column <- t[[name]]
  kind <- if (is.logical(column)) "flag" else if (is.numeric(column)) "number" else "other"
  cat(name, kind, if (kind == "other") 0 else format(sum(column, na.rm = TRUE), digits = 17), sep = "\\t")
  cat("\\n")
}}
"""


def _by_r(asked: str) -> Seen:
    if not shutil.which("Rscript"):
        pytest.skip("NO R HERE: what it makes of the CSV is not tried")
    done = subprocess.run(["Rscript", "-e", R.format(read=asked)], capture_output=True, text=True, check=False)
    if "there is no package called" in done.stderr:
        pytest.skip("NO READR HERE (r-cran-readr): what it makes of the CSV is not tried")
    assert done.returncode == 0, done.stderr
    rows = (line.split("\t") for line in done.stdout.splitlines())
    return {name: (kind, float(total)) for name, kind, total in rows}


def by_base_r(file: Path) -> Seen:
    return _by_r(f"read.csv('{file}', fileEncoding = 'UTF-8-BOM', na.strings = '', check.names = FALSE)")


def by_readr(file: Path) -> Seen:
    return _by_r(f"readr::read_csv('{file}', show_col_types = FALSE, guess_max = Inf)")


def by_libreoffice(file: Path) -> Seen:
    """Its import with the language English (USA), 1033, and special numbers recognized."""
    libreoffice(file, file.parent / "office", "xlsx", "CSV:44,34,76,1,,1033,false,true")
    sheet = openpyxl.load_workbook(file.parent / "office" / f"{file.stem}.xlsx").active
    assert sheet is not None
    head, *rows = sheet.iter_rows(values_only=True)
    seen = {}
    for at, name in enumerate(head):
        cells = [row[at] for row in rows if row[at] is not None]
        kinds = {type(cell) for cell in cells}
        kind = FLAG if kinds == {bool} else NUMBER if kinds and kinds <= {int, float} else OTHER
        seen[str(name)] = (kind, 0.0 if kind == OTHER else float(sum(cells)))  # type: ignore[arg-type, misc]
    return seen


@pytest.mark.parametrize("reader", [by_base_r, by_readr, by_pandas, by_polars, by_duckdb, by_libreoffice])
def test_it_takes_flags_for_flags_and_numbers_for_numbers(
    reader: Callable[[Path], Seen], exported: Path, tmp_path: Path
) -> None:
    for table in TABLES if reader is not by_libreoffice else TABLES[:1]:
        file = tmp_path / f"{table}.csv"
        shutil.copy(exported / f"{table}.csv", file)
        seen, told = reader(file), as_declared(exported, table)
        assert told, table
        for name, (kind, total) in told.items():
            assert seen[name][0] == kind, (table, name, seen[name])
            assert math.isclose(seen[name][1], total, rel_tol=1e-12), (table, name)


def test_libreoffice_in_another_language_would_read_other_numbers(exported: Path, tmp_path: Path) -> None:
    """Why `etholog help files` names the language: with German (1031), where a point parts thousands, it does."""
    libreoffice(exported / "latencies.csv", tmp_path, "xlsx", "CSV:44,34,76,1,,1031,false,true")
    sheet = openpyxl.load_workbook(tmp_path / "latencies.xlsx").active
    assert sheet is not None
    first = next(row[4] for row in sheet.iter_rows(min_row=2, max_row=2, values_only=True))
    assert first == read(exported, "latencies")["latency_s"][0] * 1000
