"""A folder of sessions read into tables."""

from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from etholog import animals as animals_
from etholog import notebook
from etholog import session as sessions_
from etholog.animals import Animals
from etholog.ethogram import Ethogram
from etholog.fold import Fold
from etholog.refusal import Refusal
from etholog.session import Session

WORDS = ("male", "female", "species", "observer", "place")


@dataclass(frozen=True)
class Season:
    """Many sessions as tables; `faults` are sentences on what could not be read.

    `sessions`: one row each. `bouts`: one row a bout, by session, onset and mark. `gaps`: spans that nobody
    watched. Times are seconds since
    the session began. `ethograms`: by name, each session's as it was when it was recorded (of one name, the newest
    session's).
    """

    folder: Path
    sessions: pd.DataFrame
    bouts: pd.DataFrame
    gaps: pd.DataFrame
    ethograms: dict[str, Ethogram]
    faults: list[str] = field(default_factory=list)

    @cached_property
    def animals(self) -> Animals:
        """The cards beside the sessions, and the pairings that both know of; read when first asked for."""
        return animals_.read(self.folder.parent if self.folder.name == "sessions" else self.folder)

    @cached_property
    def cards(self) -> pd.DataFrame:
        """What the cards say, a row an entry: animal, entry, on (as written), first_on, last_on (the days it may mean),
        sure, words, number, note, n."""
        rows = [
            (card.id, e.kind, e.on.text, e.on.first, e.on.last, e.sure, e.words, e.number, e.note, e.n)
            for card in self.animals.cards.values()
            for e in card.entries
        ]
        columns = ["animal", "entry", "on", "first_on", "last_on", "sure", "words", "number", "note", "n"]
        table = pd.DataFrame(rows, columns=columns)
        table["first_on"], table["last_on"] = pd.to_datetime(table["first_on"]), pd.to_datetime(table["last_on"])
        return table.astype({"animal": "category", "entry": "category", "sure": bool, "number": float, "n": int})

    def _repr_html_(self) -> str:
        said = f"{len(self.sessions)} sessions of {self.sessions['male'].nunique()} males and "
        said += f"{self.sessions['female'].nunique()} females, {len(self.bouts)} bouts."
        if self.faults:
            said += f" {len(self.faults)} lines or files could not be used: see faults."
        return notebook.html(
            said, self.sessions[["session", "began", "male", "female", "watched_s", "marks", "closed"]]
        )


def folder_of(path: Path | str) -> Path:
    """Return the folder of sessions meant: the path itself, or its `sessions`. Raises Refusal where there is none."""
    path = Path(path)
    if not path.is_dir():
        raise Refusal(f"{path}: is no folder; name a folder of sessions, or a workspace that has one")
    inner = path / "sessions"
    return inner if inner.is_dir() else path


def read(path: Path | str = ".") -> Season:
    """Read a folder of sessions, or a workspace that has one, into a Season. Files that are no sessions become
    faults."""
    folder = folder_of(path)
    found, faults = sessions_in(folder)
    return of(folder, found, faults)


def sessions_in(folder: Path) -> tuple[list[Session], list[str]]:
    """Return the sessions of a folder, in the order of their files' names, and what could not be read."""
    found: list[Session] = []
    faults: list[str] = []
    for file in sorted(folder.iterdir()):
        if file.name.startswith(".") or file.suffix == ".torn" or file.is_dir():
            continue
        try:
            found.append(sessions_.read(file))
        except Refusal as refusal:
            faults += str(refusal).splitlines()
    return found, faults


def of(folder: Path, found: Iterable[Session], faults: Iterable[str] = ()) -> Season:
    """Put sessions into tables. A session that comes twice counts once; so does one with a second observer's record."""
    told = list(faults)
    kept: dict[str, Session] = {}
    for one in sorted(found, key=lambda session: (session.began, session.id)):
        told += one.faults
        if one.id in kept:
            told.append(f"{one.path}: is session {one.id} again, as {kept[one.id].path.name} is; left out")
        else:
            kept[one.id] = one
    firsts = [one for one in kept.values() if one.header.get("record_of") not in kept]
    folds = [one.fold for one in firsts]
    ids = pd.Index([one.id for one in firsts])
    sessions = _sessions(ids, firsts, folds)
    return Season(
        folder,
        sessions,
        _bouts(ids, sessions, firsts, folds),
        _gaps(ids, folds),
        {one.ethogram.name: one.ethogram for one in firsts},
        told,
    )


def _sessions(ids: pd.Index, found: list[Session], folds: list[Fold]) -> pd.DataFrame:
    columns: dict[str, Any] = {
        "session": pd.Categorical(ids, categories=ids),
        # One column of instants, so all in UTC; where the clock stood is kept beside it.
        "began": pd.to_datetime([one.began for one in found], utc=True),
        "utc_offset_min": [_offset(one) for one in found],
    }
    for word in WORDS:
        columns[word] = pd.Categorical([one.header[word] for one in found])  # type: ignore[literal-required]
    length = np.array([fold.end for fold in folds], dtype=float)
    unwatched = np.array([sum(gap.offset - gap.onset for gap in fold.gaps) for fold in folds], dtype=float)
    columns |= {
        "ethogram": pd.Categorical([one.ethogram.name for one in found]),
        "source": pd.Categorical([one.header["source"] for one in found]),
        "length_s": length / 1000,
        "watched_s": (length - unwatched) / 1000,
        "out_of_sight_s": np.array([_hidden(one) for one in found], dtype=float) / 1000,
        "marks": np.array([fold.marks for fold in folds], dtype=np.int64),
        "closed": np.array([fold.closed for fold in folds], dtype=bool),
    }
    for kind, said in (
        ("condition", [one.header["conditions"] for one in found]),
        ("outcome", [fold.outcome for fold in folds]),
    ):
        for name in dict.fromkeys(name for values in said for name in values):
            column = name if name not in columns else f"{kind}_{name}"
            columns[column] = pd.Series([values.get(name) for values in said]).infer_objects()
    return pd.DataFrame(columns)


def _offset(one: Session) -> int:
    offset = one.began.utcoffset()
    return int(offset.total_seconds() // 60) if offset else 0


def _hidden(one: Session) -> int:
    """Return the milliseconds in which the male or the female could not be seen."""
    hiding = {b.code for b in one.ethogram.behaviour if b.hides}
    total = end = 0
    for bout in one.fold.bouts:  # by onset, so that two that overlap count once
        if bout.code in hiding:
            total += max(0, bout.offset - max(bout.onset, end))
            end = max(end, bout.offset)
    return total


class _Codes:
    """Numbers for words as they come, so that no column ever holds a million strings."""

    def __init__(self) -> None:
        self.numbers: dict[str, int] = {}

    def of(self, word: str) -> int:
        return self.numbers.setdefault(word, len(self.numbers))

    def column(self, numbers: Any) -> pd.Categorical:
        return pd.Categorical.from_codes(np.asarray(numbers), categories=pd.Index(list(self.numbers), dtype=object))


def _bouts(ids: pd.Index, sessions: pd.DataFrame, found: list[Session], folds: list[Fold]) -> pd.DataFrame:
    codes, actors, kinds, qualifiers = _Codes(), _Codes(), _Codes(), _Codes()
    known: dict[int, dict[str, tuple[int, int, int, bool]]] = {}
    at, onset, offset = array("i"), array("q"), array("q")
    what: list[tuple[int, int, int, bool]] = []
    qualifier, whole, sure, number = array("h"), array("b"), array("b"), array("i")
    for place, (one, fold) in enumerate(zip(found, folds, strict=True)):
        facts = known.get(id(one.ethogram))
        if facts is None:
            facts = known[id(one.ethogram)] = {
                b.code: (codes.of(b.code), actors.of(b.actor), kinds.of(b.kind), b.hides)
                for b in one.ethogram.behaviour
            }
        bouts = fold.bouts
        at.extend([place] * len(bouts))
        number.extend([bout.n for bout in bouts])
        what += [facts[bout.code] for bout in bouts]
        onset.extend([bout.onset for bout in bouts])
        offset.extend([bout.offset for bout in bouts])
        qualifier.extend([-1 if bout.qualifier is None else qualifiers.of(bout.qualifier) for bout in bouts])
        whole.extend([bout.whole for bout in bouts])
        sure.extend([bout.sure for bout in bouts])
    place_of = np.asarray(at, dtype=np.int32)
    facts_of = np.array(what, dtype=np.int16).reshape(-1, 4)
    onset_s, offset_s = np.asarray(onset) / 1000, np.asarray(offset) / 1000
    return pd.DataFrame(
        {
            "session": pd.Categorical.from_codes(place_of, categories=ids),
            "male": _spread(sessions["male"], place_of),
            "female": _spread(sessions["female"], place_of),
            "actor": actors.column(facts_of[:, 1]),
            "behaviour": codes.column(facts_of[:, 0]),
            "kind": kinds.column(facts_of[:, 2]),
            "qualifier": qualifiers.column(qualifier),
            "onset_s": onset_s,
            "offset_s": offset_s,
            "duration_s": (np.asarray(offset) - np.asarray(onset)) / 1000,
            "whole": np.asarray(whole, dtype=bool),
            "confident": np.asarray(sure, dtype=bool),
            "hides": facts_of[:, 3].astype(bool),
            "n": np.asarray(number, dtype=np.int32),
        }
    )


def _spread(column: pd.Series, place: Any) -> pd.Categorical:
    return pd.Categorical.from_codes(column.cat.codes.to_numpy()[place], categories=column.cat.categories)


def _gaps(ids: pd.Index, folds: list[Fold]) -> pd.DataFrame:
    spans = [(place, gap) for place, fold in enumerate(folds) for gap in fold.gaps]
    return pd.DataFrame(
        {
            "session": pd.Categorical.from_codes(
                np.array([place for place, _ in spans], dtype=np.int32), categories=ids
            ),
            "onset_s": np.array([gap.onset for _, gap in spans], dtype=float) / 1000,
            "offset_s": np.array([gap.offset for _, gap in spans], dtype=float) / 1000,
            "why": pd.Categorical([gap.why for _, gap in spans]),
        }
    )
