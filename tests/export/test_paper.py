"""A paper's kit: what it holds, and that R alone, from the CSV alone, comes to the same figures."""

import csv
import re
import shutil
import subprocess
from importlib.metadata import version
from pathlib import Path

import pytest
from pypdf import PdfReader

from etholog import __version__, season
from etholog.analysis import logrank
from etholog.analysis.compare import compare
from etholog.analysis.latency import latency
from etholog.base.refusal import Refusal
from etholog.export import folder
from etholog.export.paper import methods
from etholog.season import Season
from tests.make import marks, terrestrial_1, write_session

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def kit(known: Season, tmp_path_factory: pytest.TempPathFactory) -> Path:
    to = tmp_path_factory.mktemp("paper") / "tables"
    folder.write(known, to, paper=True)
    folder.write(known, to, paper=True)  # over its own earlier one
    return to / "paper"


def by_r(kit: Path) -> "subprocess.CompletedProcess[str]":
    if not shutil.which("Rscript"):
        pytest.skip("NO R HERE: that R comes to the same figures is not tried")
    done = subprocess.run(["Rscript", kit / "recompute.R"], capture_output=True, text=True, check=False)
    if "there is no package called" in done.stderr:
        pytest.skip("NO SURVIVAL FOR R HERE (r-cran-survival): that R comes to the same figures is not tried")
    return done


def test_r_recomputes_the_comparison_from_the_csv_alone(kit: Path) -> None:
    done = by_r(kit)
    assert done.returncode == 0, done.stdout + done.stderr
    rows = list(csv.DictReader(done.stdout.splitlines()))
    assert {row["quantity"] for row in rows} >= {"chi_squared", "df", "p", "median_s", "median_low_s", "mean_s"}
    assert {row["same"] for row in rows} == {"TRUE"}
    figures = [row for row in rows if row["quantity"] not in ("p", "n", "occurred", "df") and row["R"] != "NA"]
    assert len(figures) > 15
    for row in figures:  # the digits themselves, not what the script says of them
        assert float(row["R"]) == pytest.approx(float(row["etholog"]), rel=1e-9)


def test_r_recomputes_the_comparison_of_so_many_males_that_one_variance_serves(
    known: Season, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(logrank, "STUDENTISED_AT_MOST", 5)
    folder.write(known, tmp_path / "tables", paper=True)
    done = by_r(tmp_path / "tables" / "paper")
    assert done.returncode == 0, done.stdout + done.stderr
    rows = {row["quantity"]: row for row in csv.DictReader(done.stdout.splitlines())}
    ours, theirs = (float(rows["p"][whose]) for whose in ("etholog", "R"))
    assert ours == pytest.approx(theirs, abs=4 * (ours / 2000) ** 0.5)
    told = (tmp_path / "tables" / "paper" / "methods.md").read_text(encoding="utf-8")
    assert "one variance for all labellings" in told
    assert "heimann1998" not in told


@pytest.mark.filterwarnings("ignore:constrained_layout")  # of three behaviours there is hardly a picture
@pytest.mark.parametrize(
    ("males", "came", "told"),
    [
        (["M-1"], True, "Only one group"),
        (["M-1", "M-2"], False, "The behaviour never occurred"),
        (["M-1", "M-2"], True, "males and females can't be told apart"),
        (["", ""], True, "No session at risk"),
    ],
)
def test_a_kit_of_what_cannot_be_compared_says_so_and_r_has_no_other_figure(
    tmp_path: Path, males: list[str], came: bool, told: str
) -> None:
    (tmp_path / "sessions").mkdir()
    for at in range(6):
        made = marks((0, "introduced", None), (1000, "on_silk", None))
        if came:
            made += marks((4000 + 700 * at, "drumming", "onset"))
        made.append({"do": "close", "t": 20_000, "outcome": {}})
        male = males[at % len(males)]
        write_session(
            tmp_path / "sessions" / f"{at}.jsonl", made, terrestrial_1(), male=male, female=male.replace("M", "F")
        )
    folder.write(season.read(tmp_path), tmp_path / "tables", paper=True)
    methods = (tmp_path / "tables" / "paper" / "methods.md").read_text(encoding="utf-8")
    assert "Males were not compared" in methods and told in methods
    assert "0 random" not in methods and "nan" not in methods
    done = by_r(tmp_path / "tables" / "paper")
    assert done.returncode == 0, done.stdout + done.stderr


def test_r_would_notice_another_latency(kit: Path, tmp_path: Path) -> None:
    shutil.copytree(kit.parent, tmp_path / "tables")
    file = tmp_path / "tables" / "latencies.csv"
    text = file.read_text(encoding="utf-8")
    changed = re.sub(r"(courtship,[^\r\n]*?),(\d+\.\d+),TRUE", r"\1,1999.0,TRUE", text, count=1)
    assert changed != text
    file.write_text(changed, encoding="utf-8")
    done = by_r(tmp_path / "tables" / "paper")
    assert done.returncode == 1
    assert ",FALSE" in done.stdout


def test_the_methods_tell_what_was_done_with_its_sources(kit: Path, known: Season) -> None:
    told = (kit / "methods.md").read_text(encoding="utf-8")
    cited = set(re.findall(r"@(\w+)", told))
    there = set(re.findall(r"@article\{(\w+),", (kit / "sources.bib").read_text(encoding="utf-8")))
    assert cited == there != set()
    assert f"etholog {__version__}," in told
    for name in ("numpy", "pandas", "scipy", "matplotlib"):
        assert f"{name} {version(name)}" in told
    assert f"{len(known.sessions)} sessions of 6 males and 8 females" in told
    assert "the smaller of its ranks in two statistics" in told  # of more than two males
    assert "Pairs of males" not in told  # none of them has a p
    assert "within females" in told and "seed 0" in told and "10,000 random labellings" in told


def test_the_methods_count_every_animal_that_was_recorded(known: Season) -> None:
    times = latency(known, "courtship").head(3)
    text, _ = methods(known, times, compare(times, "male"), 0)
    assert "We recorded 28 sessions of 6 males and 8 females continuously" in text
    assert "was measured in 3 sessions" in text


def test_figures_are_a_column_wide(kit: Path) -> None:
    drawn = sorted(kit.glob("*.pdf"))
    assert len(drawn) == 5
    for file in drawn:
        assert float(PdfReader(file).pages[0].mediabox.width) == pytest.approx(3.5 * 72, abs=0.5), file.name


def test_an_interval_that_is_not_there_is_refused_and_nothing_is_written(known: Season, tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="courtshp"):
        folder.write(known, tmp_path / "tables", paper=True, interval="courtshp")
    assert list(tmp_path.iterdir()) == []
