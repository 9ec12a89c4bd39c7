"""Roles: said by the ethogram, given to old ones at reading, and never guessed at."""

import shutil
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any, get_args

import pytest

import etholog
from etholog import animals, ethogram, session
from etholog.analysis.balance import palp_balance
from etholog.analysis.outcome import funnel, outcomes
from etholog.base.dates import Day
from etholog.base.journal import Journal
from etholog.base.refusal import Refusal
from etholog.ethogram import INTERVAL_ROLES, ROLES, IntervalRole, Role, from_plain
from etholog.season import Season
from etholog.session import summary
from etholog.session.evidence import Evidence, evidence
from tests.make import ETHOGRAM, marks, write_session

# A session that version 0.1 recorded by an ethogram in which `insertion` is called `embolus_in`.
OLD = Path(__file__).parents[1] / "old" / "0.1"
THE_LINE = 'role = "insertion"'


def test_the_list_of_roles_is_closed_and_told_in_help() -> None:
    assert set(ROLES) == set(get_args(Role))
    assert set(INTERVAL_ROLES) == set(get_args(IntervalRole))
    page = (files("etholog.help") / "files.md").read_text(encoding="utf-8")
    for role, meaning in ROLES.items():
        assert f"| {role} | {meaning} |" in page
    for name in INTERVAL_ROLES:
        assert f'role = "{name}"' in page


def test_a_role_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="role"):
        from_plain(_with(touch="tuch"))


def _with(**roles: str) -> dict[str, Any]:
    plain = ETHOGRAM.plain()
    return plain | {
        "behaviour": [b | ({"role": roles[b["code"]]} if b["code"] in roles else {}) for b in plain["behaviour"]]
    }


def test_a_role_is_part_of_the_hash_and_one_given_at_reading_is_not() -> None:
    told = from_plain(_with(touch="touch"))
    assert told.hash != ETHOGRAM.hash
    assert told.role_of == ETHOGRAM.role_of
    later = ETHOGRAM.told_by(from_plain(_with(hidden="flight")))
    assert later.role_of["hidden"] == "flight"
    assert later.hash == ETHOGRAM.hash
    assert later.plain() == ETHOGRAM.plain()


def test_two_courtships_are_refused() -> None:
    way = {"name": "a", "label": "a", "to": ["drumming"], "role": "courtship"}
    with pytest.raises(Refusal, match="the role 'courtship' is given twice"):
        ethogram.from_plain(ETHOGRAM.plain() | {"interval": [way, way | {"name": "b"}]})


def test_a_session_says_by_its_format_that_version_0_1_cannot_read_it(tmp_path: Path) -> None:
    for name, kept, form in (("old", ETHOGRAM, 1), ("new", from_plain(_with(touch="touch")), 2)):
        write_session(tmp_path / f"{name}.jsonl", [], kept)
        assert session.header(tmp_path / f"{name}.jsonl")["format"] == f"etholog-session/{form}"


def test_a_newer_session_than_this_program_knows_is_named_in_one_line(tmp_path: Path) -> None:
    Journal.create(tmp_path / "a.jsonl", {"format": "etholog-session/9", "ethogram": {}}).close()
    with pytest.raises(Refusal, match=r"newer format \(etholog-session/9\).*a newer version of etholog reads it"):
        session.read(tmp_path / "a.jsonl")


@pytest.fixture
def workspace(tmp_path: Path) -> Path:
    (tmp_path / "sessions").mkdir()
    shutil.copy(OLD / "sessions" / "own-codes.jsonl", tmp_path / "sessions")
    shutil.copytree(OLD / "ethograms", tmp_path / "ethograms")
    return tmp_path


def give_the_role(workspace: Path) -> None:
    own = workspace / "ethograms" / "own.toml"
    text = own.read_text(encoding="utf-8")
    own.write_text(text.replace('code = "embolus_in"', f'code = "embolus_in"\n{THE_LINE}'), encoding="utf-8")


def test_what_an_ethogram_of_ones_own_does_not_say_is_not_known(
    workspace: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    read = session.read(workspace / "sessions" / "own-codes.jsonl")
    assert evidence(read.ethogram, read.fold.bouts) is Evidence.UNTOLD
    told = "\n".join(summary.lines(read))
    assert "no contact" not in told
    assert "no insertion" not in told
    assert f"write {THE_LINE}" in told
    checked = etholog("check", workspace)
    assert checked.returncode == 1
    for file in ("ethograms/own.toml", "sessions/own-codes.jsonl"):
        assert any(file in line and THE_LINE in line for line in checked.stdout.splitlines())


def test_a_measure_that_needs_a_missing_role_refuses_in_one_line(workspace: Path) -> None:
    season = etholog.read(workspace)
    with pytest.raises(Refusal) as refused:
        palp_balance(season)
    assert str(refused.value).count("\n") == 0
    assert THE_LINE in str(refused.value)
    with pytest.raises(Refusal, match=THE_LINE):
        etholog.figures.palps(season)
    attempt = outcomes(season, Day.parse("2026-12-31").first)
    assert attempt["evidence"].isna().all()
    assert attempt["insertions"].isna().all()
    assert funnel(attempt).set_index("step")["of"]["clasped"] == 0
    assert THE_LINE in str(animals.read(workspace).findings[0])


def test_one_line_in_the_ethogram_gives_old_sessions_the_role(
    workspace: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    file = workspace / "sessions" / "own-codes.jsonl"
    before = session.read(file).ethogram
    give_the_role(workspace)
    read = session.read(file)
    assert read.ethogram.hash == before.hash == read.header["ethogram_hash"]
    assert evidence(read.ethogram, read.fold.bouts) is Evidence.BOTH_PALPS
    season = season_of(workspace)
    assert palp_balance(season)[["left", "right"]].to_numpy().tolist() == [[1, 1]]
    assert etholog("check", workspace).returncode == 0


def season_of(workspace: Path) -> Season:
    return etholog.read(workspace)


@pytest.mark.parametrize("cached", [True, False])
def test_the_season_has_the_roles_from_the_cache_too(
    workspace: Path, cached: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    from etholog.base import cache

    monkeypatch.setattr(cache, "AT_LEAST", 1)
    monkeypatch.setattr(cache, "_SETTLED_S", 0.0)
    assert etholog.read(workspace, cached=cached).bouts["role"].notna().sum() == 3
    give_the_role(workspace)
    again = etholog.read(workspace, cached=cached)
    assert (again.bouts["role"] == "insertion").sum() == 2


def test_a_renamed_code_with_its_role_measures_as_before(tmp_path: Path) -> None:
    codes = {"insertion": "embolus_in", "touch": "meets", "clasp": "holds"}
    plain = ETHOGRAM.plain()
    new = [
        b
        | {"code": codes.get(b["code"], b["code"])}
        | ({"role": b["code"]} if b["code"] in codes else {})
        | ({"within": codes[b["within"]]} if "within" in b else {})
        | ({"ends": [codes.get(code, code) for code in b["ends"]]} if "ends" in b else {})
        for b in plain["behaviour"]
    ]
    renamed = ethogram.from_plain(plain | {"behaviour": new})
    for seen in (("touch",), ("touch", "clasp"), ("touch", "clasp", "insertion"), ()):
        made = [(1000 * at, code, None if code == "touch" else "onset") for at, code in enumerate(seen, 1)]
        write_session(tmp_path / f"old{len(seen)}.jsonl", marks(*made))
        write_session(
            tmp_path / f"new{len(seen)}.jsonl", marks(*((t, codes[code], edge) for t, code, edge in made)), renamed
        )
        one, two = (session.read(tmp_path / f"{which}{len(seen)}.jsonl") for which in ("old", "new"))
        assert evidence(one.ethogram, one.fold.bouts) == evidence(two.ethogram, two.fold.bouts) == len(seen)


def test_courtship_is_asked_for_by_its_role_whatever_its_name(tmp_path: Path) -> None:
    way = {"name": "werben", "label": "to his display", "to": ["drumming"], "role": "courtship"}
    kept = ethogram.from_plain(ETHOGRAM.plain() | {"interval": [way]})
    write_session(tmp_path / "a.jsonl", marks((4000, "drumming", "onset")), kept)
    season = etholog.read(tmp_path)
    for name in ("courtship", "werben"):
        assert etholog.latency(season, name)["latency_s"].tolist() == [4.0]
    with pytest.raises(Refusal, match="did you mean 'werben'"):
        etholog.latency(season, "werbung")
