"""A season for an engine after whatever a keeper changes: written anew in part, it says what all of it anew would say,
and what memory says of the sessions."""

import json
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import etholog as library
from etholog import engine, session
from etholog.base.refusal import Refusal
from etholog.ethogram import Ethogram, from_plain
from etholog.season import Season, store
from tests.make import ETHOGRAM, RECORDS, assert_same_season, marks, write_card, write_session
from tests.session.test_latency import hers
from tests.session.test_session import records

PART_ROWS = 12


def _bare() -> Ethogram:
    """One that lacks the roles that a measure needs, until the workspace's own tells them."""
    plain = ETHOGRAM.plain()
    kept = [b for b in plain["behaviour"] if b["code"] != "touch"]
    return from_plain(plain | {"name": "bare", "behaviour": kept})


ETHOGRAMS = [ETHOGRAM, hers(ETHOGRAM), from_plain(hers(ETHOGRAM).plain() | {"name": "other"}), _bare()]
TOLD: list[dict[str, str]] = [{}, {"probing": "touch", "walking": "killed"}, {"drumming": "killed"}]
MONTHS = (3, 4, 5)
LATENCIES: list[dict[str, Any]] = [
    {"to": "touch"},
    {"to": "insertion:left", "unseen": "censor"},
    {"since": "drumming", "to": ["insertion", "touch"], "competing": True},
    {"since": ["walking", "clasp"], "to": "touch", "ends": ["flees", "probing"], "unseen": "censor"},
    {"to": "drumming", "competing": True},
]
COLUMNS = ("male", "light", "ended", "temperature_c", "species", "marks", "outcome_ended")

conditions = st.fixed_dictionaries(
    {}, optional={"light": st.sampled_from(["red", "dim"]), "temperature_c": st.sampled_from([24, 24.5]),
                  "marks": st.just("few"), "ended": st.just("by hand")}
)  # fmt: skip
outcomes = st.fixed_dictionaries(
    {}, optional={"ended": st.sampled_from(["she killed him", "he got out"]), "accident": st.just(True)}
)  # fmt: skip


@st.composite
def evenings(draw: st.DrawFn) -> dict[str, Any]:
    made = draw(records())
    if made and made[-1]["do"] == "close":
        made[-1] |= {"outcome": draw(outcomes)}
    month, hour = draw(st.sampled_from(MONTHS)), draw(st.sampled_from(["01", "21"]))
    day, zone = draw(st.sampled_from(["01", "30"])), draw(st.sampled_from(["+02:00", "-05:00"]))
    return {
        "made": made,
        "ethogram": draw(st.sampled_from(ETHOGRAMS)),
        "began": f"2026-{month:02}-{day}T{hour}:15:00.000{zone}",
        "male": draw(st.sampled_from(["M-1", "M-2", ""])),
        "female": draw(st.sampled_from(["F-1", "F-2", ""])),
        "species": draw(st.sampled_from(["Brachypelma smithi", ""])),
        "conditions": draw(conditions),
        "record_of": draw(st.sampled_from([None, None, None, "s0", "s1"])),
    }


place = st.integers(0, 9)
changes = st.one_of(
    st.tuples(st.just("put"), place, evenings()),
    st.tuples(st.just("put"), place, evenings()),
    st.tuples(st.just("remove"), place),
    st.tuples(st.just("call"), place),
    st.tuples(st.just("copy"), place),
    st.tuples(st.just("date"), place, st.sampled_from(MONTHS)),
    st.tuples(st.just("rename"), st.sampled_from(["M-1", "M-2", "F-1"]), st.sampled_from(["M-2", "M-8", "F-9"])),
    st.tuples(st.just("species"), st.sampled_from(["M-1", "F-1", "M-8"])),
    st.tuples(st.just("roles"), st.sampled_from(TOLD)),
)


class Workspace:
    """What a keeper changes."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.sessions = folder, folder / "sessions"
        self.sessions.mkdir(parents=True)
        self.evenings: dict[str, dict[str, Any]] = {}
        self.copies = 0

    def put(self, at: int, evening: dict[str, Any]) -> None:
        self.evenings[f"s{at}"] = evening
        self._write(self.sessions / f"s{at}.jsonl", evening)

    def remove(self, at: int) -> None:
        if len(list(self.sessions.iterdir())) > 1 and (path := self._at(at)):
            path.unlink()

    def call(self, at: int) -> None:
        if path := self._at(at):
            path.rename(path.with_name(f"r{self.copies}.jsonl"))
            self.copies += 1

    def copy(self, at: int) -> None:
        if path := self._at(at):
            shutil.copy(path, path.with_name(f"c{self.copies}.jsonl"))
            self.copies += 1

    def date(self, at: int, month: int) -> None:
        if path := self._at(at):
            id_ = session.header(path)["id"]
            evening = self.evenings[id_]
            self._write(path, evening | {"began": f"2026-{month:02}{evening['began'][7:]}", "id": id_})

    def rename(self, who: str, to: str) -> None:
        write_card(self.folder, who, ("renamed", "2026-07-01", to))

    def species(self, who: str) -> None:
        write_card(self.folder, who, ("species", "2026-01-01", "Aphonopelma seemanni"))

    def roles(self, told: dict[str, str]) -> None:
        own = self.folder / "ethograms" / "bare.toml"
        own.parent.mkdir(exist_ok=True)
        plain = _bare().plain()
        plain["behaviour"] = [b | ({"role": told[b["code"]]} if b["code"] in told else {}) for b in plain["behaviour"]]
        own.write_text(_toml(plain))

    def _at(self, at: int) -> Path | None:
        paths = sorted(self.sessions.iterdir())
        return paths[at % len(paths)] if paths else None

    @staticmethod
    def _write(path: Path, evening: dict[str, Any]) -> None:
        path.unlink(missing_ok=True)
        header = {name: value for name, value in evening.items() if name != "made" and value is not None}
        write_session(path, evening["made"], **header)


def _toml(plain: dict[str, Any]) -> str:
    lists = {name: value for name, value in plain.items() if name == "behaviour"}
    lines = [f"{name} = {json.dumps(value)}" for name, value in plain.items() if name not in lists and value]
    for one in lists["behaviour"]:
        lines.append("[[behaviour]]")
        for name, value in one.items():
            if name == "choices":
                value = "[" + ", ".join(f'{{ name = "{choice["name"]}" }}' for choice in value) + "]"
                lines.append(f"{name} = {value}")
            elif value not in (None, "", [], ()):
                lines.append(f"{name} = {json.dumps(value)}")
    return "\n".join(lines) + "\n"


def said_of(ask: Callable[[], Any]) -> Any:
    try:
        return ask()
    except Refusal as refusal:
        return str(refusal).partition(": no session in it")[1] or str(refusal)


def named(season: Season) -> Season:
    """A season whose findings name files, not folders."""
    told = [one._replace(path=Path(one.path.name)) for one in season.findings if one.path]
    return replace(season, findings=told)


def tables(folder: Path) -> list[pd.DataFrame]:
    kept = store.opened(folder)
    sessions, *others = (store._table(kept.files(name), of=name).to_pandas() for name in store.TABLES)
    names = sessions.set_index("session")["name"]
    others = [one.assign(session=names.loc[one["session"]].to_numpy()) for one in others]
    order = [one.sort_values([*one.columns[:1], "onset_ms", *one.columns[-1:]]) for one in others]
    found = [sessions.drop(columns="session").sort_values("name"), *order]
    return [one.astype(object).reset_index(drop=True) for one in found]


def check(large: Path, sessions: Path, fresh: Path, turn: int) -> None:
    store.write(sessions, fresh, PART_ROWS)
    for ours, theirs in zip(tables(large), tables(fresh), strict=True):
        pd.testing.assert_frame_equal(ours, theirs)
    shutil.rmtree(fresh)
    known = library.read(sessions)
    assert_same_season(named(library.read(large)), named(known))
    same_latency(large, known, **LATENCIES[turn % len(LATENCIES)])
    same_transitions(large, known, (None, "male")[turn // 2 % 2], bool(turn % 2))
    same_budget(large, known, COLUMNS[turn % len(COLUMNS)])


def same_latency(large: Path, known: Season, **asked: Any) -> None:
    of = {name: asked[name] for name in ("since", "to", "ends") if name in asked}
    theirs = said_of(lambda: library.latency(known, **asked))
    ours = said_of(lambda: library.latency(engine.deciding(large, threads=1, **of), **asked))
    if isinstance(theirs, str):
        assert ours == theirs
    else:
        pd.testing.assert_frame_equal(ours, theirs)
        assert ours.attrs == theirs.attrs


def same_transitions(large: Path, known: Season, actor: str | None, repeats: bool) -> None:
    ours = said_of(lambda: engine.transition(large, actor=actor, repeats=repeats))
    theirs = said_of(lambda: library.transition(known, actor=actor, repeats=repeats))
    if isinstance(theirs, str):
        assert ours == theirs
        return
    pd.testing.assert_frame_equal(ours.counts, theirs.counts, check_dtype=False)
    pd.testing.assert_frame_equal(ours.residuals, theirs.residuals, check_dtype=False)
    assert (ours.df, ours.sentence) == (theirs.df, theirs.sentence)


def same_budget(large: Path, known: Season, by: str) -> None:
    ours, theirs = said_of(lambda: engine.time_budget(large, by)), said_of(lambda: library.duration(known, by))
    if isinstance(ours, str) or isinstance(theirs, str):
        assert isinstance(ours, str) and isinstance(theirs, str), (ours, theirs)
        return
    keys = [by, "actor", "behaviour", "qualifier", "kind"]
    wanted = [*keys, "sessions", "count", "cut", "total_s", "share"]
    two = [one[wanted].astype(dict.fromkeys(keys, object)) for one in (ours, theirs)]
    two = [one.assign(**{k: one[k].map(lambda v: "" if v is None or v != v else v) for k in keys}) for one in two]
    two = [one.sort_values(keys).reset_index(drop=True) for one in two]
    pd.testing.assert_frame_equal(two[0], two[1], check_dtype=False, rtol=1e-9)


@pytest.mark.slow
@settings(max_examples=24, deadline=None)
@given(
    first=st.lists(evenings(), min_size=1, max_size=4),
    later=st.lists(changes, min_size=1, max_size=3),
    turn=st.integers(0, 100),
)
def test_whatever_changes_it_says_what_memory_says(
    first: list[dict[str, Any]], later: list[tuple[Any, ...]], turn: int
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        work, large = Workspace(Path(folder, "work")), Path(folder, "large")
        for at, evening in enumerate(first):
            work.put(at, evening)
        store.write(work.sessions, large, PART_ROWS)
        for at, (what, *asked) in enumerate(later):
            getattr(work, what)(*asked)
            store.write(work.sessions, large, PART_ROWS)
            check(large, work.sessions, Path(folder, "fresh"), turn + at)


def _three_months(folder: Path, *made: list[dict[str, Any]], **header: Any) -> tuple[Path, Path]:
    work, large = Workspace(folder / "work"), folder / "large"
    for at, one in enumerate(made):
        began = f"2026-0{3 + at}-03T21:15:00.000+02:00"
        work.put(at, {"made": one, "began": began, "conditions": {"light": "red"} if at == 1 else {}} | header)
    store.write(work.sessions, large)
    return large, work.sessions


def test_a_condition_of_one_month_and_a_male_without_a_name(tmp_path: Path) -> None:
    large, sessions = _three_months(tmp_path, RECORDS, RECORDS, RECORDS, male="")
    for by in ("light", "male", "female"):
        same_budget(large, library.read(sessions), by)
    assert library.duration(engine.parts(large)[0].season(), "light").empty


@pytest.mark.parametrize("repeats", [False, True])
def test_what_can_follow_what_is_told_by_all_months(tmp_path: Path, repeats: bool) -> None:
    """Insertion, within a clasp, can't follow a flight, which ends one, where one came; other months can."""
    alone = marks((1_000, "flees", None), (2_000, "insertion", "onset"))
    barred = marks((500, "clasp", "onset"), (1_000, "flees", None), (2_000, "clasp", "onset"),
                   (3_000, "insertion", "onset"))  # fmt: skip
    never = marks((500, "insertion", "onset"), (1_000, "flees", None))
    for at, made in enumerate(([alone, barred, barred], [never, marks((500, "clasp", "onset")), never])):
        large, sessions = _three_months(tmp_path / str(at), *made)
        same_transitions(large, library.read(sessions), None, repeats)


def test_roles_told_later_hold_outside_the_workspace(tmp_path: Path) -> None:
    made = marks((1_000, "walking", "onset"), (2_000, "probing", "onset"), (3_000, "drumming", "onset"))
    large, sessions = _three_months(tmp_path, made, made, ethogram=_bare())
    for told in (*TOLD[1:], TOLD[0]):
        (work := Workspace.__new__(Workspace)).folder = sessions.parent
        work.roles(told)
        store.write(sessions, large)
        known = library.read(sessions)
        assert_same_season(library.read(large), known)
        assert library.read(large).ethograms["bare"].role_of == known.ethograms["bare"].role_of
        same_latency(large, known, to="insertion", competing=True)
