"""A season as tidy tables: what was recorded, what it was corrected to, and what it comes to."""

from array import array
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from etholog import session
from etholog.analysis.duration import time_shares
from etholog.analysis.latency import latency
from etholog.analysis.lineage import everybody, lineage
from etholog.analysis.lots import lots
from etholog.analysis.transition import transition
from etholog.base import files
from etholog.base.refusal import Refusal
from etholog.ethogram import Ethogram
from etholog.season import Season, began_there, store
from etholog.session import Session
from etholog.session.folding import corrected, undone

NBO = "http://purl.obolibrary.org/obo/"
SMALLEST_P = float(np.finfo(float).tiny)


def tables(season: Season) -> dict[str, pd.DataFrame]:
    """Return the tables of an export by their names, each one's rows in a fixed order.

    Those of sessions are left out where there is none, and those of animals where no card is. Raises Refusal where a
    session's file is no longer there: single records are read from it once more.
    """
    return (_of_sessions(season) if len(season.sessions) else {}) | (_of_animals(season) if len(season.cards) else {})


def _of_animals(season: Season) -> dict[str, pd.DataFrame]:
    known = season.animals
    lines = lineage(known, {*known.known(), *everybody(known)})
    return {
        "cards": _cards(season.cards),
        "animals": lines.drop_duplicates("animal")[["animal", "sex", "species", "form", "born", "died"]],
        "pedigree": lines[lines["parent"] != ""][["animal", "parent", "as", "chance", "sure"]],
        "lots": lots(known),
    }


def _of_sessions(season: Season) -> dict[str, pd.DataFrame]:
    marks = Marks()
    named: dict[str, str] = {}
    kept: dict[str, Ethogram] = {}
    for one in _again(season):
        marks.add(one)
        named[one.id] = _id(one.ethogram)
        kept[named[one.id]] = one.ethogram
    return {
        "sessions": _sessions(season, named),
        "bouts": _with_ethogram(season.bouts, named).drop(columns=["hides", "role"]),
        "marks": marks.table(season.sessions["session"].cat.categories),
        "gaps": season.gaps,
        "latencies": _latencies(season),
        "durations": _durations(season),
        "transitions": _transitions(season),
        "ethogram": _ethograms(kept),
        "intervals": _intervals(kept),
    }


def _again(season: Season) -> Iterator[Session]:
    """Yield each of the season's sessions, read from its file once more: a season holds no single records."""
    if store.is_store(season.folder):
        raise Refusal(f"{season.folder}: holds bouts and no single records; export from the sessions themselves")
    left = set(season.sessions["session"])
    paths: dict[str, list[Path]] = {}
    for name in files.listed(season.folder)[0]:
        with suppress(Refusal):  # no session; the season's faults tell of it
            paths.setdefault(session.header(season.folder / name)["id"], []).append(season.folder / name)
    for own in [paths[name] for name in paths if name in left]:
        copies: list[Session] = []
        for path in own:
            with suppress(Refusal):
                copies.append(session.read(path))
        for name, at in session.fullest(one.as_copy for one in copies).items():
            left.remove(name)
            yield copies[at]
    if left:
        raise Refusal(f"{season.folder}: session {min(left)} is no longer there; export again")


def _id(ethogram: Ethogram) -> str:
    return f"{ethogram.name}-{ethogram.hash[:12]}"


def _with_ethogram(frame: pd.DataFrame, named: Mapping[str, str]) -> pd.DataFrame:
    ids = pd.Categorical([named[session] for session in frame["session"].cat.categories])
    out = frame.copy()
    at = list(out.columns).index("behaviour") if "behaviour" in out else len(out.columns)
    codes = ids.codes[out["session"].cat.codes.to_numpy()]
    out.insert(at, "ethogram_id", pd.Series(pd.Categorical.from_codes(codes, ids.categories), index=out.index))
    return out


def _sessions(season: Season, named: Mapping[str, str]) -> pd.DataFrame:
    out = season.sessions.copy()
    # An observer may have called a condition or an answer so too: then `plain` renames that one.
    out.insert(1, "date", began_there(out).dt.date, allow_duplicates=True)
    at = list(out.columns).index("ethogram") + 1
    out.insert(at, "ethogram_id", [named[session] for session in out["session"]], allow_duplicates=True)
    return out


_NOTHING: Mapping[str, Any] = {}
_SAID = ("text", "key", "why", "name", "what")


class Marks:
    """The table of every record of every journal, a column at a time, so that a million of them are no objects."""

    WORDS = (
        ("record", "recorded", "do"),
        ("behaviour", "recorded", "code"),
        ("edge", "recorded", "edge"),
        ("qualifier", "recorded", "qualifier"),
        ("stands_behaviour", "stands", "code"),
        ("stands_qualifier", "stands", "qualifier"),
    )

    def __init__(self) -> None:
        self.sessions: list[tuple[str, int]] = []
        self.words: dict[str, list[str | None]] = {name: [] for name, _, _ in self.WORDS}
        self.said: list[str | None] = []
        self.seconds = {"at_s": array("d"), "stands_at_s": array("d")}
        self.numbers = {name: array("q") for name in ("n", "amends", "in_force", "confident")}

    def add(self, one: Session) -> None:
        """Take in a session's records: as they were recorded, and as they stand after all corrections."""
        gone = undone(one.records)
        stands: dict[int, Mapping[str, Any]] = {record["n"]: record for record in corrected(one.records)[0]}
        rows: Sequence[Mapping[str, Any]] = one.records
        now = [stands.get(row["n"], _NOTHING) for row in rows]
        self.sessions.append((one.id, len(rows)))
        for name, told, word in self.WORDS:
            self.words[name] += [row.get(word) for row in (rows if told == "recorded" else now)]
        self.said += [next((row[name] for name in _SAID if name in row), None) for row in rows]
        self.seconds["at_s"].extend([row["t"] / 1000 if "t" in row else np.nan for row in rows])
        self.seconds["stands_at_s"].extend([row["t"] / 1000 if row else np.nan for row in now])
        self.numbers["n"].extend([row["n"] for row in rows])
        self.numbers["amends"].extend([row.get("of", -1) for row in rows])
        self.numbers["in_force"].extend([row["n"] not in gone for row in rows])
        self.numbers["confident"].extend([row.get("sure", True) if row.get("do") == "mark" else -1 for row in now])

    def table(self, order: pd.Index) -> pd.DataFrame:
        """Return the table, its sessions in this order."""
        place = np.repeat(
            order.get_indexer(pd.Index([one for one, _ in self.sessions])), [count for _, count in self.sessions]
        )
        words = {name: pd.Categorical(words) for name, words in self.words.items()}
        numbers = {name: np.asarray(column) for name, column in self.numbers.items()}
        seconds = {name: np.asarray(column) for name, column in self.seconds.items()}
        frame = pd.DataFrame(
            {
                "session": pd.Categorical.from_codes(place, categories=order),
                "n": numbers["n"],
                "record": words["record"],
                "at_s": seconds["at_s"],
                "behaviour": words["behaviour"],
                "edge": words["edge"],
                "qualifier": words["qualifier"],
                "said": pd.Series(self.said, dtype=object),
                "amends": pd.Series(numbers["amends"], dtype="Int64").where(numbers["amends"] >= 0),
                "in_force": numbers["in_force"].astype(bool),
                "stands_at_s": seconds["stands_at_s"],
                "stands_behaviour": words["stands_behaviour"],
                "stands_qualifier": words["stands_qualifier"],
                "confident": pd.Series(numbers["confident"] > 0, dtype="boolean").where(numbers["confident"] >= 0),
            }
        )
        return frame.iloc[np.argsort(place, kind="stable")].reset_index(drop=True)


def _latencies(season: Season) -> pd.DataFrame:
    parts = []
    for interval in dict.fromkeys(i.name for kept in season.ethograms.values() for i in kept.interval):
        times = latency(season, interval)[["session", "male", "female", "latency_s", "occurred", "ended_by"]]
        times.insert(0, "interval", interval)
        parts.append(times)
    # What a table says of itself in `attrs` differs between intervals, and pandas would compare it.
    for part in parts:
        part.attrs = {}
    return _joined(parts, ["interval", "session", "male", "female", "latency_s", "occurred", "ended_by"])


def _durations(season: Season) -> pd.DataFrame:
    """Return the time shares with who was together, which nobody should have to join for."""
    out = time_shares(season)
    pairs = season.sessions.set_index("session")[["male", "female"]]
    for at, name in enumerate(pairs.columns, list(out.columns).index("session") + 1):
        out.insert(at, name, out["session"].astype(object).map(pairs[name].astype(object)))
    return out


def _cards(cards: pd.DataFrame) -> pd.DataFrame:
    return cards.assign(first_on=cards["first_on"].dt.date, last_on=cards["last_on"].dt.date)


def _transitions(season: Season) -> pd.DataFrame:
    parts = []
    for whose in (None, "male", "female"):
        part = transition(season, actor=whose).long()
        part.insert(0, "whose", whose or "all")
        part["p_holm"] = part["p_holm"].clip(lower=SMALLEST_P)  # one that a double can't hold is no 0
        parts.append(part)
    return _joined(parts, list(parts[0].columns))


def _joined(parts: Sequence[pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    full = [part for part in parts if len(part)]
    return pd.concat(full, ignore_index=True) if full else pd.DataFrame(columns=columns)


def _ethograms(kept: Mapping[str, Ethogram]) -> pd.DataFrame:
    rows = []
    for name, ethogram in kept.items():
        for b in ethogram.behaviour:
            rows.append(
                {
                    "ethogram_id": name,
                    "ethogram": ethogram.name,
                    "ethogram_version": ethogram.version,
                    "ethogram_sha256": ethogram.hash,
                    "behaviour": b.code,
                    "label": b.label,
                    "actor": b.actor,
                    "kind": b.kind,
                    "definition": b.definition,
                    "source": b.source,
                    "chain": b.chain,
                    "stage": b.stage,
                    "qualifier_means": b.qualifier,
                    "choices": ";".join(choice.name for choice in b.choices) or None,
                    "ends": ";".join(b.ends) or None,
                    "within": b.within,
                    "resembles": b.resembles,
                    "hides": b.hides,
                    "nbo": b.nbo,
                    "nbo_iri": NBO + b.nbo.replace(":", "_") if b.nbo else None,
                    "nbo_match": "skos:broadMatch" if b.nbo else None,
                    "role": ethogram.role_of.get(b.code),
                }
            )
    return pd.DataFrame(rows)


def _intervals(kept: Mapping[str, Ethogram]) -> pd.DataFrame:
    rows = [
        (
            name,
            i.name,
            i.label,
            ";".join(i.since) or None,
            ";".join(i.to),
            ";".join(i.ends) or None,
            ethogram.role_of_interval.get(i.name),
        )
        for name, ethogram in kept.items()
        for i in ethogram.interval
    ]
    return pd.DataFrame(rows, columns=["ethogram_id", "interval", "label", "since", "to", "ends", "role"])
