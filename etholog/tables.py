"""A season's tables, made from rows."""

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.rows import Codes, Rows

WORDS = ("male", "female", "species", "observer", "place")


def of(rows: Rows) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Return the tables of sessions, bouts and gaps (see `season.Season`)."""
    ids = pd.Index([one.id for one in rows.facts], dtype=object)
    sessions = _sessions(rows, ids)
    bout_place = _places(one.bouts for one in rows.facts)
    gap_place = _places(one.gaps for one in rows.facts)
    why = rows.gaps["why"]
    gaps = pd.DataFrame(
        {
            "session": pd.Categorical.from_codes(gap_place, categories=ids, validate=False),
            "onset_s": rows.gaps["onset"] / 1000,
            "offset_s": rows.gaps["offset"] / 1000,
            "why": _categories(why, rows.whys),
        }
    )
    return sessions, _bouts(rows, ids, sessions, bout_place), gaps


def _places(counts: Iterable[int]) -> NDArray[np.int32]:
    lengths = np.fromiter(counts, dtype=np.int64)
    return np.repeat(np.arange(len(lengths), dtype=np.int32), lengths)


def _sessions(rows: Rows, ids: pd.Index) -> pd.DataFrame:
    facts = rows.facts
    began = np.array([one.began_us for one in facts], dtype="datetime64[us]")
    columns: dict[str, Any] = {
        "session": pd.Categorical.from_codes(np.arange(len(ids)), categories=ids),
        # One column of instants, so all in UTC; where the clock stood is kept beside it.
        "began": pd.Series(began).dt.tz_localize("UTC"),
        "utc_offset_min": [one.offset_min for one in facts],
    }
    for word in WORDS:
        columns[word] = pd.Categorical([getattr(one, word) for one in facts])
    length = np.array([one.end for one in facts], dtype=float)
    names = [kept.name for kept in rows.ethograms]
    columns |= {
        "ethogram": pd.Categorical([names[one.ethogram] for one in facts]),
        "source": pd.Categorical([one.source for one in facts]),
        "length_s": length / 1000,
        "watched_s": (length - np.array([one.unwatched for one in facts], dtype=float)) / 1000,
        "out_of_sight_s": np.array([one.hidden for one in facts], dtype=float) / 1000,
        "marks": np.array([one.marks for one in facts], dtype=np.int64),
        "closed": np.array([one.closed for one in facts], dtype=bool),
    }
    for kind, said in (
        ("condition", [one.conditions for one in facts]),
        ("outcome", [one.outcome for one in facts]),
    ):
        for name in dict.fromkeys(name for values in said for name in values):
            column = name if name not in columns else f"{kind}_{name}"
            columns[column] = pd.Series([values.get(name) for values in said]).infer_objects()
    return pd.DataFrame(columns)


def _bouts(rows: Rows, ids: pd.Index, sessions: pd.DataFrame, place: NDArray[np.int32]) -> pd.DataFrame:
    behaviours, actors, kinds = Codes(), Codes(), Codes()
    told = np.zeros((len(rows.ethograms), len(rows.codes), 4), dtype=np.int16)
    number = {code: at for at, code in enumerate(rows.codes)}
    for kept in dict.fromkeys(one.ethogram for one in rows.facts):
        for b in rows.ethograms[kept].behaviour:
            facts = behaviours[b.code], actors[b.actor], kinds[b.kind], b.hides
            if b.code in number:
                told[kept, number[b.code]] = facts
    cell = rows.bouts["code"].astype(np.intp)
    if len(rows.ethograms) > 1:
        cell += np.array([one.ethogram for one in rows.facts], dtype=np.intp)[place] * len(rows.codes)
    behaviour, actor, kind, hides = told.reshape(-1, 4).astype(np.int8).T
    onset, offset = rows.bouts["onset"], rows.bouts["offset"]
    return pd.DataFrame(
        {
            "session": pd.Categorical.from_codes(place, categories=ids, validate=False),
            "male": _spread(sessions["male"], place),
            "female": _spread(sessions["female"], place),
            "actor": _column(actors, actor[cell]),
            "behaviour": _column(behaviours, behaviour[cell]),
            "kind": _column(kinds, kind[cell]),
            "qualifier": _categories(rows.bouts["qualifier"], rows.qualifiers),
            "onset_s": onset / 1000,
            "offset_s": offset / 1000,
            "duration_s": (offset - onset) / 1000,
            "whole": rows.bouts["whole"],
            "confident": rows.bouts["sure"],
            "hides": hides.astype(bool)[cell],
            "n": rows.bouts["n"].astype(np.int32),
        },
        copy=False,
    )


def _spread(column: pd.Series, place: NDArray[np.int32]) -> pd.Categorical:
    codes = column.cat.codes.to_numpy()[place]
    return pd.Categorical.from_codes(codes, categories=column.cat.categories, validate=False)


def _column(words: Codes, numbers: NDArray[Any]) -> pd.Categorical:
    return pd.Categorical.from_codes(numbers, categories=pd.Index(list(words), dtype=object), validate=False)


def _categories(numbers: NDArray[Any], words: list[str]) -> pd.Categorical:
    """Return the words that came as categories in alphabetical order; -1 is none."""
    came = np.flatnonzero(np.bincount(numbers + 1, minlength=1)[1:])
    wanted = sorted(words[at] for at in came)
    place = {word: at for at, word in enumerate(wanted)}
    renumbered = np.array([*(place.get(word, -1) for word in words), -1], dtype=np.int16)[numbers]
    return pd.Categorical.from_codes(renumbered, categories=pd.Index(wanted, dtype=object), validate=False)
