"""To which workspace a folder of sessions belongs, from wherever the shell stands."""

from pathlib import Path

import pytest

from etholog.base.workspace import root_of, workspace, workspace_of


def test_a_shell_within_the_folder_of_sessions_finds_the_workspace_around_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "sessions").mkdir()
    monkeypatch.chdir(tmp_path / "sessions")
    assert workspace(Path()).root == root_of(Path()) == workspace_of(Path("a.jsonl")) == tmp_path
    monkeypatch.chdir(tmp_path)
    assert root_of(Path("sessions")) == Path(), "a path that was given stays as short as it was"
    assert workspace_of(Path("sessions") / "a.jsonl") == tmp_path
