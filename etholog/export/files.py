"""One table as CSV, or all of them as a workbook with a sheet for each."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from etholog.base.library import needed
from etholog.base.refusal import Refusal
from etholog.export.columns import described
from etholog.export.plain import BOOLEANS, defused, runs_as_formula

if TYPE_CHECKING:
    from openpyxl.worksheet._write_only import WriteOnlyWorksheet

SHEET_ROWS, CELL_CHARACTERS = 1_048_576, 32_767
WIDEST, WIDTH_ROWS = 60, 1000  # characters of a column, and how many rows say how wide it is
# How a sheet shows a day and an instant: by ISO 8601 in every country, and with the zone that a cell can't hold.
FORMS = {"date": "yyyy-mm-dd", "datetime": 'yyyy-mm-dd hh:mm:ss "UTC"'}


def csv(frame: pd.DataFrame, types: Mapping[str, str], path: Path, defuse: bool = False) -> None:
    """Write a table as CSV (RFC 4180, UTF-8): instants and days by ISO 8601, `TRUE` and `FALSE` (which base R
    knows; it takes `true` for text), nothing for what is missing."""
    out = frame.copy()
    for name, kind in types.items():
        if kind == "boolean":
            out[name] = out[name].map(BOOLEANS)
        elif kind == "datetime":
            out[name] = out[name].dt.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        elif kind == "string" and defuse:
            out[name] = out[name].astype(object).map(defused, na_action="ignore")
    if defuse:
        out.columns = [defused(str(name)) for name in out.columns]
    # With a byte order mark spreadsheets know that it is UTF-8; pandas, R and Frictionless read past it.
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write("\ufeff")
        out.to_csv(file, index=False, lineterminator="\r\n")


def workbook(tables: Mapping[str, tuple[pd.DataFrame, dict[str, str]]], about: Mapping[str, str], path: Path) -> None:
    """Write all tables into one XLSX, a sheet each, and one more that says what every column means."""
    needed("openpyxl", "XLSX")
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    book.properties.creator = "etholog"
    said = [
        (table, name, kind, known.unit if known else None, known.about if known else "As the observers gave it.")
        for table, (_, types) in tables.items()
        for name, kind in types.items()
        for known in [described(table, name)]
    ]
    tables_said = [(name, None, None, None, about[name]) for name in tables]
    _sheet(book.create_sheet("columns"), ["table", "column", "type", "unit", "meaning"], [*tables_said, *said])
    for table, (frame, types) in tables.items():
        if len(frame) >= SHEET_ROWS:
            raise Refusal(f"{table}: {len(frame):,} rows, and a sheet holds {SHEET_ROWS:,}; take CSV or Parquet")
        rows = zip(*(_cells(frame[name]) for name in frame.columns), strict=True)
        forms = [FORMS.get(kind) for kind in types.values()]
        _sheet(book.create_sheet(table), list(frame.columns), rows, forms)
    book.save(path)


def _cells(column: pd.Series) -> list[Any]:
    if isinstance(column.dtype, pd.DatetimeTZDtype):
        column = column.dt.tz_localize(None)  # a sheet's cells know no zones; the cell's form shows that it is UTC
        return [None if value is pd.NaT else value.to_pydatetime() for value in column]
    return [None if value is None or value != value else value for value in column.astype(object).where(column.notna())]


def _sheet(
    sheet: "WriteOnlyWorksheet", names: list[str], rows: Iterable[tuple[Any, ...]], forms: Sequence[str | None] = ()
) -> None:
    """Write a sheet with a head that stays in sight, filters, and columns as wide as what stands in them."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    rows = list(rows)
    sheet.freeze_panes = "A2"
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(names))}{len(rows) + 1}"
    for at, name in enumerate(names):
        letter = get_column_letter(at + 1)
        sheet.column_dimensions[letter].width = _width(name, (row[at] for row in rows[:WIDTH_ROWS]))
    heads = [_text_cell(sheet, name) for name in names]
    for head in heads:
        head.font = Font(bold=True)
        head.alignment = Alignment(vertical="top")
    sheet.append(heads)
    formed = {at: form for at, form in enumerate(forms) if form}
    for row in rows:
        cells = [_text_cell(sheet, cell) if isinstance(cell, str) else cell for cell in row]
        for at, form in formed.items():
            if cells[at] is not None:
                cells[at] = WriteOnlyCell(sheet, cells[at])
                cells[at].number_format = form
        sheet.append(cells)


def _width(name: str, cells: Iterable[Any]) -> int:
    """Return how wide a column is, in characters: its head with room for the filter's button, and its cells."""
    told = max((len(_shown(cell)) for cell in cells), default=0)
    return min(max(len(name) + 4, told + 2), WIDEST)


def _shown(cell: Any) -> str:
    if isinstance(cell, datetime):
        return "2026-01-01 00:00:00 UTC"
    return "" if cell is None else f"{cell:.6g}" if isinstance(cell, float) else str(cell)


def _text_cell(sheet: "WriteOnlyWorksheet", text: str) -> Any:
    """Return a cell that stays text, whatever the text looks like, and after somebody edits it too."""
    from openpyxl.cell import WriteOnlyCell

    if len(text) > CELL_CHARACTERS:
        more = " ... (the whole text is in the CSV)"
        text = text[: CELL_CHARACTERS - len(more)] + more
    cell = WriteOnlyCell(sheet, "")
    cell._value, cell.data_type = text, "s"
    if runs_as_formula(text):
        cell.quotePrefix = True
    return cell
