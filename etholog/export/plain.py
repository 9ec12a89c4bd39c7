"""Tables made plain: each column of one declared type, its text free of what no file format can hold."""

from collections.abc import Iterable

import numpy as np
import pandas as pd

from etholog.base.text import portable
from etholog.export.columns import described

# A spreadsheet runs a cell that begins with one of these as a formula (OWASP, CSV Injection).
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")

BOOLEANS = {True: "TRUE", False: "FALSE"}  # as base R knows them in a file; it takes `true` and `True` for text


def plain(table: str, frame: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, str]]:
    """Return the table with columns of pandas' nullable types, and the Table Schema type of each."""
    names = _names([str(name) for name in frame.columns])
    types: dict[str, str] = {}
    columns: dict[str, pd.Series] = {}
    for at, name in enumerate(names):
        column = frame.iloc[:, at]
        known = described(table, name)
        types[name] = known.type if known else _type_of(column)
        columns[name] = measured(name, _as(column, types[name]))
    return pd.DataFrame(columns), types


def measured(name: str, column: pd.Series) -> pd.Series:
    """Return a column as it goes into a file: seconds to the millisecond, in which they were taken, others as they are.

    >>> measured("total_s", pd.Series([34.342999999999996])).tolist()
    [34.343]
    """
    return column.round(3) if name.endswith("_s") and column.dtype.kind == "f" else column


def _names(given: Iterable[str]) -> list[str]:
    """Return column names that are not empty and not the same but for case."""
    names: list[str] = []
    taken: set[str] = set()
    for name in given:
        base = " ".join(portable(name).split()) or "unnamed"
        new, count = base, 1
        while new.casefold() in taken:
            count += 1
            new = f"{base}_{count}"
        taken.add(new.casefold())
        names.append(new)
    return names


def _type_of(column: pd.Series) -> str:
    """Return the type of a column that the observers invented: the narrowest that holds every value."""
    kinds = {type(value.item() if isinstance(value, np.generic) else value) for value in column.dropna()}
    if kinds == {bool}:
        return "boolean"
    if kinds == {int}:
        return "integer"
    return "number" if kinds and kinds <= {int, float} else "string"


def _as(column: pd.Series, kind: str) -> pd.Series:
    if kind == "string":
        return _text(column)
    if kind == "number":
        return column.astype("float64")
    if kind == "integer":
        return column.astype("Int64")
    return column.astype("boolean") if kind == "boolean" else column


def _text(column: pd.Series) -> pd.Series:
    if isinstance(column.dtype, pd.CategoricalDtype):
        # Cleaning the few words of a categorical spares cleaning each of a million cells.
        words = [portable(str(word)) for word in column.cat.categories]
        if len(set(words)) == len(words):
            named: pd.Series = column.cat.rename_categories(words)
            return named.cat.remove_categories("") if "" in words else named
    cells = column.astype(object).map(lambda value: portable(str(value)) or None, na_action="ignore")
    return cells.where(cells.notna(), None).astype("string")


def defused(text: str) -> str:
    """Return the text with an apostrophe before it where a spreadsheet would run it as a formula.

    >>> defused("=1+1"), defused("one + one")
    ("'=1+1", 'one + one')
    """
    return f"'{text}" if runs_as_formula(text) else text


def runs_as_formula(text: str) -> bool:
    """Tell whether a spreadsheet that is given this text as a cell would take it for a formula."""
    return text.startswith(_FORMULA)
