"""The demo, from end to end, and the invented season that it stands beside."""

import os
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from subprocess import CompletedProcess

import pandas as pd
import pytest

import etholog as package
from etholog.commands.demo import STILL_S, script
from tests.screens.terminal import Terminal

pytestmark = pytest.mark.slow


def test_the_demo_is_a_page_and_says_that_it_is_invented(
    etholog: Callable[..., CompletedProcess[str]], tmp_path: Path
) -> None:
    done = etholog("demo", env={"TMPDIR": str(tmp_path), "PATH": "", "PYTHONPATH": ":".join(sys.path)})
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("ALL OF THIS IS INVENTED")
    assert "etholog watch" in done.stderr
    summary = done.stdout.split("The season beside it")[0]
    # Common practice, no source: a brisk pairing of about 7 minutes, her stillness of about 15, both palps in turn.
    # It has to pass
    # every question of plausibility, and both palps have to be told with their seconds.
    assert "?" not in summary
    assert "insertions, left palp: 2 in 1 min 32 s" in summary
    assert "insertions, right palp: 2 in 1 min 31 s" in summary
    assert "clear insertions of both palps" in summary
    told = done.stdout + done.stderr
    assert len(told.splitlines()) <= 40
    assert not any(line.count(",") > 4 for line in told.splitlines())  # no table for a program
    (page,) = tmp_path.glob("*/report.html")
    assert str(page) in done.stdout


# Whoever runs it by its path, as README's first line does, has a shell that does not find the short name.
@pytest.mark.skipif(not Path(sys.prefix, "bin", "activate").is_file(), reason="needs a venv, and a POSIX shell")
def test_the_next_commands_work_as_they_are_typed(tmp_path: Path) -> None:
    path = "/usr/bin:/bin"
    shell = partial(subprocess.run, cwd=tmp_path, capture_output=True, text=True, timeout=120, check=False)
    demo = shell([Path(sys.prefix, "bin", "etholog"), "demo"], env={"PATH": path, "TMPDIR": str(tmp_path)})
    said = demo.stderr.partition("What next")[2].splitlines()[1:]
    typed = [line.strip().split("   ")[0] for line in said if "watch" not in line]
    done = shell(["/bin/sh", "-e", "-c", "\n".join(typed)], env={"PATH": path})
    assert done.returncode == 0, (typed, done.stderr)
    assert (tmp_path / "spiders" / "sessions").is_dir()


PASTED, TAPPED = "\x1b[200~dd\x1b[201~", "\x1b[<0;5;8M"  # as xterm sends a paste, and a button pressed on a lane


@pytest.mark.parametrize("skip", ["d", PASTED, TAPPED], ids=["key", "paste", "tap"])
def test_on_a_terminal_the_strip_plays_and_any_key_skips(skip: str, tmp_path: Path) -> None:
    path = f"{Path(sys.prefix, 'bin')}:{os.environ['PATH']}"
    with Terminal("demo", cwd=tmp_path, rows=60, TMPDIR=str(tmp_path), PATH=path) as terminal:
        shown = terminal.until("any key skips")
        assert "no display for" not in shown
        terminal.until("on her silk      │")
        terminal.type(skip)
        shown = terminal.until("etholog new spiders")
        assert terminal.wait() == 0
    assert "21 min 55 s in all, 24 marks" in shown, "a key of the onlooker is no mark, and skips nothing of the pairing"
    assert "Error" not in shown
    assert len(shown.strip().splitlines()) <= 40


def test_the_script_is_a_brisk_pairing() -> None:
    times = {key: at for at, key in script()}
    assert 6 * 60 < times["v"] - times["4"] < 8 * 60
    assert STILL_S == 15 * 60


def test_the_season_is_the_one_that_its_script_makes(tmp_path: Path, repository: Path) -> None:
    made = tmp_path / "season"
    subprocess.run([sys.executable, repository / "examples" / "make_season.py", made], check=True)
    kept = sorted((repository / "examples" / "season" / "sessions").glob("*.jsonl"))
    assert [file.name for file in kept] == [file.name for file in sorted((made / "sessions").iterdir())]
    for file in kept:
        assert file.read_bytes() == (made / "sessions" / file.name).read_bytes(), file.name


def test_the_season_has_what_a_season_has(repository: Path) -> None:
    season = package.read(repository / "examples" / "season")
    assert not season.findings
    assert len(season.sessions) >= 24
    assert season.sessions["male"].nunique() == 6
    assert season.sessions["female"].nunique() == 8
    times = package.latency(season, "courtship")
    assert 0.1 < 1 - times["occurred"].mean() < 0.4  # realistic censoring
    assert times.attrs["touched"] > 0


def test_latencies_recomputed_by_plain_pandas_from_the_csv(
    etholog: Callable[..., CompletedProcess[str]], repository: Path, tmp_path: Path
) -> None:
    """An independent way to the same table: only the bouts as CSV, and nothing of the package."""
    folder = repository / "examples" / "season"
    bouts_file = tmp_path / "bouts.csv"
    season = package.read(folder)
    season.bouts.to_csv(bouts_file, index=False)
    bouts = pd.read_csv(bouts_file)
    silk = bouts[bouts.behaviour == "on_silk"].groupby("session").onset_s.min()
    shows = bouts[bouts.behaviour.isin(["drumming", "vibration", "leg_tapping"])].merge(
        silk.rename("silk"), on="session"
    )
    first = shows[shows.onset_s >= shows.silk].groupby("session").onset_s.min()
    expected = (first - silk).dropna()
    done = etholog("latency", "courtship", "--folder", folder)
    table = pd.read_csv(pd.io.common.StringIO(done.stdout)).set_index("session")
    found = table[table.occurred].latency_s
    without_gap = ~expected.index.isin(season.gaps["session"])
    pd.testing.assert_series_equal(
        found.reindex(expected.index)[without_gap], expected[without_gap], check_names=False, rtol=1e-12
    )
    assert sorted(found.index) == sorted(expected.index)
    length = season.sessions.set_index("session").length_s
    unfinished = table[~table.occurred]
    assert len(unfinished) == len(silk) - len(expected)
    for name, row in unfinished.iterrows():
        lost = season.gaps[season.gaps["session"] == name].pipe(lambda gaps: (gaps.offset_s - gaps.onset_s).sum())
        assert abs(row.latency_s - (length[name] - silk[name] - lost)) < 1e-9


def test_tests_of_chains_are_printed_on_request(
    etholog: Callable[..., CompletedProcess[str]], repository: Path
) -> None:
    import json

    words = ("transition", "--repeats", "--by", "male", "--folder", "examples/season", "--json")
    tests = json.loads(etholog(*words, cwd=repository).stdout)["tests"]
    assert set(tests) == {"order", "homogeneity"}
    assert all(test["df"] > 0 for test in tests.values())
    one = json.loads(etholog(*words, "--follows", "palp_probing", "insertion", cwd=repository).stdout)
    assert one["p"] < 0.01  # a palp that beats about finds the furrow
    assert (
        etholog("transition", "--follows", "x", "y", "--folder", "examples/season", "--json", cwd=repository).returncode
        == 2
    )
