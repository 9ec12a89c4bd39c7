"""A season in parts of whole sessions: what is asked of every session by itself is asked of one part after another, and
added up. The parts know nothing of each other, so any number of processors or machines may share them."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from etholog.analysis import columns, sequence
from etholog.analysis.design import named
from etholog.analysis.duration import time_shares
from etholog.analysis.latency import ethograms_with
from etholog.analysis.transition import REPEATED, Transitions, pooled, transitions
from etholog.ethogram import ACTORS
from etholog.season import Season, of, of_rows, store


@dataclass(frozen=True)
class Part:
    """One part of a season: it can be sent to another process or machine that sees the same folder."""

    folder: Path
    at: int
    left_out: frozenset[int] = (
        frozenset()
    )  # numbers of sessions that count for nothing, or were counted in another part
    conditions: tuple[str, ...] = ()  # what any session of the whole season says, so that all parts have one's columns
    outcomes: tuple[str, ...] = ()

    def season(self) -> Season:
        """Return its sessions with their bouts and gaps."""
        found = store.part(store.opened(self.folder), self.at, self.left_out)
        said = dict(found.said)
        for kind, names in (("conditions", self.conditions), ("outcome", self.outcomes)):
            said[kind] = [dict.fromkeys(names) | own for own in said[kind]]
        return of_rows(self.folder, replace(found, said=said))


# How the parts are asked: as the built-in `map` does it, which takes one after another; as the `map` of a pool of
# processes; or by a cluster, as with Dask: `lambda ask, parts: client.gather(client.map(ask, parts))`.
Across = Callable[[Callable[[Part], Any], Sequence[Part]], Iterable[Any]]


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
    said = store.names_said(kept, out)
    return [Part(Path(folder), at, out, *said) for at in range(len(kept.files("sessions")))]


def time_budget(folder: Path | str, by: str = "male", across: Across = map) -> pd.DataFrame:
    """Return how often and how long each behaviour came, for each value of a column of the sessions.

    Parameters
    ----------
    folder: what `etholog export DIR --by-month` wrote.
    by: a column of `season.sessions`.
    across: how the parts are asked (see `Across`): one after another where not given.

    Returns
    -------
    DataFrame: `by`, actor, behaviour, qualifier, kind; sessions, count, cut, total_s (seconds) and share, as in
    `etholog.duration`.

    Raises
    ------
    Refusal: where no season for an engine is there, or it has no such column.
    """
    keys = [by, "actor", "behaviour", "qualifier", "kind"]
    whole = without_bouts(store.opened(Path(folder)))
    columns.table(whole.sessions, columns.word(by, "by"))
    sums = [_sums(of(Path(folder), []), keys), *across(partial(_budget, keys=keys), parts(folder))]
    held, watched = zip(*sums, strict=True)
    each: pd.DataFrame = pd.concat(held).groupby(level=[*keys, "ethogram"], dropna=False).sum().reset_index()
    asked = {which: ethograms_with(whole, *which) for which in set(_which(each))}
    inside = np.array(
        [of in asked[which] for which, of in zip(_which(each), each["ethogram"], strict=True)], dtype=bool
    )
    each.loc[inside, "watched_s"] = 0.0  # they are among all that were watched
    found = each.drop(columns="ethogram").groupby(keys, dropna=False, as_index=False).sum()
    seconds = pd.concat(watched).groupby(level=[0, 1]).sum()
    total = found.pop("watched_s") + [
        sum(seconds.get((value, of), 0.0) for of in asked[which])
        for value, which in zip(found[by], _which(found), strict=True)
    ]
    found.loc[found["kind"] != "state", "total_s"] = float("nan")
    found["share"] = (found["total_s"] / total).where(total > 0)
    return found


def _which(rows: pd.DataFrame) -> list[tuple[str, str | None]]:
    """Return the behaviour of each row, and its qualifier."""
    return list(
        zip(rows["behaviour"], rows["qualifier"].astype(object).where(rows["qualifier"].notna(), None), strict=True)
    )


def _budget(part: Part, keys: list[str]) -> tuple[pd.DataFrame, pd.Series]:
    """Return the sums of one part."""
    return _sums(part.season(), keys)


def _sums(one: Season, keys: list[str]) -> tuple[pd.DataFrame, pd.Series]:
    """Return what is added up of each behaviour, for each value of the column and each ethogram, with the seconds
    watched of the sessions in which it came; and the seconds watched of all sessions of these."""
    by = keys[0]
    wanted = dict.fromkeys(["session", by, "ethogram", "watched_s"])
    told = one.sessions.reindex(columns=list(wanted))  # where no session counts it may lack the column
    known = told[named(told[by])].astype(dict.fromkeys(("session", by, "ethogram"), object))
    shares = time_shares(one).astype(dict.fromkeys(("session", *keys[1:]), object)).merge(known, on="session")
    sums = shares.groupby([*keys, "ethogram"], dropna=False).agg(
        sessions=("session", "size"), count=("count", "sum"), cut=("cut", "sum"), total_s=("total_s", "sum"),
        watched_s=("watched_s", "sum"),
    )  # fmt: skip
    return sums, known.groupby([by, "ethogram"])["watched_s"].sum()


def transition(
    folder: Path | str, *, actor: str | None = None, repeats: bool = False, across: Across = map
) -> Transitions:
    """Return what followed what in all sessions together, tested as `etholog.transition` tests it.

    Parameters
    ----------
    folder: what `etholog export DIR --by-month` wrote.
    actor, repeats: as for `etholog.transition`.
    across: how the parts are asked (see `Across`): one after another where not given.

    Returns
    -------
    Transitions: its counts are the sums of those of the parts.

    Raises
    ------
    Refusal: where no season for an engine is there, or nothing follows anything in it.
    """
    if actor is not None:
        columns.one_of(actor, "actor", ACTORS)
    every = without_bouts(store.opened(Path(folder)))
    tables = list(across(partial(_counts, actor=actor, repeats=repeats), parts(folder)))
    order = sequence.in_order(every, list(dict.fromkeys(name for table in tables for name in table.index)))
    counts = pd.DataFrame(0.0, order, order)
    for table in tables:
        counts.loc[table.index, table.columns] += table
    # No part can tell: what comes in it alone, and by its own ethograms, may come otherwise in another.
    never = None if repeats else sequence.impossible(every, order) & (counts.to_numpy() == 0)
    return pooled(every, transitions(counts, never), no_p=REPEATED if repeats else "")


def _counts(part: Part, actor: str | None, repeats: bool) -> pd.DataFrame:
    found = sequence.of(part.season(), actor=actor, repeats=repeats)
    return pd.DataFrame(found.counts(), found.names, found.names)


def without_bouts(kept: store.Store) -> Season:
    """Return all sessions of a season, whose ethograms say what may be asked, and none of their bouts and gaps."""
    return of_rows(kept.folder, store.rows_of(kept, [], []))
