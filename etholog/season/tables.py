"""A season's tables, made from rows."""

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.ethogram import ROLES
from etholog.season.rows import Codes, Rows

WORDS = ("male", "female", "species", "observer", "place")


def of(rows: Rows) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Return the tables of sessions, bouts and gaps (see `season.Season`)."""
    ids = pd.Index(rows.said["id"], dtype=object)
    sessions = _sessions(rows, ids)
    gap_place = np.repeat(np.arange(len(rows), dtype=np.int32), rows.counted["gaps"])
    why = rows.gaps["why"]
    gaps = pd.DataFrame(
        {
            "session": pd.Categorical.from_codes(gap_place, categories=ids, validate=False),
            "onset_s": rows.gaps["onset"] / 1000,
            "offset_s": rows.gaps["offset"] / 1000,
            "why": _categories(why, rows.whys),
        }
    )
    return sessions, _bouts(rows, ids, sessions), gaps


def began_there(sessions: pd.DataFrame) -> "pd.Series[pd.Timestamp]":
    """Return when each session began as the clock on the wall there showed it, whatever zone it says it is in."""
    return sessions["began"] + pd.to_timedelta(sessions["utc_offset_min"], unit="min")


def _sessions(rows: Rows, ids: pd.Index) -> pd.DataFrame:
    said, counted = rows.said, rows.counted
    names = pd.Index([kept.name for kept in rows.ethograms], dtype=object)
    columns: dict[str, Any] = {
        "session": pd.Categorical.from_codes(np.arange(len(ids)), categories=ids, validate=False),
        # One column of instants, so all in UTC; where the clock stood is kept beside it.
        "began": pd.Series(counted["began_us"].astype("datetime64[us]")).dt.tz_localize("UTC"),
        "utc_offset_min": counted["utc_offset_min"].astype(np.int64),
    }
    for word in WORDS:
        columns[word] = pd.Categorical(said[word])
    columns |= {
        "ethogram": pd.Categorical(names.take(counted["ethogram"])),
        "source": pd.Categorical(said["source"]),
        "length_s": counted["end"] / 1000,
        "watched_s": (counted["end"] - counted["unwatched"]) / 1000,
        "out_of_sight_s": counted["hidden"] / 1000,
        "marks": counted["marks"].astype(np.int64),
        "closed": counted["closed"].astype(bool),
    }
    for kind, answers in (
        ("condition", rows.said["conditions"]),
        ("outcome", rows.said["outcome"]),
    ):
        for name in dict.fromkeys(name for values in answers for name in values):
            column = name if name not in columns else f"{kind}_{name}"
            columns[column] = pd.Series([values.get(name) for values in answers]).infer_objects()
    return pd.DataFrame(columns)


def _bouts(rows: Rows, ids: pd.Index, sessions: pd.DataFrame) -> pd.DataFrame:
    each = rows.counted["bouts"]
    behaviours, actors, kinds, roles = Codes(), Codes(), Codes(), Codes(ROLES)
    told = np.zeros((len(rows.ethograms), len(rows.codes), 5), dtype=np.int16)
    number = {code: at for at, code in enumerate(rows.codes)}
    for kept in dict.fromkeys(rows.counted["ethogram"].tolist()):
        role_of = rows.ethograms[kept].role_of
        for b in rows.ethograms[kept].behaviour:
            its_role = roles[role_of[b.code]] if b.code in role_of else -1
            facts = behaviours[b.code], actors[b.actor], kinds[b.kind], b.hides, its_role
            if b.code in number:
                told[kept, number[b.code]] = facts
    cell = rows.bouts["code"].astype(np.intp)
    if len(rows.ethograms) > 1:
        cell += np.repeat(rows.counted["ethogram"].astype(np.intp) * len(rows.codes), each)
    behaviour, actor, kind, hides, role = told.reshape(-1, 5).T
    onset, offset = rows.bouts["onset"], rows.bouts["offset"]
    return pd.DataFrame(
        {
            "session": _spread(sessions["session"], each),
            "male": _spread(sessions["male"], each),
            "female": _spread(sessions["female"], each),
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
            "role": _column(roles, role[cell]),
            "n": rows.bouts["n"].astype(np.int32),
        },
        copy=False,
    )


def _spread(column: pd.Series, each: NDArray[Any]) -> pd.Categorical:
    """Return a column of sessions as one of their rows: each value `each` times."""
    codes = np.repeat(column.cat.codes.to_numpy(), each)
    return pd.Categorical.from_codes(codes, categories=column.cat.categories, validate=False)


def _column(words: Codes, numbers: NDArray[Any]) -> pd.Categorical:
    return pd.Categorical.from_codes(numbers, categories=pd.Index(list(words), dtype=object), validate=False)


def _categories(numbers: NDArray[Any], words: list[str]) -> pd.Categorical:
    """Return the words that came as categories in alphabetical order; -1 is none."""
    came = np.zeros(len(words) + 1, dtype=bool)  # the last place is none's
    came[numbers] = True
    wanted = sorted(word for word, there in zip(words, came, strict=False) if there)
    if wanted != words:
        place = {word: at for at, word in enumerate(wanted)}
        numbers = np.array([*(place.get(word, -1) for word in words), -1], dtype=np.int32)[numbers]
    return pd.Categorical.from_codes(numbers, categories=pd.Index(wanted, dtype=object), validate=False)
