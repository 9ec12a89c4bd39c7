"""The workbook, opened by the programs that other people open it with: openpyxl and LibreOffice."""

import csv
import subprocess
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest

from tests.conftest import need
from tests.export.conftest import described, read


def test_the_workbook_holds_the_same_as_csv(exported: Path) -> None:
    book = openpyxl.load_workbook(exported / "tables.xlsx", read_only=True)
    assert book.sheetnames == ["columns", *described(exported)]
    for table in described(exported):
        rows = list(book[table].iter_rows(values_only=True))
        theirs = read(exported, table)
        assert list(rows[0]) == list(theirs.columns)
        assert len(rows) - 1 == len(theirs)
        for at, name in enumerate(theirs.columns):
            cells = [row[at] if at < len(row) else None for row in rows[1:]]  # it leaves empty ones at the end out
            for cell, value in zip(cells, theirs[name], strict=True):
                if pd.isna(value):
                    assert cell is None
                elif isinstance(value, pd.Timestamp):
                    assert pd.Timestamp(cell) == value.tz_localize(None)
                elif isinstance(value, float):
                    assert cell == pytest.approx(value, rel=1e-14)  # a workbook keeps 16 digits of a number
                else:
                    assert cell == value, (table, name)


def _converted(book: Path, to: Path) -> dict[str, list[list[str]]]:
    """Let LibreOffice open the workbook and write each sheet as CSV, values as it calculated them."""
    need("soffice")
    profile = (to / "profile").as_uri()
    form = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1"
    subprocess.run(
        ["soffice", f"-env:UserInstallation={profile}", "--headless", "--convert-to", form, "--outdir", to, book],
        check=True,
        capture_output=True,
        timeout=240,
    )
    sheets = {}
    for file in to.glob("tables-*.csv"):
        with file.open(encoding="utf-8", newline="") as opened:
            sheets[file.stem.removeprefix("tables-")] = list(csv.reader(opened))
    return sheets


def test_libreoffice_opens_the_workbook_with_the_same_numbers(exported: Path, tmp_path: Path) -> None:
    sheets = _converted(exported / "tables.xlsx", tmp_path)
    bouts = read(exported, "bouts")
    head, *rows = sheets["bouts"]
    assert head == list(bouts.columns)
    for name in ("onset_s", "duration_s"):
        seen = [float(row[head.index(name)]) for row in rows]
        # A sheet shows 15 digits of a number and no more.
        np.testing.assert_allclose(seen, bouts[name].to_numpy(), rtol=1e-14)
    assert [row[head.index("behaviour")] for row in rows] == bouts["behaviour"].tolist()
