"""The scripts of `examples/` run as they are given out, and print what the package finds."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import etholog

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def season() -> etholog.Season:
    return etholog.read(Path(__file__).parent.parent / "examples" / "season")


def printed(repository: Path, folder: Path, name: str) -> str:
    """Run the script in an empty folder, warnings taken for errors, and return what it prints."""
    words = [sys.executable, "-W", "error", str(repository / "examples" / name)]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert not done.stderr
    return done.stdout


def test_males_are_compared_and_drawn(repository: Path, tmp_path: Path, season: etholog.Season) -> None:
    said = printed(repository, tmp_path, "compare_males.py")
    for male, n in season.sessions["male"].value_counts().items():
        assert re.search(rf"^{male} +{n} ", said, re.M)
    assert "exact" in said or "shuffles" in said
    assert (tmp_path / "courtship.svg").read_text(encoding="utf-8").count("M-Basalt") >= 1


def test_only_steps_that_stand_out_are_told(repository: Path, tmp_path: Path, season: etholog.Season) -> None:
    said = printed(repository, tmp_path, "what_follows_what.py")
    found = etholog.transition(season, actor="male")
    for first in found.residuals.index:
        for after in found.residuals.columns:
            sure = found.p_holm.loc[first, after] < 0.05 and not found.small.loc[first, after]
            out = found.residuals.loc[first, after] > 2 and sure
            assert bool(re.search(rf"^ *{first} +{after} ", said, re.M)) == out


def test_sql_gives_the_same_seconds(repository: Path, tmp_path: Path, season: etholog.Season) -> None:
    said = printed(repository, tmp_path, "ask_in_sql.py")
    spans = etholog.duration(season, by="male")
    for row in spans[spans["behaviour"] == "insertion"].itertuples():
        assert re.search(rf"^ *{row.male} +{row.qualifier} +{row.count} +{row.total_s:.1f}$", said, re.M)


def test_the_walk_through_ends_with_the_published_numbers(repository: Path, tmp_path: Path) -> None:
    """Medians of Freireich et al. 1963, 23 and 8 weeks; log-rank chi-squared 16.79 (Kleinbaum & Klein 2012, ch. 2)."""
    said = printed(repository, tmp_path, "walkthrough.py")
    assert re.search(r"^6-MP +21 +9 +23\.0$", said, re.M)
    assert re.search(r"^placebo +21 +21 +8\.0$", said, re.M)
    assert said.endswith("log-rank chi-squared 16.79\n")
    assert (tmp_path / "transitions.png").read_bytes().startswith(b"\x89PNG")


def test_the_walk_through_is_cells_that_end_where_they_can_be_run(repository: Path) -> None:
    cells = (repository / "examples" / "walkthrough.py").read_text(encoding="utf-8").split("# %%")
    assert len(cells) > 10
    for cell in cells[1:]:
        head, _, body = cell.partition("\n")
        compile(body, "cell", "exec")
        if head.strip() == "[markdown]":
            assert all(line.startswith("#") or not line for line in body.splitlines())
