"""What a table from anywhere must hold before it is measured: every public function asks its table here.

A number from a table that does not mean what the function takes it for is worse than none, so each of these raises
one Refusal that names the column and the first row that is wrong (counted from 0, as `iloc` does).
"""

import math
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.base.refusal import Refusal
from etholog.base.text import nearest
from etholog.season import Season

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def table(value: object, *needed: str) -> pd.DataFrame:
    """Return the value, a DataFrame that has these columns, each once."""
    if not isinstance(value, pd.DataFrame):
        raise Refusal(f"a table is needed, not {_kind(value)}; give a pandas DataFrame")
    for name in needed:
        found = sum(isinstance(one, str) and one == name for one in value.columns) if isinstance(name, str) else 0
        if not found:
            raise Refusal(f"no column {name!r}{nearest(str(name), map(str, value.columns))}")
        if found > 1:
            raise Refusal(f"column {name!r}: comes {found} times; keep one")
    return value


def season(value: object) -> Season:
    """Return the value, a season."""
    if not isinstance(value, Season):
        raise Refusal(f"a season is needed, not {_kind(value)}; give what etholog.read returned")
    return value


def made_by(value: object, kind: type, maker: str) -> None:
    """Check that a value is what a public function returned."""
    if not isinstance(value, kind):
        raise Refusal(f"{_kind(value)} was given; give what {maker} returned")


def latencies(value: object, by: Sequence[str] = (), together: Sequence[str | None] = ()) -> pd.DataFrame:
    """Return a table of latencies: `latency_s` (seconds), `occurred` (bool), groups `by`, which may have holes, and
    columns of strata or animals that belong `together`, which may not; None among these is no column."""
    strata = [name for name in together if name is not None]
    rows = table(value, "latency_s", "occurred", *by, *strata)
    time, occurred = seconds(rows, "latency_s"), flags(rows, "occurred")
    for name in dict.fromkeys([*by, *(sex for sex in ("male", "female") if sex in rows.columns)]):
        labels(rows, name, holes=True)
    for name in strata:
        labels(rows, name)
    return rows.assign(latency_s=time, occurred=occurred)


def seconds(rows: pd.DataFrame, name: str, least: float = 0.0) -> Floats:
    """Return a column of times in seconds: finite numbers, none below the least."""
    found = _numbers(rows, name)
    _refuse(rows, name, ~np.isfinite(found), "is not a time; give seconds, and drop rows without one")
    _refuse(rows, name, found < least, f"is under {least:g} s")
    _refuse(rows, name, np.abs(found) > 1e10, "is over 300 years; give seconds")
    return found


def numbers(rows: pd.DataFrame, name: str, infinite: bool = False) -> Floats:
    """Return a column of numbers, missing ones as NaN; infinite ones only where they mean something."""
    found = _numbers(rows, name)
    _refuse(rows, name, np.isinf(found) & (not infinite), "is not a number")
    return found


def flags(rows: pd.DataFrame, name: str) -> Bools:
    """Return a column that says yes or no: bool, or 0 and 1."""
    column = rows[name]
    if column.dtype == bool:
        return np.asarray(column.to_numpy(), dtype=bool)
    if isinstance(column.dtype, pd.CategoricalDtype):
        column = column.astype(object)
    plain = isinstance(column.dtype, pd.BooleanDtype) or pd.api.types.is_numeric_dtype(column.dtype)
    if not (plain or column.map(lambda cell: isinstance(cell, bool | int | float | np.bool_ | np.number)).all()):
        _refuse(rows, name, column.map(lambda cell: not isinstance(cell, bool | np.bool_)).to_numpy(), _YES_OR_NO)
    found = _numbers(rows, name)
    _refuse(rows, name, ~np.isin(found, (0.0, 1.0)), _YES_OR_NO)
    return np.asarray(found == 1.0)


def labels(rows: pd.DataFrame, name: str, holes: bool = False) -> None:
    """Check a column of groups, animals or strata: single values that can be told apart, and none missing unless
    `holes` are allowed."""
    column = rows[name]
    if isinstance(column.dtype, pd.CategoricalDtype) and column.cat.categories.inferred_type not in ("string", "empty"):
        column = column.astype(object)
    if column.dtype == object:
        _refuse(rows, name, [not pd.api.types.is_hashable(cell) for cell in column], "is not a single value")
        kinds = {type(cell) for cell in column if not _missing(cell)}
        if len(kinds) > 1 and not all(issubclass(kind, int | float | np.number) for kind in kinds):
            first = next(type(cell) for cell in column if not _missing(cell))
            other = [not _missing(cell) and type(cell) is not first for cell in column]
            _refuse(rows, name, other, f"is of another type than the first ({first.__name__}); use one type")
    if not holes:
        _refuse(rows, name, column.isna().to_numpy(), "is missing; name it, or leave the row out")


def counts(value: object, what: str = "counts") -> NDArray[np.float64]:
    """Return a square table's whole counts, 0 or more, as floats."""
    frame = square(value, what)
    out = (
        np.stack([_numbers(frame, at, by_place=True) for at in range(frame.shape[1])], axis=1)
        if len(frame)
        else (np.zeros((0, 0)))
    )
    for bad, why in (
        (~np.isfinite(out), "is not a number"), (out < 0, "is under 0"),
        (out != np.floor(out), "is not a whole number"),
        (out > 2**53, "is too large to be counted exactly"),
    ):  # fmt: skip
        if bad.any():
            row, column = np.argwhere(bad)[0]
            told = f"row {frame.index[row]!r}, column {frame.columns[column]!r}"
            raise Refusal(f"{what}: {told}: {out[row, column]:g} {why}")
    return out


def square(value: object, what: str, ordered: bool = True) -> pd.DataFrame:
    """Return a square table with the same names down and across, in the same order if `ordered`; an array gets numbers
    for names."""
    if isinstance(value, np.ndarray | list | tuple):
        try:
            value = np.asarray(value)
        except ValueError:
            raise Refusal(f"{what}: the rows have not the same length") from None
        if value.ndim != 2:
            raise Refusal(f"{what}: {value.ndim} dimensions; a square table has 2")
        value = pd.DataFrame(value)
    frame = table(value)
    if frame.shape[0] != frame.shape[1]:
        raise Refusal(f"{what}: {frame.shape[0]} rows and {frame.shape[1]} columns; a square table has as many")
    for names in (frame.index, frame.columns):
        if names.nlevels > 1 or names.has_duplicates or names.isna().any():
            raise Refusal(f"{what}: each behaviour needs one name of its own, down and across")
    down, across = list(frame.index), list(frame.columns)
    if down != across if ordered else {*down} != {*across}:
        raise Refusal("a table of transitions has the same behaviours, in the same order, down and across")
    return frame


def number(value: object, what: str, least: float = -math.inf, most: float = 1e10) -> float:
    """Return a finite number within bounds, given as an argument."""
    if isinstance(value, bool) or not isinstance(value, int | float | np.integer | np.floating):
        raise Refusal(f"{what}: a number is needed, not {_kind(value)}")
    if not least <= value <= most or value in (math.inf, -math.inf):
        shown = str(value)[:40]
        if most < 1e10:
            raise Refusal(f"{what}: {shown} must be {least:g} or more, and {most:g} or less")
        raise Refusal(f"{what}: {shown} must be {'a finite number' if least == -math.inf else f'{least:g} or more'}")
    return float(value)


def whole(value: object, what: str, least: int = 0, most: int = 10_000_000) -> int:
    """Return a whole number within bounds, given as an argument."""
    if isinstance(value, bool) or not isinstance(value, int | np.integer):
        raise Refusal(f"{what}: a whole number is needed, not {_kind(value)}")
    if not least <= value <= most:
        raise Refusal(f"{what}: {str(value)[:40]} must be {least:,} or more, and {most:,} or less")
    return int(value)


def day(value: object) -> date:
    """Return a day, given as an argument."""
    if not isinstance(value, date) or isinstance(value, datetime):
        raise Refusal(f"today: a date is needed, not {_kind(value)}")
    return value


def word(value: object, what: str) -> str:
    """Return a text, given as an argument."""
    if not isinstance(value, str):
        raise Refusal(f"{what}: a word is needed, not {_kind(value)}")
    return value


def words(value: object, what: str) -> tuple[str, ...]:
    """Return one text or several, given as an argument; None is no text."""
    several = (value,) if isinstance(value, str) else () if value is None else value
    if not isinstance(several, list | tuple | set | frozenset):
        raise Refusal(f"{what}: a word or a list of words is needed, not {_kind(value)}")
    return tuple(word(one, what) for one in several)


def several(value: object, what: str) -> list[object]:
    """Return a row of values, given as an argument."""
    if not isinstance(value, list | tuple | range | np.ndarray) or (isinstance(value, np.ndarray) and value.ndim != 1):
        raise Refusal(f"{what}: a list of numbers is needed, not {_kind(value)}")
    return list(value)


def wholes(value: object, what: str) -> list[int]:
    """Return a row of whole numbers of 0 or more, given as an argument."""
    return [whole(one, what) for one in several(value, what)]


def one_of(value: object, what: str, known: Iterable[str]) -> str:
    """Return a word that is one of those known."""
    words = list(known)
    if not isinstance(value, str) or value not in words:
        raise Refusal(f"{what}: {value!r} is not one of {', '.join(words)}")
    return value


_YES_OR_NO = "is neither yes nor no; give True or False, or 1 or 0"


def _numbers(rows: pd.DataFrame, name: Any, by_place: bool = False) -> Floats:
    """Return a column as floats; a cell that is not a number, such as a text or a time span, is refused."""
    column = rows.iloc[:, name] if by_place else rows[name]
    told = rows.columns[name] if by_place else name
    if pd.api.types.is_numeric_dtype(column.dtype) and not pd.api.types.is_complex_dtype(column.dtype):
        return np.asarray(column.to_numpy(dtype=float, na_value=np.nan), dtype=np.float64)
    real = [isinstance(cell, bool | int | float | np.bool_ | np.integer | np.floating) or cell is None or cell is pd.NA
            for cell in column]  # fmt: skip
    _refuse(rows, told, ~np.array(real, dtype=bool), "is not a number", column)
    out = np.full(len(column), np.nan)
    for at, cell in enumerate(column):
        try:
            out[at] = np.nan if cell is None or cell is pd.NA else float(cell)
        except OverflowError:
            out[at] = np.inf
    return out


def _refuse(rows: pd.DataFrame, name: object, bad: Any, why: str, column: "pd.Series | None" = None) -> None:
    wrong = np.flatnonzero(np.asarray(bad, dtype=bool))
    if not len(wrong):
        return
    cell = (rows[name] if column is None else column).iloc[wrong[0]]
    more = f"; so are {len(wrong) - 1} more" if len(wrong) > 1 else ""
    at = f"column {name!r}, row {wrong[0]}"
    if _missing(cell):  # what it is not needs no word; what to do does
        _, mark, remedy = why.partition("; ")
        raise Refusal(f"{at}: empty{mark}{remedy}{more}")
    told = repr(cell) if isinstance(cell, str) else str(cell)
    raise Refusal(f"{at}: {told[:60]} {why}{more}")


def _missing(cell: object) -> bool:
    return cell is None or cell is pd.NA or cell is pd.NaT or (isinstance(cell, float) and math.isnan(cell))


def _kind(value: object) -> str:
    return "nothing" if value is None else " ".join(f"{type(value).__name__} {value!r}".split())[:80]
