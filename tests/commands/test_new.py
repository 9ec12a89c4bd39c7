"""A workspace to begin with."""

from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import ethogram

Run = Callable[..., CompletedProcess[str]]


@pytest.mark.slow
def test_a_new_workspace_takes_a_copy_of_an_ethogram_and_keeps_what_is_there(tmp_path: Path, etholog: Run) -> None:
    done = etholog("new", "w", "--ethogram", "arboreal", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert sorted(part.name for part in (tmp_path / "w").iterdir()) == [
        ".gitattributes",
        "animals",
        "ethograms",
        "sessions",
    ]
    assert "*.jsonl -text" in (tmp_path / "w" / ".gitattributes").read_text(encoding="utf-8")
    own = tmp_path / "w" / "ethograms" / "arboreal.toml"
    assert ethogram.read(own).hash == ethogram.read(ethogram.shipped() / "arboreal.toml").hash
    assert ethogram.find("arboreal", tmp_path / "w") == own
    own.write_text("mine", encoding="utf-8")
    again = etholog("new", "w", "--ethogram", "arboreal", cwd=tmp_path)
    assert (again.returncode, "is there already" in again.stderr) == (2, True)
    assert own.read_text(encoding="utf-8") == "mine"
    assert etholog("check", "w", cwd=tmp_path).returncode == 1  # it tells of what was written there


@pytest.mark.slow
def test_where_none_can_be_made_it_says_so(tmp_path: Path, etholog: Run) -> None:
    (tmp_path / "w").write_text("a file")
    done = etholog("new", tmp_path / "w")
    assert (done.returncode, "can't be made" in done.stderr) == (2, True)
    assert etholog("new", tmp_path / "x", "--ethogram", "arborael").returncode == 2
    assert not (tmp_path / "x").exists()
