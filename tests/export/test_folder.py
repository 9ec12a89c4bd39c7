"""Where an export may be written, and that it is there whole or not at all."""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import season
from etholog.base.refusal import Refusal
from etholog.export import folder
from tests.make import season_of

pytestmark = pytest.mark.slow


@pytest.fixture
def one(tmp_path: Path) -> Path:
    (tmp_path / "in").mkdir()
    return season_of(tmp_path / "in")


def run(etholog: Callable[..., CompletedProcess[str]], one: Path, to: Path, *more: str) -> CompletedProcess[str]:
    return etholog("export", to, "--folder", one, *more)


def test_the_command_names_its_files_and_replaces_its_own_earlier_ones(
    etholog: Callable[..., CompletedProcess[str]], one: Path, tmp_path: Path
) -> None:
    first = run(etholog, one, tmp_path / "out", "--also", "xlsx")
    assert first.returncode == 0, first.stderr
    assert str(tmp_path / "out" / "tables.xlsx") in first.stdout.splitlines()
    again = run(etholog, one, tmp_path / "out")
    assert again.returncode == 0, again.stderr
    assert not (tmp_path / "out" / "tables.xlsx").exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in", "out"]  # nothing is left beside it


def _strange_file(out: Path) -> None:
    (out / "analysis.R").write_text("# mine\n")


def _edited(out: Path) -> None:
    (out / "bouts.csv").write_text("mine now\n")


def _no_longer_described(out: Path) -> None:
    (out / "datapackage.json").write_text('{"resources": 3}')


def _swapped_for_a_link(out: Path) -> None:
    (out / "bouts.csv").unlink()
    (out / "bouts.csv").symlink_to(out / "marks.csv")


@pytest.mark.parametrize("spoil", [_strange_file, _edited, _no_longer_described, _swapped_for_a_link])
def test_it_writes_over_nothing_that_it_did_not_write(
    etholog: Callable[..., CompletedProcess[str]], one: Path, tmp_path: Path, spoil: Callable[[Path], None]
) -> None:
    out = tmp_path / "out"
    assert run(etholog, one, out).returncode == 0
    spoil(out)
    before = {file.name: file.read_bytes() for file in out.iterdir()}
    refused = run(etholog, one, out)
    assert refused.returncode == 2
    assert str(out) in refused.stderr
    assert "Traceback" not in refused.stderr
    assert {file.name: file.read_bytes() for file in out.iterdir()} == before


@pytest.mark.parametrize("there", ["folder", "file", "link"])
def test_it_takes_no_place_that_is_taken(
    etholog: Callable[..., CompletedProcess[str]], one: Path, tmp_path: Path, there: str
) -> None:
    out = tmp_path / "out"
    if there == "folder":
        out.mkdir()
    elif there == "file":
        out.write_text("mine\n")
    else:
        out.symlink_to(one)
    refused = run(etholog, one, out)
    assert refused.returncode == 2
    assert "name a folder that is not there" in refused.stderr
    assert sorted(path.name for path in one.iterdir()) == ["sessions"]


def test_a_failure_half_way_leaves_the_earlier_export(one: Path, tmp_path: Path) -> None:
    """A full disk, met after the first files were written."""
    out = tmp_path / "out"
    folder.write(season.read(one), out)
    before = {file.name: file.read_bytes() for file in out.iterdir()}

    def fill(new: Path) -> None:
        (new / "half.csv").write_text("half")
        with Path("/dev/full").open("w") as full:
            full.write("more")

    with pytest.raises(Refusal, match="nothing was changed"):
        folder.replace(out, fill)
    assert {file.name: file.read_bytes() for file in out.iterdir()} == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in", "out"]


@pytest.mark.parametrize("before", [False, True])
def test_killed_while_it_writes_it_leaves_what_was_there(repository: Path, tmp_path: Path, before: bool) -> None:
    out = tmp_path / "out"
    words = [
        sys.executable,
        "-m",
        "etholog",
        "export",
        out,
        "--also",
        "xlsx",
        "--folder",
        repository / "examples/season",
    ]
    if before:
        subprocess.run(words, check=True, capture_output=True)
    known = {file.name: file.read_bytes() for file in out.iterdir()} if before else {}
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL)
    while not list(tmp_path.glob(".out-*/new/*")):
        assert process.poll() is None
        time.sleep(0.001)
    process.kill()
    process.wait()
    assert out.exists() == before
    assert ({file.name: file.read_bytes() for file in out.iterdir()} if before else {}) == known
    assert subprocess.run(words, check=False, capture_output=True).returncode == 0  # and it can be done again
    assert [path.name for path in tmp_path.iterdir()] == ["out"]  # what was killed is gone


def test_a_folder_that_may_not_be_written_is_one_clear_line(
    etholog: Callable[..., CompletedProcess[str]], one: Path
) -> None:
    refused = run(etholog, one, Path("/proc/nowhere/out"))
    assert refused.returncode == 2
    assert len(refused.stderr.splitlines()) == 1


def test_a_folder_without_sessions_is_refused(etholog: Callable[..., CompletedProcess[str]], tmp_path: Path) -> None:
    refused = run(etholog, tmp_path, tmp_path / "out")
    assert refused.returncode == 2
    assert not os.path.lexists(tmp_path / "out")


@pytest.mark.parametrize(("form", "library"), [("parquet", "pyarrow"), ("xlsx", "openpyxl")])
def test_without_the_library_the_rest_is_written_and_it_says_what_to_install(
    one: Path, tmp_path: Path, form: str, library: str
) -> None:
    script = (
        f"import sys; sys.modules['{library}'] = None; from etholog.commands import main;"
        f"sys.exit(main(['export', {str(tmp_path / 'out')!r}, '--also', '{form}', '--folder', {str(one)!r}]))"
    )
    refused = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert refused.returncode == 1
    assert refused.stderr.endswith(f"pip install {library}\n")
    assert (tmp_path / "out" / "sessions.csv").is_file()
    assert not (tmp_path / "out" / "parquet").exists() and not (tmp_path / "out" / "tables.xlsx").exists()
