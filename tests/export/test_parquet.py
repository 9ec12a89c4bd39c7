"""The Parquet export in DuckDB, an engine that shares no line with etholog: it finds the same numbers by SQL of its
own, from nothing but the exported files."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest
from pyarrow import parquet

import etholog
from etholog import season
from etholog.export import folder
from etholog.season import Season
from tests.export import sql
from tests.export.conftest import described, read
from tests.make import RECORDS, write_session

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def engine(exported: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    with duckdb.connect() as connection:
        sql.open_tables(connection, exported / "parquet")
        yield connection


def test_each_table_holds_the_same_as_its_csv(exported: Path) -> None:
    for table in described(exported):
        whole = exported / "parquet" / f"{table}.parquet"
        ours = pd.read_parquet(whole if whole.exists() else whole.with_suffix(""))
        if not whole.exists():
            assert set(ours.pop("month")) == {"2026-03"}
        theirs = read(exported, table)
        assert list(ours.columns) == list(theirs.columns)
        for name in ours.columns:
            left = ours[name].astype(theirs[name].dtype)
            assert left[left.notna()].tolist() == theirs[name][theirs[name].notna()].tolist(), (table, name)
            assert left.isna().tolist() == theirs[name].isna().tolist()


def test_types_are_what_the_description_says(exported: Path, engine: duckdb.DuckDBPyConnection) -> None:
    types = {"string": "VARCHAR", "number": "DOUBLE", "integer": "BIGINT", "boolean": "BOOLEAN", "date": "DATE"}
    types["datetime"] = "TIMESTAMP WITH TIME ZONE"
    for table, one in described(exported).items():
        told = {field["name"]: types[field["type"]] for field in one["schema"]["fields"]}
        seen = dict(engine.sql(f"select column_name, column_type from (describe {table})").fetchall())
        assert {name: kind for name, kind in seen.items() if name != "month"} == told


def test_a_session_lies_in_the_file_of_its_month_alone(tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    began = {"a": "2026-04-30T23:30:00-05:00", "b": "2026-04-30T23:30:00+02:00", "c": "2026-05-01T00:10:00+02:00"}
    for name, when in began.items():
        write_session(tmp_path / "sessions" / f"{name}.jsonl", RECORDS, began=when)
    folder.write(season.read(tmp_path), tmp_path / "tables", also=("parquet",))
    for table in ("bouts", "marks"):
        with duckdb.connect() as connection:
            sql.open_tables(connection, tmp_path / "tables" / "parquet")
            rows = connection.sql(f"select distinct month, session from {table} order by all").fetchall()
        assert rows == [("2026-04", "a"), ("2026-04", "b"), ("2026-05", "c")]  # the day on the wall there


def test_each_field_carries_its_unit(exported: Path) -> None:
    [file, *_] = (exported / "parquet" / "bouts").rglob("*.parquet")
    field = parquet.read_schema(file).field("onset_s")
    assert field.metadata[b"unit"] == b"s"
    assert field.metadata[b"description"]


def _rows(frame: pd.DataFrame) -> list[tuple[Any, ...]]:
    return sorted(frame.astype(object).where(frame.notna(), "").itertuples(index=False, name=None))


def test_it_finds_the_same_latencies(engine: duckdb.DuckDBPyConnection, known: Season) -> None:
    intervals = engine.sql("select distinct interval from intervals").fetchall()
    assert len(intervals) >= 3
    theirs = engine.sql(sql.LATENCIES).df().sort_values(["interval", "session"])
    for (interval,) in intervals:
        ours = etholog.latency(known, interval).sort_values("session", key=lambda column: column.astype(str))
        own = theirs[theirs["interval"] == interval]
        assert own["session"].tolist() == ours["session"].tolist()
        assert own["occurred"].tolist() == ours["occurred"].tolist()
        np.testing.assert_allclose(own["latency_s"], ours["latency_s"], rtol=0, atol=1e-9)  # a sum's order is free


def test_it_finds_the_same_durations(engine: duckdb.DuckDBPyConnection, known: Season) -> None:
    theirs = engine.sql(sql.DURATIONS).df()
    columns = ["male", "actor", "behaviour", "qualifier", "sessions", "count", "cut"]
    ours = etholog.duration(known, by="male")
    assert _rows(theirs[columns]) == _rows(ours[columns])
    key = columns[:4]
    both = ours.merge(theirs, on=key, suffixes=("", "_theirs"))
    assert len(both) == len(ours)
    np.testing.assert_allclose(both["total_s"], both["total_s_theirs"], rtol=0, atol=1e-9)
    np.testing.assert_allclose(both["share"], both["share_theirs"], rtol=1e-12)


@pytest.mark.parametrize("actor", [None, "male", "female"])
@pytest.mark.parametrize("repeats", [False, True])
def test_it_finds_the_same_counts_at_lag_one(
    engine: duckdb.DuckDBPyConnection, known: Season, actor: str | None, repeats: bool
) -> None:
    theirs = engine.execute(sql.TRANSITIONS, {"actor": actor, "repeats": repeats}).fetchall()
    ours = etholog.transition(known, actor=actor, repeats=repeats).counts.stack()
    assert theirs
    assert sorted(theirs) == sorted((first, after, count) for (first, after), count in ours.items() if count > 0)
