"""Reading on several processors: the same as on one, whatever becomes of the others."""

import shutil
import sys
from pathlib import Path

import pytest

import etholog
from etholog.base import system
from etholog.season import reading
from tests.make import assert_same_season

COUNT = 3


@pytest.fixture
def folder(repository: Path, tmp_path: Path) -> Path:
    folder = Path(shutil.copytree(repository / "examples" / "season" / "sessions", tmp_path / "sessions"))
    files = sorted(folder.iterdir())
    for at, file in enumerate(files):
        if at % 5 == 1:  # torn, and a fault in each share
            file.write_bytes(file.read_bytes()[:-9])
    (folder / "ü list.txt").write_text("milk, bread\n")
    return folder


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch, read_files: list[str]) -> list[str]:
    """Reads by `COUNT` Pythons from five files upwards; the names of the files that this one reads."""
    monkeypatch.setattr(reading, "SHARE", 5)
    monkeypatch.setattr(system, "processors", lambda: COUNT)
    return read_files


def test_several_processors_give_what_one_gives(folder: Path, here: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    count = len(list(folder.iterdir()))
    by_several = etholog.read(folder, cached=False)
    assert here == sorted(path.name for path in folder.iterdir())[: count // COUNT]
    monkeypatch.setattr(system, "processors", lambda: 1)
    here.clear()
    by_one = etholog.read(folder, cached=False)
    assert len(here) == count
    assert len(by_one.faults) >= COUNT
    assert_same_season(by_several, by_one)


@pytest.mark.parametrize("python", ["true", "false", "no-such-program", ""])
def test_what_is_not_handed_over_is_read_here(
    folder: Path, here: list[str], monkeypatch: pytest.MonkeyPatch, python: str
) -> None:
    usual = etholog.read(folder, cached=False)
    here.clear()
    monkeypatch.setattr(sys, "executable", shutil.which(python) or python)
    assert_same_season(etholog.read(folder, cached=False), usual)
    assert len(here) == len(list(folder.iterdir()))


def test_a_module_in_the_folder_at_hand_is_not_run(
    folder: Path, here: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder.parent)
    for name in ("json.py", "numpy.py", "etholog.py"):
        (folder.parent / name).write_text("open('was_run', 'w')")
    etholog.read("sessions", cached=False)
    assert not (folder.parent / "was_run").exists()
    assert len(here) < len(list(folder.iterdir()))
