"""A season as Parquet for an engine: the same as the sessions it was written from, whatever changes or breaks off."""

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any

import pytest
from pyarrow import parquet

import etholog as library
from etholog.base import system
from etholog.base.refusal import Refusal
from etholog.season import store
from tests.make import RECORDS, assert_same_season, unmeasured, write_card, write_session

SEASON = Path(__file__).parents[2] / "examples" / "season"
SMALL = 60  # bouts a part, so that there are many


@pytest.fixture
def sessions(tmp_path: Path) -> Path:
    """The invented season, and in another month: a session of another ethogram, its second observer's record, and one
    begun by mistake."""
    shutil.copytree(SEASON, tmp_path / "here")
    folder = tmp_path / "here" / "sessions"
    write_session(folder / "a.jsonl", RECORDS)
    write_session(folder / "b.jsonl", RECORDS, record_of="a", observer="p", began="2026-06-01T00:10:00.000+02:00")
    wrong = [RECORDS[0], {"n": 2, "do": "close", "t": 2000, "outcome": {"accident": True}}]
    write_session(folder / "c.jsonl", wrong, began="2026-06-03T21:15:00.000+02:00")
    return folder


def same(folder: Path, to: Path) -> None:
    assert_same_season(library.read(to), library.read(folder))


def files(to: Path) -> dict[str, int]:
    return {str(path.relative_to(to)): path.stat().st_ino for path in to.rglob("*.parquet")}


def test_it_is_read_back_as_it_was(sessions: Path, tmp_path: Path) -> None:
    to = tmp_path / "large"
    assert store.write(sessions, to, SMALL) == (["2026-03", "2026-05", "2026-06"], [])
    kept = store.opened(to)
    sizes = [parquet.read_metadata(path).num_rows for path in kept.files("bouts")]
    assert len(sizes) > 6
    assert max(sizes) <= SMALL
    same(sessions, to)


def test_it_holds_no_cards_and_so_nothing_of_what_came_of_pairings(sessions: Path, tmp_path: Path) -> None:
    store.write(sessions, tmp_path / "large", SMALL)
    read = library.read(tmp_path / "large")
    for ask in (lambda: library.outcomes(read, date(2026, 11, 20)), lambda: read.cards):
        with pytest.raises(Refusal, match="holds no cards; name the workspace that it was exported from"):
            ask()


@pytest.mark.slow
def test_only_what_changed_is_written_anew(sessions: Path, tmp_path: Path) -> None:
    to = tmp_path / "large"
    store.write(sessions, to, SMALL)
    before = files(to)
    assert store.write(sessions, to, SMALL) == ([], [])
    assert files(to) == before
    write_session(sessions / "d.jsonl", RECORDS, began="2026-05-09T21:15:00.000+02:00")
    (sessions / "c.jsonl").unlink()
    assert store.write(sessions, to, SMALL)[0] == ["2026-05", "2026-06"]
    now = files(to)
    assert {name for name in before if "2026-03" in name} <= now.keys()
    assert len(now) == len(before)  # what counts no more is gone
    same(sessions, to)
    for name in ("a.jsonl", "b.jsonl", "d.jsonl"):
        (sessions / name).unlink()
    store.write(sessions, to, SMALL)
    assert list(store.opened(to).months) == ["2026-03"]
    same(sessions, to)


def test_a_renamed_animal_is_called_so_in_what_was_written_before(sessions: Path, tmp_path: Path) -> None:
    to = tmp_path / "large"
    store.write(sessions, to)
    write_card(sessions.parent, "M-Amber", ("renamed", "2026-07-01", "M-Gold"))
    assert store.write(sessions, to) == ([], [])
    assert "M-Gold" in set(library.read(to).sessions["male"])
    same(sessions, to)


@pytest.mark.slow
def test_a_bad_file_is_told_and_the_rest_goes_on(
    sessions: Path, tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    (sessions / "x.jsonl").write_text("no session\n")
    done = etholog("export", tmp_path / "large", "--by-month", "--folder", sessions.parent)
    assert done.returncode == 1
    assert done.stdout.split() == ["2026-03", "2026-05", "2026-06"]
    assert "x.jsonl" in done.stderr
    assert len(library.read(tmp_path / "large").sessions) == 29


def test_what_says_how_it_is_sorted_and_packed(sessions: Path, tmp_path: Path) -> None:
    store.write(sessions, tmp_path / "large")
    [path, *_] = store.opened(tmp_path / "large").files("bouts")
    group = parquet.read_metadata(path).row_group(0)
    by_name = {group.column(at).path_in_schema: group.column(at) for at in range(group.num_columns)}
    assert [group.column(one.column_index).path_in_schema for one in group.sorting_columns] == ["session", "onset_ms"]
    for name in ("session", "onset_ms", "offset_ms", "n"):
        assert "DELTA_BINARY_PACKED" in by_name[name].encodings
    onsets = parquet.read_table(path, columns=["session", "onset_ms"]).to_pydict()
    rows = list(zip(*onsets.values(), strict=True))
    assert rows == sorted(rows)


@pytest.mark.slow
@pytest.mark.parametrize("after", [1, 2, 4, 7])
def test_a_kill_leaves_what_was_there(sessions: Path, tmp_path: Path, after: int) -> None:
    to = tmp_path / "large"
    store.write(sessions, to, SMALL)
    was = library.read(to)
    for path in sessions.glob("*.jsonl"):
        os.utime(path)  # looks changed
    script = (
        "import os, signal, sys; from pathlib import Path; from etholog.season import store; made = 0\n"
        "real = store._writer\n"
        "def writer(path, table):\n"
        "    global made; made += table == 'bouts'\n"
        f"    if made > {after}: os.kill(os.getpid(), signal.SIGKILL)\n"
        "    return real(path, table)\n"
        "store._writer = writer\n"
        f"store.write(Path(sys.argv[1]), Path(sys.argv[2]), {SMALL})\n"
    )
    done = subprocess.run([sys.executable, "-c", script, str(sessions), str(to)], check=False, timeout=240)
    assert done.returncode == -signal.SIGKILL
    assert_same_season(library.read(to), was)
    store.write(sessions, to, SMALL)
    told = {path for table in store.TABLES for path in store.opened(to).files(table)}
    assert set(to.rglob("*.parquet")) == told  # nothing is left of what was broken off
    same(sessions, to)


@pytest.mark.parametrize("there", [False, True])
def test_two_at_once_are_one_and_a_clear_line(
    sessions: Path, tmp_path: Path, there: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    to = tmp_path / "large"
    if there:
        store.write(sessions, to, SMALL)
        (sessions / "a.jsonl").unlink()
    month, told = store._month, []

    def meanwhile(*args: Any) -> Any:
        made = month(*args)
        with pytest.raises(Refusal, match="another export is writing into it") as refused:
            store.write(sessions, to, SMALL)
        told.append(refused)
        return made

    monkeypatch.setattr(store, "_month", meanwhile)
    store.write(sessions, to, SMALL)
    assert told
    same(sessions, to)


def test_what_a_kill_left_before_the_first_list_is_written_over(sessions: Path, tmp_path: Path) -> None:
    to = tmp_path / "large"
    to.mkdir()
    (to / f".{store.NAME}.123.part").write_text("{")
    store.write(sessions, to)
    assert not list(to.glob("*.part")) + list(to.glob(".*.part"))
    same(sessions, to)


@pytest.mark.slow
@pytest.mark.parametrize("there", [False, True])
def test_a_full_disk_is_one_clear_line_and_leaves_what_was_there(sessions: Path, tmp_path: Path, there: bool) -> None:
    small, to = tmp_path / "small", tmp_path / "small" / "large"
    asked = f'"{sys.executable}" -m etholog export "{to}" --by-month --folder "{sessions.parent}"'
    script = f"""
        mount -t tmpfs -o size=200k tmpfs "{small}" && cd "{small}" || exit 77
        {asked + f' && touch "{sessions}"/a.jsonl' if there else ""}
        head -c 1m /dev/zero > filled; truncate -s -16k filled
        find . | sort > "{tmp_path}/before"; {asked} 2> "{tmp_path}/told"; echo $? > "{tmp_path}/code"
        find . | sort > "{tmp_path}/after"; rm filled; {asked} && cp -r "{to}" "{tmp_path}/made" && rm -r "{to}"
        ({asked} & sleep 0.1; while ! ls */bouts/*/*.parquet; do sleep 0.01; done; kill -9 $!; wait $!; {asked})
    """
    small.mkdir()
    if subprocess.run(["unshare", "-rm", "true"], capture_output=True, check=False).returncode:
        pytest.skip("NO NAMESPACES HERE: a disk that is really full is not tried")
    done = subprocess.run(
        ["unshare", "-rm", "sh", "-c", script], capture_output=True, check=False, env=unmeasured(), timeout=240
    )
    [told] = (tmp_path / "told").read_text().splitlines()
    assert told.startswith(str(to))
    assert "can't be written (No space left on device)" in told
    assert (tmp_path / "code").read_text() == "2\n"
    assert (tmp_path / "after").read_text() == (tmp_path / "before").read_text()
    same(sessions, tmp_path / "made")
    assert done.returncode == 0, done.stderr  # after a kill as well


@pytest.mark.slow
def test_nothing_else_is_written_over(
    sessions: Path, tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear all")
    done = etholog("export", tmp_path / "mine", "--by-month", "--folder", sessions.parent)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "holds something else" in done.stderr
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["letter.txt"]


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"format": "etholog-season/9"}', "\xff", "[" * 100_000])
def test_a_damaged_list_of_parts_is_one_clear_line(tmp_path: Path, text: str) -> None:
    (tmp_path / store.NAME).write_text(text, encoding="latin-1")
    with pytest.raises(Refusal, match=store.NAME):
        library.read(tmp_path)


def test_a_part_that_is_not_there_is_one_clear_line(sessions: Path, tmp_path: Path) -> None:
    to = tmp_path / "large"
    store.write(sessions, to)
    gone = store.opened(to).files("bouts")[0]
    gone.unlink()
    with pytest.raises(Refusal, match=gone.name):
        library.read(to)
    gone.write_bytes(b"PAR1 no more")
    with pytest.raises(Refusal, match=gone.name):
        library.read(to)
    told = json.loads((to / store.NAME).read_text())
    told["months"]["../../elsewhere"] = ["part-0.parquet"]
    (to / store.NAME).write_text(json.dumps(told))
    with pytest.raises(Refusal, match="is no season that etholog wrote"):
        library.read(to)


@pytest.mark.parametrize("name", ["ü" * 300, "a\0b"])
def test_a_name_that_no_folder_can_have_is_one_clear_line(name: str) -> None:
    with pytest.raises(Refusal, match="is not a folder"):
        library.read(name)
    with pytest.raises(Refusal, match="no season for an engine"):
        store.opened(Path(name))


@pytest.mark.skipif(sys.platform != "linux", reason="only there a descriptor tells of which file it is")
def test_parts_are_on_the_disk_before_the_list_names_them(
    sessions: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    safe: list[Path] = []
    when_listed: list[set[Path]] = []
    to, sync, replace = tmp_path / "large", system.sync, Path.replace

    def synced(descriptor: int) -> None:
        sync(descriptor)
        safe.append(Path(f"/proc/self/fd/{descriptor}").readlink())

    def replaced(path: Path, target: Path) -> Path:
        when_listed.append(set(safe))
        return replace(path, target)

    monkeypatch.setattr(system, "sync", synced)
    monkeypatch.setattr(Path, "replace", replaced)
    store.write(sessions, to, SMALL)
    assert set(to.rglob("*.parquet")) <= when_listed[-1]
