"""`etholog show`, on the invented sessions and on hostile ones."""

import json
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import season
from etholog.analysis.lanes import total
from tests.make import marks, write_session

Run = Callable[..., CompletedProcess[str]]


@pytest.mark.slow
def test_the_strip_spans_the_whole_session(etholog: Run, tmp_path: Path) -> None:
    made = [*marks((0, "walking", "onset"), (50_000, "touch", None), (50_000, "drumming", "onset"))]
    write_session(tmp_path / "a.jsonl", [*made, {"do": "close", "t": 100_000, "outcome": {}}])
    done = etholog("show", tmp_path / "a.jsonl", "--ascii", env={"COLUMNS": "80", "PYTHONPATH": pythonpath()})
    lanes = {line[3:20].strip(): line[21:66] for line in done.stdout.splitlines() if line.count("|") >= 2}
    assert lanes["walking"].count("=") in (22, 23, 24)
    assert lanes["walking"].startswith("=")
    assert lanes["touch"].index("|") in (21, 22, 23)
    assert lanes["drumming"].rstrip()[-1] == "-"  # cut by the end of the session
    assert "1 min 40 s in all" in done.stdout


def test_as_json_it_holds_what_is_shown(etholog: Run, tmp_path: Path) -> None:
    made = [*marks((1000, "touch", None), (4500, "drumming", "onset"))]
    write_session(
        tmp_path / "a.jsonl",
        [*made, {"do": "note", "t": 7000, "text": "\x1b[1m"}, {"do": "close", "t": 9000, "outcome": {}}],
    )
    done = etholog("show", tmp_path / "a.jsonl", "--json")
    [told] = json.loads(done.stdout)
    assert (done.returncode, told["length_s"], told["marks"], told["closed"]) == (0, 9.0, 2, True)
    assert told["bouts"][1]["behaviour"] == "drumming"
    assert (told["bouts"][1]["onset_s"], told["bouts"][1]["whole"]) == (4.5, False)
    assert told["evidence"]["rung"] == 1  # contact
    assert "note" in {one["kind"] for one in told["log"]}
    assert "\x1b" not in done.stdout


@pytest.mark.slow
def test_a_sync_with_the_film_has_its_sign_and_a_gap_has_none(etholog: Run, tmp_path: Path) -> None:
    made = [*marks((0, "walking", "onset")), {"do": "sync", "t": 50_000}, {"do": "gap", "t": 90_000, "why": "the door"}]
    write_session(tmp_path / "a.jsonl", [*made, {"do": "close", "t": 100_000, "outcome": {}}])
    done = etholog("show", tmp_path / "a.jsonl", "--ascii", env={"COLUMNS": "80", "PYTHONPATH": pythonpath()})
    assert done.stdout.rstrip().splitlines()[-1].count("+") == 1, done.stdout


@pytest.mark.slow
def test_a_note_is_not_hidden_by_a_sync_at_its_time(etholog: Run, tmp_path: Path) -> None:
    made = [*marks((0, "walking", "onset")), {"do": "note", "t": 50_000, "text": "n"}, {"do": "sync", "t": 50_500}]
    write_session(tmp_path / "a.jsonl", [*made, {"do": "close", "t": 100_000, "outcome": {}}])
    done = etholog("show", tmp_path / "a.jsonl", "--ascii", env={"COLUMNS": "80", "PYTHONPATH": pythonpath()})
    axis = done.stdout.rstrip().splitlines()[-1]
    assert "*" in axis and "+" not in axis, done.stdout


def pythonpath() -> str:
    import sys

    return ":".join(sys.path)


@pytest.mark.slow
@pytest.mark.parametrize("hostile", ["\x1b[31mred", "a\u202eb", "x\ny", "\x00", "<b>", "[bold]", "\u2028"])
def test_hostile_text_never_reaches_the_terminal_raw(etholog: Run, tmp_path: Path, hostile: str) -> None:
    made = [*marks((0, "walking", "onset")), {"do": "close", "t": 9000, "outcome": {hostile: hostile}}]
    write_session(tmp_path / "a.jsonl", made, male=hostile, female=hostile)
    done = etholog("show", tmp_path / "a.jsonl")
    assert done.returncode == 0, done.stderr
    for character in "\x1b\u202e\x00\u2028":
        assert character not in done.stdout


@pytest.mark.slow
def test_the_lanes_come_to_what_the_report_says(etholog: Run, repository: Path) -> None:
    folder = repository / "examples" / "season"
    read = season.read(folder)
    for name in ("20260326-2158-M-Flint-F-Umbra", "20260330-2147-M-Ochre-F-Moss"):
        done = etholog("show", folder / "sessions" / f"{name}.jsonl", "--ascii", env={"PYTHONPATH": pythonpath()})
        lanes = {line[3:20].strip(): line.split()[-2:] for line in done.stdout.splitlines() if line.count("|") >= 2}
        bouts = read.bouts[(read.bouts["session"] == name) & (read.bouts["kind"] == "state")]
        assert len(bouts)
        for code, rows in bouts.groupby(bouts["behaviour"].astype(str)):
            assert " · ".join(lanes[read.labels[code]]) == total(rows["kind"].tolist(), rows["duration_s"].tolist())


def test_a_missing_file_is_one_line(etholog: Run, tmp_path: Path) -> None:
    done = etholog("show", tmp_path / "none.jsonl")
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
