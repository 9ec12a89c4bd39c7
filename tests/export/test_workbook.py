"""The workbook, opened by the programs that other people open it with: openpyxl and LibreOffice."""

import csv
import subprocess
from datetime import datetime
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest

from etholog import season
from etholog.export import folder
from tests.conftest import need
from tests.export.conftest import described, read
from tests.make import season_of

pytestmark = pytest.mark.slow


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


def test_sheets_have_filters_a_head_that_stays_and_columns_as_wide_as_their_words(exported: Path) -> None:
    book = openpyxl.load_workbook(exported / "tables.xlsx")
    for sheet in book:
        assert (sheet.freeze_panes, sheet.auto_filter.ref) == ("A2", sheet.dimensions)
        for column in sheet.iter_cols(max_row=200):
            told = max(len(str(cell.value)) for cell in column if isinstance(cell.value, str))
            assert sheet.column_dimensions[column[0].column_letter].width >= min(told, 60)


def test_times_show_their_zone_in_libreoffice(exported: Path, tmp_path: Path) -> None:
    libreoffice(exported / "tables.xlsx", tmp_path, "html")
    shown = (tmp_path / "tables.html").read_text(encoding="utf-8")
    for row in read(exported, "sessions").head(3).itertuples():
        assert f">{row.began:%Y-%m-%d %H:%M:%S} UTC<" in shown
        assert f">{row.date:%Y-%m-%d}<" in shown


def libreoffice(source: Path, to: Path, form: str, read_as: str | None = None) -> Path:
    """Let LibreOffice open a file and save it in another form, values as it calculated them."""
    need("soffice")
    words = ["soffice", f"-env:UserInstallation={(to / 'profile').as_uri()}", "--headless"]
    words += [f"--infilter={read_as}"] if read_as else []
    subprocess.run([*words, "--convert-to", form, "--outdir", to, source], check=True, capture_output=True, timeout=240)
    return to


def _sheets(book: Path, to: Path) -> dict[str, list[list[str]]]:
    """Return each sheet's rows as LibreOffice shows them."""
    libreoffice(book, to, "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1")
    sheets = {}
    for file in to.glob("tables-*.csv"):
        with file.open(encoding="utf-8", newline="") as opened:
            sheets[file.stem.removeprefix("tables-")] = list(csv.reader(opened))
    return sheets


def test_libreoffice_opens_the_workbook_with_the_same_numbers(exported: Path, tmp_path: Path) -> None:
    sheets = _sheets(exported / "tables.xlsx", tmp_path)
    bouts = read(exported, "bouts")
    head, *rows = sheets["bouts"]
    assert head == list(bouts.columns)
    for name in ("onset_s", "duration_s"):
        seen = [float(row[head.index(name)]) for row in rows]
        # A sheet shows 15 digits of a number and no more.
        np.testing.assert_allclose(seen, bouts[name].to_numpy(), rtol=1e-14)
    assert [row[head.index("behaviour")] for row in rows] == bouts["behaviour"].tolist()


FORMULAS = {"male": "=1+1", "female": "+1+1", "observer": "-1+1", "species": "@SUM(1+1)", "place": "Zürich 🕷 Ж"}


@pytest.fixture(scope="module")
def risky(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session whose names a spreadsheet would calculate."""
    place = tmp_path_factory.mktemp("risky")
    read = season.read(season_of(place, **FORMULAS))
    folder.write(read, place / "plain", also=("xlsx",))
    folder.write(read, place / "defused", defuse=True)
    return place


def test_libreoffice_calculates_nothing_in_a_workbook(risky: Path, tmp_path: Path) -> None:
    head, row = _sheets(risky / "plain" / "tables.xlsx", tmp_path)["sessions"]
    assert {name: row[head.index(name)] for name in FORMULAS} == FORMULAS


@pytest.mark.parametrize("how", ["plain", "defused"])
def test_libreoffice_opens_the_csv_and_calculates_nothing_if_it_was_defused(
    risky: Path, tmp_path: Path, how: str
) -> None:
    libreoffice(risky / how / "sessions.csv", tmp_path, "xlsx", "CSV:44,34,76,1")
    sheet = openpyxl.load_workbook(tmp_path / "sessions.xlsx").active
    assert sheet is not None
    head, row = sheet.iter_rows()
    names = [str(cell.value) for cell in head]
    found = dict(zip(names, row, strict=True))
    assert found["place"].value == FORMULAS["place"]
    assert found["date"].value == datetime(2026, 5, 3)
    assert (found["length_s"].value, found["utc_offset_min"].value) == (20, 120)
    assert (found["male"].data_type == "f") == (how == "plain")  # it would have, so the other way is a finding
    if how == "defused":
        assert {name: found[name].value for name in ("male", "female")} == {"male": "'=1+1", "female": "'+1+1"}
