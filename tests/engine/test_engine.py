"""An engine's answers are those of memory: asked of the same sessions, key by key, to 1e-9."""

import os
import shutil
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import etholog as library
from etholog import engine
from etholog.base.refusal import Refusal
from etholog.ethogram import from_plain
from etholog.season import Season, store
from etholog.session.latency import Unseen
from tests.make import ETHOGRAM, RECORDS, assert_same_season, marks, write_session
from tests.session.test_latency import hers, names
from tests.session.test_session import records

SEASON = Path(__file__).parents[2] / "examples" / "season"


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    to = tmp_path_factory.mktemp("engine") / "large"
    store.write(SEASON / "sessions", to, 60)
    return to


@pytest.fixture(scope="module")
def known() -> Season:
    return library.read(SEASON)


def same_latency(large: Path, known: Season, unseen: Unseen, competing: bool, **asked: Any) -> None:
    few = engine.deciding(large, threads=1, **asked)
    ours = library.latency(few, unseen=unseen, competing=competing, **asked)
    theirs = library.latency(known, unseen=unseen, competing=competing, **asked)
    pd.testing.assert_frame_equal(ours, theirs, rtol=1e-9)
    assert ours.attrs == theirs.attrs


@pytest.mark.slow
@pytest.mark.parametrize("unseen", ["keep", "censor"])
@pytest.mark.parametrize("competing", [False, True])
def test_each_latency_of_the_season(large: Path, known: Season, unseen: Unseen, competing: bool) -> None:
    for kept in known.ethograms.values():
        for interval in kept.interval:
            same_latency(large, known, unseen, competing, interval=interval.name)
    for asked in ({"to": "insertion:left"}, {"since": "clasp", "to": ["insertion", "strike"], "ends": ["flees"]}):
        same_latency(large, known, unseen, competing, **asked)


@pytest.mark.slow
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    made=st.lists(st.tuples(records(), st.booleans()), min_size=1, max_size=4),
    since=st.one_of(st.just([]), names),
    to=names,
    ends=st.one_of(st.just([]), names),
    unseen=st.sampled_from(["keep", "censor"]),
    competing=st.booleans(),
)
def test_each_latency_of_sessions_with_gaps_qualifiers_and_time_out_of_sight(
    made: list[tuple[list[dict[str, Any]], bool]],
    since: list[str],
    to: list[str],
    ends: list[str],
    unseen: Unseen,
    competing: bool,
) -> None:
    other = hers(ETHOGRAM)
    with tempfile.TemporaryDirectory() as folder:
        sessions = Path(folder, "sessions")
        sessions.mkdir()
        for number, (one, two) in enumerate(made):
            write_session(sessions / f"s{number}.jsonl", one, other if two else ETHOGRAM)
        store.write(sessions, Path(folder, "large"), 5)
        whole = library.read(sessions)
        same_latency(Path(folder, "large"), whole, unseen, competing, since=since, to=to, ends=ends or None)


@pytest.mark.parametrize("unseen", ["keep", "censor"])
def test_latencies_of_months_with_other_ethograms(tmp_path: Path, unseen: Unseen) -> None:
    """Those of a later month count, of another name; of one name, the newest says whose hiding does."""
    sessions = tmp_path / "sessions"
    sessions.mkdir()
    made = marks(
        (1_000, "drumming", None), (2_000, "probing", "onset"), (3_000, "probing", "offset"), (5_000, "touch", None)
    )
    renamed = from_plain(ETHOGRAM.plain() | {"name": "other"})
    for month, kept in ((3, hers(ETHOGRAM)), (4, ETHOGRAM), (5, renamed)):
        write_session(sessions / f"s{month}.jsonl", made, kept, began=f"2026-0{month}-03T21:15:00.000+02:00")
    store.write(sessions, tmp_path / "large", 5)
    known = library.read(sessions)
    assert library.latency(known, since="drumming", to="touch", unseen=unseen).attrs["touched"] == 1
    same_latency(tmp_path / "large", known, unseen, False, since="drumming", to="touch")


@pytest.mark.slow
@pytest.mark.parametrize("actor", [None, "male", "female"])
@pytest.mark.parametrize("repeats", [False, True])
def test_what_follows_what(large: Path, known: Season, actor: str | None, repeats: bool) -> None:
    ours, theirs = (
        engine.transition(large, actor=actor, repeats=repeats),
        library.transition(known, actor=actor, repeats=repeats),
    )
    pd.testing.assert_frame_equal(ours.counts, theirs.counts, check_dtype=False)
    pd.testing.assert_frame_equal(ours.residuals, theirs.residuals, check_dtype=False, rtol=1e-9)
    assert (ours.df, ours.sentence) == (theirs.df, theirs.sentence)


@pytest.mark.parametrize("last", [3, 4])
def test_a_budget_of_the_sessions_whose_ethogram_has_the_behaviour(tmp_path: Path, last: int) -> None:
    """Another ethogram lacks one; the newest of a name lacks what an earlier one had."""
    sessions = tmp_path / "sessions"
    sessions.mkdir()
    fewer = ETHOGRAM.plain()
    fewer["behaviour"] = [one for one in fewer["behaviour"] if one["code"] not in ("touch", "probing")]
    other = from_plain(fewer | {"name": "other"})
    made = marks((1_000, "probing", "onset"), (4_000, "probing", "offset"), (5_000, "touch", None))
    none = marks((9_000, "drumming", None))
    kinds = (
        (3, ETHOGRAM, made),
        (4, other, none),
        (5, from_plain(fewer | {"version": "9"}), none),
        (6, ETHOGRAM, none),
    )
    for month, kept, said in kinds[:last]:
        write_session(sessions / f"s{month}.jsonl", said, kept, began=f"2026-0{month}-03T21:15:00.000+02:00")
    store.write(sessions, tmp_path / "large", 5)
    ours = engine.time_budget(tmp_path / "large").set_index("behaviour")["share"]
    theirs = library.duration(library.read(sessions), "male").set_index("behaviour")["share"]
    assert ours["probing"] == pytest.approx(theirs["probing"])
    assert theirs["probing"] > 3 / 30


@pytest.mark.slow
@pytest.mark.parametrize("by", ["male", "female", "light"])
def test_the_time_budget(large: Path, known: Season, by: str) -> None:
    ours, theirs = engine.time_budget(large, by), library.duration(known, by)
    keys = [by, "actor", "behaviour", "qualifier", "kind"]
    both = ours.merge(theirs, on=keys, suffixes=("", "_of_memory"))
    assert len(both) == len(ours) == len(theirs)
    for name in ("sessions", "count", "cut", "total_s", "share"):
        pd.testing.assert_series_equal(
            both[name], both[f"{name}_of_memory"], check_names=False, check_dtype=False, rtol=1e-9
        )


def test_parts_are_a_season_each_and_can_be_sent_to_other_processes(large: Path, known: Season) -> None:
    parts = engine.parts(large)
    assert len(parts) > 6
    with ProcessPoolExecutor(2) as pool:
        found = pd.concat(pool.map(_courtship, parts))
    theirs = library.latency(known, "courtship")
    assert found["latency_s"].tolist() == pytest.approx(theirs["latency_s"].tolist(), abs=1e-9)


@pytest.mark.slow
def test_a_month_that_was_written_anew_keeps_its_place(tmp_path: Path) -> None:
    here, large = tmp_path / "here" / "sessions", tmp_path / "large"
    shutil.copytree(SEASON / "sessions", here)
    write_session(here / "a.jsonl", RECORDS, began="2026-05-05T21:15:00.000+02:00")
    gap = [{"n": 1, "do": "gap", "t": 100, "why": "away"}, {"n": 2, "do": "back", "t": 900}]
    gap.append({"n": 3, "do": "close", "t": 9000, "outcome": {}})
    write_session(here / "b.jsonl", gap, began="2026-06-05T21:15:00.000+02:00")
    store.write(here, large, 60)
    for month in ("202603", "a.jsonl"):
        for path in here.glob(f"{month}*"):
            os.utime(path)
        assert len(store.write(here, large, 60)[0]) == 1
        assert_same_season(library.read(large), library.read(here))
        same_latency(large, library.read(here), "censor", False, interval="courtship")


def _courtship(part: engine.Part) -> pd.DataFrame:
    return library.latency(part.season(), "courtship")


def _by_processes(ask: Callable[[engine.Part], Any], parts: Sequence[engine.Part]) -> list[Any]:
    with ProcessPoolExecutor(2) as pool:
        return list(pool.map(ask, parts))


def _by_dask(ask: Callable[[engine.Part], Any], parts: Sequence[engine.Part]) -> list[Any]:
    distributed = pytest.importorskip("distributed", reason="Dask is not installed: nothing is asked of a cluster")
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        found: list[Any] = client.gather(client.map(ask, parts))
        return found


@pytest.mark.slow
@pytest.mark.parametrize("across", [_by_processes, _by_dask])
def test_other_processes_find_the_same(large: Path, known: Season, across: engine.Across) -> None:
    few = engine.deciding(large, "courtship", threads=1, across=across)
    pd.testing.assert_frame_equal(library.latency(few, "courtship"), library.latency(known, "courtship"), rtol=1e-9)
    pd.testing.assert_frame_equal(engine.time_budget(large, across=across), engine.time_budget(large), rtol=1e-9)
    counts = engine.transition(large, across=across).counts
    pd.testing.assert_frame_equal(counts, engine.transition(large).counts)


def test_a_second_record_and_an_accident_count_nowhere(tmp_path: Path) -> None:
    from tests.make import RECORDS

    folder = tmp_path / "sessions"
    folder.mkdir()
    write_session(folder / "a.jsonl", RECORDS)
    write_session(folder / "b.jsonl", RECORDS, record_of="a", began="2026-06-03T21:15:00.000+02:00")
    wrong = [RECORDS[0], {"n": 2, "do": "close", "t": 2000, "outcome": {"accident": True}}]
    write_session(folder / "c.jsonl", wrong, began="2026-06-04T21:15:00.000+02:00")
    store.write(folder, tmp_path / "large")
    assert [len(part.season().sessions) for part in engine.parts(tmp_path / "large")] == [1, 0]
    assert engine.deciding(tmp_path / "large", to="touch").sessions["session"].tolist() == ["a"]


@pytest.mark.slow
def test_the_command_says_what_it_says_without_an_engine(
    large: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    for asked in (["courtship", "--by", "male"], ["clasp", "--rows", "--competing"], ["--to", "insertion", "--json"]):
        ours = etholog("latency", *asked, "--engine", "duckdb", "--folder", large)
        theirs = etholog("latency", *asked, "--folder", SEASON)
        assert (ours.returncode, ours.stdout) == (0, theirs.stdout)


def test_what_is_not_known_is_one_clear_line(large: Path, tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="no interval 'courtshop'"):
        engine.deciding(large, "courtshop")
    with pytest.raises(Refusal, match="no behaviour 'clsp'"):
        engine.deciding(large, to="clsp")
    with pytest.raises(Refusal, match="is no season for an engine"):
        engine.deciding(tmp_path, "courtship")
    with pytest.raises(Refusal, match="no column 'mal'"):
        engine.time_budget(large, "mal")
