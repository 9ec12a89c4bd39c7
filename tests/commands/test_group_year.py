"""A breeding group's year, walked by commands on the example group of three keepers."""

import csv
import io
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import animals
from etholog.animals.lines import lines

Run = Callable[..., CompletedProcess[str]]
KEEPERS = ("anna", "bert", "carla")
DAY = "2026-03-02"


def test_the_group_is_what_its_script_makes(repository: Path, tmp_path: Path) -> None:
    from examples.make_group import make

    make(tmp_path)
    there = repository / "examples" / "group"
    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*.jsonl")}
    assert made == {path.relative_to(there): path.read_bytes() for path in there.rglob("*.jsonl")}
    cards = [lines(tmp_path / path) for path in made]
    assert len({one.identity for one in cards}) == 41  # 40 animals, one of them with a second card
    assert len(cards) == 42  # and one with a copy of its card
    notes = [record for one in cards for record in one.records if record.get("words") == "invented"]
    assert len(notes) == len(cards)


@pytest.mark.slow
def test_a_groups_year_by_commands(repository: Path, tmp_path: Path, etholog: Run) -> None:
    for keeper in KEEPERS:
        shutil.copytree(repository / "examples" / "group" / keeper, tmp_path / keeper)
    group = tmp_path / "group"
    sources = [f"{keeper}={tmp_path / keeper}" for keeper in KEEPERS]

    def run(*words: object, code: int = 0, folder: Path = group) -> str:
        done = etholog(*words, "--folder", folder)
        assert done.returncode == code, done.stdout + done.stderr
        return done.stdout

    def gather(code: int) -> str:
        done = etholog("gather", *sources, "--to", group, "--join-same-names")
        assert done.returncode == code, done.stdout + done.stderr
        return done.stdout + done.stderr

    # Three keepers' cards become one group; one animal has two names, and a person joins them.
    assert "M-Jasper and Stripes may be one animal: moult 2025-11-28 on both cards" in gather(1)
    run("card", "Stripes", "renamed", "M-Jasper", code=1)  # it is asked about
    assert "0 new cards, 0 new entries, 0 new sessions" in gather(0)
    assert etholog("check", group).returncode == 0
    known = animals.read(group)
    assert len(known.cards) == 40
    assert sorted(name for name, up in known.parents.items() if len(up.sire) > 1) == ["F-Garnet", "F-Topaz"]

    # Whom to pair with whom; one pair is forbidden, one fixed, and it is computed anew.
    first = rows(run("plan", "--today", DAY))
    assert first
    assert all(row["inbreeding"] != "" for row in first)  # every parent is known
    taken = first[0]
    couple = f"{taken['male']}:{taken['female']}"
    again = rows(run("plan", "--today", DAY, "--forbid", couple))
    assert (taken["male"], taken["female"]) not in {(row["male"], row["female"]) for row in again}
    other = f"{taken['next_best']}:{taken['female']}"
    fixed = rows(run("plan", "--today", DAY, "--fix", other))
    assert [row["male"] for row in fixed if row["fixed"] == "True" or row["fixed"] == "TRUE"] == [taken["next_best"]]
    run("plan", "--today", DAY, "--draw", tmp_path / "plan.svg", "--ics", tmp_path / "plan.ics")
    told = json.loads(run("plan", "--today", DAY, "--json"))
    assert 0 < told["group"]["mean_kinship"] < 0.25
    assert told["group"]["with_an_unknown_parent"] == []

    run("card", "--pedigree", tmp_path / "all.svg")
    run("card", "M-Loam", "--pedigree", tmp_path / "loam.csv")

    # At anna's, who has him on loan: what is due, a pairing, a sac, its young.
    anna = tmp_path / "anna"
    his, hers = "M-Heath", "F-Ember"
    assert f"bring {his} back to Carla" in run("due", "--today", "2026-07-20", "--json", folder=anna)
    year = [
        ("paired", [his], "2026-03-10"),
        ("paired", ["M-Kestrel"], "2026-03-24"),
        ("shares", ["Carla", "1,", "me", "1"], "2026-03-10"),
        ("sac", [], "2026-05-20"),
        ("pulled", [], "2026-06-28"),
        ("incubated", ["26"], "2026-06-28"),
        ("turned", [], "2026-07-01"),
        ("opened", ["eggs", "with", "legs"], "2026-07-10"),
        ("count", ["eggs", "with", "legs", "161"], "2026-07-10"),
        ("count", ["dead", "eggs", "with", "legs", "8"], "2026-07-14"),
        ("count", ["nymphs", "153"], "2026-07-20"),
        ("split", ["Carla", "77,", "me", "76"], "2026-08-10"),
        ("placed", ["Carla", "77"], "2026-08-12"),
        ("raised", ["F-New"], "2026-09-01"),
        ("raised", ["M-New"], "2026-09-01"),
    ]
    for kind, words, on in year:
        done = etholog("card", hers, kind, *words, "--on", on, "--folder", anna)
        asked = words == ["M-Kestrel"] or kind == "raised"  # he is another keeper's, and has no card here
        assert done.returncode == int(asked), (kind, done.stdout, done.stderr)
    run("card", his, "returned", "--on", "2026-07-25", folder=anna)
    lot = run("card", hers, "--lot", folder=anna)
    assert f"sire: {his} or M-Kestrel, nobody knows which" in lot
    assert "first counted 161 = alive 74 + dead 8 + placed 77 + raised 2" in lot
    run("card", hers, "--lot", "-o", tmp_path / "lot.html", folder=anna)
    assert "Carla" not in (tmp_path / "lot.html").read_text(encoding="utf-8")
    assert f"dam {hers}; sire {his} or M-Kestrel" in run("label", hers, "--lot", folder=anna)
    lender = run("card", his, "--loan", folder=anna)
    for said in ("on loan from Carla", f"{hers}: sac 2026-05-20", f"the sire may be {his} or M-Kestrel"):
        assert said in lender
    run("due", "--sitter", tmp_path / "sitter.html", "--today", "2026-07-11", folder=anna)
    assert (tmp_path / "sitter.html").stat().st_size > 1000

    # Gathered again, only what is new comes in, and the new generation is kin to the old.
    said = gather(0)
    assert "2 new cards" in said
    assert "M-Kestrel (anna) is M-Kestrel" in said
    known = animals.read(group)
    assert known.parents["F-New"].dam == ((hers, 1.0),)
    assert known.parents["F-New"].sire == ((his, 0.5), ("M-Kestrel", 0.5))
    text = "".join(path.read_text(encoding="utf-8") for path in (group / "animals").rglob("*.jsonl"))
    assert "Carla" not in text  # she is a person; her label stands by her lines
    assert '"by":"carla"' in text


def rows(table: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(table)))
