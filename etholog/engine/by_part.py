"""A season in parts of whole sessions: what is asked of every session by itself is asked of one part after another, and
added up. The parts know nothing of each other, so any number of processors or machines may share them."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from etholog.analysis import columns
from etholog.analysis.duration import time_shares
from etholog.analysis.sequence import in_order
from etholog.analysis.transition import Transitions, pooled, transitions
from etholog.analysis.transition import transition as of_season
from etholog.season import Season, of_rows, store


@dataclass(frozen=True)
class Part:
    """One part of a season: it can be sent to another process or machine that sees the same folder."""

    folder: Path
    at: int
    left_out: frozenset[int]  # numbers of sessions that count for nothing, or were counted in another part

    def season(self) -> Season:
        """Return its sessions with their bouts and gaps."""
        kept = store.opened(self.folder)
        return of_rows(self.folder, store.part(kept, self.at, self.left_out))


def parts(folder: Path | str) -> list[Part]:
    """Return the parts of what `etholog export DIR --by-month` wrote.

    Each one's `season()` is a Season for every measure that looks at one session at a time.

    >>> import etholog, etholog.engine, pathlib, tempfile
    >>> from etholog.season import folder_of, store
    >>> where = tempfile.TemporaryDirectory()
    >>> tables = pathlib.Path(where.name, "tables")
    >>> _ = store.write(folder_of("examples/season"), tables)
    >>> [len(part.season().sessions) for part in etholog.engine.parts(tables)]
    [28]
    >>> where.cleanup()
    """
    kept = store.opened(Path(folder))
    out = store.left_out(kept)
    return [Part(Path(folder), at, out) for at in range(len(kept.files("sessions")))]


def time_budget(folder: Path | str, by: str = "male") -> pd.DataFrame:
    """Return how often and how long each behaviour came, for each value of a column of the sessions.

    Parameters
    ----------
    folder: what `etholog export DIR --by-month` wrote.
    by: a column of `season.sessions`.

    Returns
    -------
    DataFrame: `by`, actor, behaviour, qualifier, kind; sessions, count, cut, total_s (seconds) and share, as in
    `etholog.duration`.

    Raises
    ------
    Refusal: where no season for an engine is there, or it has no such column.
    """
    keys = [by, "actor", "behaviour", "qualifier", "kind"]
    held, watched = [], []
    for one in _seasons(folder):
        sessions = columns.table(one.sessions, columns.word(by, "by"))
        of = sessions[["session", by, "watched_s"]].astype({"session": object, by: object})
        watched.append(of.groupby(by)["watched_s"].sum())
        shares = time_shares(one).astype(dict.fromkeys(("session", *keys[1:]), object)).merge(of, on="session")
        sums = shares.groupby(keys, dropna=False).agg(
            sessions=("session", "size"), count=("count", "sum"), cut=("cut", "sum"), total_s=("total_s", "sum")
        )
        held.append(sums)
    found = pd.concat(held).groupby(level=keys, dropna=False).sum().reset_index()
    total = found[by].map(pd.concat(watched).groupby(level=0).sum())
    found.loc[found["kind"] != "state", "total_s"] = float("nan")
    found["share"] = (found["total_s"] / total).where(total > 0)
    return found


def transition(folder: Path | str, *, actor: str | None = None, repeats: bool = False) -> Transitions:
    """Return what followed what in all sessions together, tested as `etholog.transition` tests it.

    Parameters
    ----------
    folder: what `etholog export DIR --by-month` wrote.
    actor, repeats: as for `etholog.transition`.

    Returns
    -------
    Transitions: its counts are the sums of those of the parts.

    Raises
    ------
    Refusal: where no season for an engine is there, or nothing follows anything in it.
    """
    tables: list[pd.DataFrame] = []
    order: list[str] = []
    for one in _seasons(folder):
        counts = of_season(one, actor=actor, repeats=repeats).counts
        tables.append(counts)
        order = in_order(one, list(dict.fromkeys([*order, *map(str, counts.index)])))
    counts = pd.DataFrame(0.0, order, order)
    never = pd.DataFrame(False, order, order)  # where a part has the two and no count of them, not even 0
    for table in tables:
        counts = counts.add(table, fill_value=0.0)
        never.loc[table.index, table.columns] |= table.isna()
    kept = store.opened(Path(folder))
    return pooled(of_rows(kept.folder, store.rows_of(kept, [], [])), transitions(counts.loc[order, order], never))


def _seasons(folder: Path | str) -> Iterator[Season]:
    for part in parts(folder):
        yield part.season()
