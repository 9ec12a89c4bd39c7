"""Latencies over a season of any size: DuckDB picks the few bouts of each session that decide, and the measure itself
is the one that every other season has."""

import tempfile
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.analysis import columns
from etholog.analysis.latency import asked, check_names
from etholog.base.library import needed
from etholog.engine.by_part import Across, Part, without_bouts
from etholog.ethogram import Ethogram, Interval
from etholog.season import Season, of_rows, store
from etholog.session.endings import LAST
from etholog.session.latency import hiding_actors

if TYPE_CHECKING:
    import pyarrow

_Row = tuple[str, str, str, str | None]

# Of each session: the first onset of `since` (none: its start); the first of `to` and of `ends` at or after it; the
# first time out of sight that lasts beyond it; and what ends an evening for good. All rows of such an instant, since
# bouts of one instant have an order.
_DECIDE = """
create temp table wanted as
    select session, behaviour, qualifier, onset_ms, offset_ms, whole, confident, n, edge
    from bouts join sessions using (session)
        join asked on asked.ethogram = sessions.ethogram and asked.code = bouts.behaviour
            and (asked.choice is null or asked.choice = bouts.qualifier)
    where bouts.behaviour in (select code from asked);
create temp table start as
    select session, min(onset_ms) as start_ms from wanted where edge = 'since' group by session
    union all
    select session, 0 from sessions where ethogram not in (select ethogram from asked where edge = 'since');
create temp table deciding as
    select session, 'since' as edge, start_ms as at_ms from start
    union all
    select session, edge, min(onset_ms) from wanted join start using (session)
    where edge in ('to', 'end') and onset_ms >= start_ms group by session, edge
    union all
    select session, edge, min_by(onset_ms, greatest(onset_ms, start_ms)) from wanted join start using (session)
    where edge = 'hides' and offset_ms > start_ms group by session, edge;
"""

_PICKED = """
select distinct session, behaviour, qualifier, onset_ms, offset_ms, whole, confident, n from (
    select wanted.* exclude (edge) from wanted join deciding using (session, edge) where onset_ms = at_ms
    union all
    select session, behaviour, qualifier, onset_ms, offset_ms, whole, confident, n
    from bouts where list_contains($last, role)
) order by session, onset_ms, n
"""


def deciding(
    folder: Path | str,
    interval: str | None = None,
    *,
    since: str | Sequence[str] | None = None,
    to: str | Sequence[str] | None = None,
    ends: str | Sequence[str] | None = None,
    memory_gb: float = 1.0,
    threads: int | None = None,
    across: Across | None = None,
) -> Season:
    """Return a season of all sessions, with those bouts alone that decide one latency.

    Parameters
    ----------
    folder: what `etholog export DIR --by-month` wrote.
    interval, since, to, ends: as for `etholog.latency`.
    memory_gb: what DuckDB may hold at once, in GB; beyond that it uses the disk.
    threads: how many processors it takes; all where not given.
    across: how other processes or machines that see the same folder share the work: the `map` of a pool or of a
        cluster (see `by_part.Across`). Each part then has an engine of its own, with that memory.

    Returns
    -------
    Season: `etholog.latency`, asked the same of it, finds what it finds of the whole season.

    Raises
    ------
    Refusal: where no season for an engine is there, DuckDB is not installed, or a name is not known.

    >>> import etholog, etholog.engine, pathlib, tempfile
    >>> from etholog.season import folder_of, store
    >>> where = tempfile.TemporaryDirectory()
    >>> tables = pathlib.Path(where.name, "tables")
    >>> _ = store.write(folder_of("examples/season"), tables)
    >>> few = etholog.engine.deciding(tables, "courtship")
    >>> len(few.bouts), int(etholog.latency(few, "courtship")["occurred"].sum())
    (57, 22)
    >>> where.cleanup()
    """
    needed("duckdb", "an engine")
    kept = store.opened(Path(folder))
    names = columns.words(ends, "ends")
    every = without_bouts(kept)
    meant = asked(every, interval, since, to)
    if names:
        check_names(every, names)
    rows = _rows(kept, every.ethograms, meant, names)
    memory = columns.number(memory_gb, "memory_gb", 0.1)
    many = None if threads is None else int(columns.number(threads, "threads", 1))
    if across is None:
        picked = _picked(kept.files("sessions"), kept.files("bouts"), rows, memory, many)
    else:
        ask = partial(_of_part, rows=rows, memory_gb=memory, threads=many)
        every_part = [Part(kept.folder, at) for at in range(len(kept.files("sessions")))]
        picked = _in_order(list(across(ask, every_part)))
    return of_rows(kept.folder, store.rows_of(kept, picked, kept.files("gaps")))


def _of_part(part: Part, rows: Sequence[_Row], memory_gb: float, threads: int | None) -> "pyarrow.Table":
    kept = store.opened(part.folder)
    sessions, bouts = (kept.files(table)[part.at] for table in ("sessions", "bouts"))
    return _picked([sessions], [bouts], rows, memory_gb, threads)


def _in_order(tables: "Sequence[pyarrow.Table]") -> "pyarrow.Table":
    import pyarrow as arrow

    return arrow.concat_tables(tables).sort_by([(name, "ascending") for name in ("session", "onset_ms", "n")])


def _picked(
    sessions: Sequence[Path], bouts: Sequence[Path], rows: Sequence[_Row], memory_gb: float, threads: int | None
) -> "pyarrow.Table":
    """Return the bouts of these files that decide, in order."""
    import duckdb

    with tempfile.TemporaryDirectory() as spill, duckdb.connect() as engine:
        engine.execute(
            f"set memory_limit = '{memory_gb:g}GB';"
            f" set temp_directory = '{spill}'; set preserve_insertion_order = false; set enable_progress_bar = false"
        )
        if threads is not None:
            engine.execute(f"set threads = {threads}")
        for table, files in (("sessions", sessions), ("bouts", bouts)):
            engine.read_parquet([str(path) for path in files], hive_partitioning=False).create_view(table)
        engine.execute("create temp table asked (ethogram text, edge text, code text, choice text)")
        for row in rows:
            engine.execute("insert into asked values (?, ?, ?, ?)", row)
        engine.execute(_DECIDE)
        return engine.sql(_PICKED, params={"last": list(LAST)}).to_arrow_table()


def _rows(
    kept: store.Store, newest: Mapping[str, Ethogram], meant: Mapping[str, Interval], ends: Sequence[str]
) -> list[_Row]:
    """Return what is asked of the sessions of each ethogram: (its hash, which edge, behaviour, qualifier). `newest`: of
    those of one name the one by which a season says whose going out of sight counts."""
    found: list[_Row] = []
    for one in kept.ethograms:
        if (own := meant.get(one.name)) is None:
            continue
        actors = hiding_actors(newest[one.name], own.to)
        edges = [("since", own.since), ("to", own.to), ("end", ends)]
        edges.append(("hides", [b.code for b in one.behaviour if b.hides and b.actor in actors]))
        for edge, names in edges:
            for name in names:
                code, _, choice = name.partition(":")
                found.append((one.hash, edge, code, choice or None))
    return found
