"""What a data archive gets: licence, creators, codebook, Darwin Core; places and people's names left out."""

import csv
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import frictionless
import pytest

from etholog import season
from etholog.export import darwin
from etholog.export.columns import DARWIN
from tests.make import RECORDS, season_of, write_card, write_session

Run = Callable[..., CompletedProcess[str]]
# The standard's own list: github.com/tdwg/dwc, dist/all_dwc_vertical.csv (commit 46a8bdce), read 2026-11-28.
TERMS = set((Path(__file__).parent / "darwin_core_terms.txt").read_text(encoding="utf-8").split())


def test_every_term_is_in_the_standards_list() -> None:
    assert len(TERMS) == 216
    assert {term for _, _, term, _ in darwin.MAPPING} <= TERMS
    ours = {"term", "term_iri", "match", "table", "column"}
    assert {*DARWIN} - ours <= TERMS


def workspace(folder: Path) -> Path:
    season_of(folder, observer="Mirko", place="Gdansk, cellar")
    note = {"do": "note", "t": 18_000, "text": "Mirko held the torch"}
    write_session(folder / "sessions" / "b.jsonl", [*RECORDS[:-1], note, RECORDS[-1]], observer="Ana", place="attic")
    write_card(folder, "M-1", ("sex", "2020", "male"), ("lent", "2026-01-01", "Zdenka until 2026-09-01"))
    write_card(folder, "F-1", ("sex", "2020", "female"), ("species", "2020", "Brachypelma smithi"))
    write_card(folder, "Y", ("dam", "2020", "F-1"), ("sire", "2020", "M-1:3 or M-2:1"), ("note", "2026", "Zdenka rang"))
    return folder


def deposit(folder: Path, etholog: Run, *words: str) -> Path:
    to = folder / "archive"
    done = etholog("export", to, "--deposit", "CC-BY-4.0", "--creator", "YOUR NAME", *words, "--folder", folder)
    assert done.returncode == 0, done.stderr
    return to


@pytest.mark.slow
def test_a_deposit_says_whose_it_is_and_is_valid(tmp_path: Path, etholog: Run) -> None:
    to = deposit(workspace(tmp_path), etholog)
    said = json.loads((to / "datapackage.json").read_text(encoding="utf-8"))
    assert said["licenses"] == [{"name": "CC-BY-4.0", "path": "https://creativecommons.org/licenses/by/4.0/"}]
    assert said["contributors"] == [{"title": "YOUR NAME", "roles": ["creator"]}]
    report = frictionless.validate(str(to / "datapackage.json"))
    assert report.valid, report.flatten(["type", "note"])
    book = (to / "codebook.md").read_text(encoding="utf-8")
    for one in said["resources"]:
        assert f"## {one['path']}" in book
        assert all(f"| {field['name']} | {field['type']} |" in book for field in one["schema"]["fields"])
    # Written again over itself, and not over what somebody changed.
    deposit(tmp_path, etholog)
    (to / "codebook.md").write_text("mine", encoding="utf-8")
    done = etholog("export", to, "--deposit", "CC-BY-4.0", "--creator", "YOUR NAME", "--folder", tmp_path)
    assert (done.returncode, "was changed since" in done.stderr) == (2, True)


@pytest.mark.slow
def test_organisms_events_and_relationships_are_those_of_the_season(tmp_path: Path, etholog: Run) -> None:
    to = deposit(workspace(tmp_path), etholog)
    tables = {
        name: list(csv.DictReader((to / f"{name}.csv").read_text(encoding="utf-8-sig").splitlines()))
        for name in ("organisms", "events", "relationships", "darwin_core")
    }
    assert {row["organismID"]: row["sex"] for row in tables["organisms"]} == {
        "F-1": "female",
        "M-1": "male",
        "Y": "undetermined",
    }
    assert {row["eventID"] for row in tables["events"]} == {*season.read(tmp_path).sessions["session"]}
    wanted = ("resourceID", "relationshipOfResource", "relationshipRemarks")
    told = [tuple(row[name] for name in wanted) for row in tables["relationships"]]
    assert told == [
        ("F-1", "mother of", ""),
        ("M-1", "father of", "one of several, with a chance of 0.75"),
        ("M-2", "father of", "one of several, with a chance of 0.25"),
    ]
    for row in tables["darwin_core"]:
        head = (to / f"{row['table']}.csv").read_text(encoding="utf-8-sig").splitlines()[0].split(",")
        assert row["column"] in head


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "there"),
    [
        ((), {"YOUR NAME"}),
        (("--people",), {"YOUR NAME", "Mirko", "Zdenka"}),
        (("--places", "full"), {"YOUR NAME", "Gdansk", "attic"}),
        (("--places", "coarse"), {"YOUR NAME", "Poland"}),
    ],
)
def test_places_and_names_are_left_out_unless_asked_for(
    words: tuple[str, ...], there: set[str], tmp_path: Path, etholog: Run
) -> None:
    workspace(tmp_path)
    (tmp_path / "places.csv").write_text('place,coarse\n"Gdansk, cellar",Poland\n', encoding="utf-8")
    to = deposit(tmp_path, etholog, *words)
    text = "".join(path.read_text(encoding="utf-8-sig") for path in to.rglob("*") if path.is_file())
    assert {name for name in ("YOUR NAME", "Mirko", "Zdenka", "Gdansk", "attic", "Poland") if name in text} == there


@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["--deposit", "as you like", "--creator", "Ana"], "is not the SPDX name"),
        (["--deposit", "CC0-1.0"], "a deposit names who made it"),
        (["--creator", "Ana"], "--creator goes with --deposit"),
        (["--deposit", "CC0-1.0", "--creator", "Ana", "--places", "coarse"], "places.csv"),
    ],
)
def test_what_is_no_deposit_is_refused(words: list[str], why: str, tmp_path: Path, etholog: Run) -> None:
    workspace(tmp_path)
    done = etholog("export", tmp_path / "archive", *words, "--folder", tmp_path)
    assert (done.returncode, why in done.stderr) == (2, True), done.stderr
    assert not (tmp_path / "archive").exists()


@pytest.mark.slow
def test_the_example_season_is_deposited(repository: Path, tmp_path: Path, etholog: Run) -> None:
    shutil.copytree(repository / "examples" / "season", tmp_path / "season")
    to = deposit(tmp_path / "season", etholog)
    cards = len(list((repository / "examples" / "season" / "animals").glob("*.jsonl")))
    assert len((to / "organisms.csv").read_text(encoding="utf-8-sig").splitlines()) == cards + 1
