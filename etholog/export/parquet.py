"""Tables as Parquet, typed and in parts, so that an engine such as DuckDB goes on where memory ends."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from etholog.base.library import needed
from etholog.export.columns import described

if TYPE_CHECKING:
    import pyarrow

# What an engine reads at once: enough to be fast, and a few of them fit anywhere.
GROUP_ROWS = 2**18


def write(table: str, frame: pd.DataFrame, types: Mapping[str, str], folder: Path, month: pd.Series | None) -> None:
    """Write a table as `<table>.parquet`; with the `month` of each row, as `<table>/month=YYYY-MM/part.parquet`, the
    naming by which engines know which files they need not open. Rows stay in their order, so that no session is in
    two files."""
    needed("pyarrow", "Parquet")
    from pyarrow import Table, parquet

    kept = schema(table, frame, types)
    parts = {folder / f"{table}.parquet": frame}
    if month is not None:
        groups = frame.groupby(month.to_numpy(), sort=True)
        parts = {folder / table / f"month={name}" / "part.parquet": part for name, part in groups}
    for path, part in parts.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        made = Table.from_pandas(_lean(part), schema=kept, preserve_index=False)
        parquet.write_table(made, path, row_group_size=GROUP_ROWS, compression="zstd")


def schema(table: str, frame: pd.DataFrame, types: Mapping[str, str]) -> "pyarrow.Schema":
    """Return the table's Arrow schema; each field carries its description and unit."""
    import pyarrow as arrow

    arrows = {
        "number": arrow.float64(),
        "integer": arrow.int64(),
        "boolean": arrow.bool_(),
        "date": arrow.date32(),
        "datetime": arrow.timestamp("us", tz="UTC"),
    }
    fields = []
    for name, kind in types.items():
        words = arrow.string()
        if isinstance(frame[name].dtype, pd.CategoricalDtype):
            words = arrow.dictionary(arrow.int32(), words)
        known = described(table, name)
        said = {"description": known.about, "unit": known.unit or ""} if known else {}
        fields.append(arrow.field(name, arrows.get(kind, words), metadata=said))
    return arrow.schema(fields)


def _lean(part: pd.DataFrame) -> pd.DataFrame:
    """Return the rows with no word that none of them has: each file would carry the words of all."""
    out = part.copy()
    for name in out.columns:
        if isinstance(out[name].dtype, pd.CategoricalDtype):
            out[name] = out[name].cat.remove_unused_categories()
    return out
