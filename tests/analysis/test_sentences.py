"""The plain sentences: they name the numbers of the tables, and claim nothing where the numbers carry nothing."""

import json
import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

import etholog
from etholog.analysis import outcome
from etholog.analysis.compare import Comparison, compare
from etholog.analysis.sentences import duration, latency, transition
from etholog.base.text import percent
from etholog.commands import main
from etholog.season import Season
from etholog.session import summary


@pytest.fixture
def season(repository: Path) -> Season:
    return etholog.read(repository / "examples" / "season")


@pytest.fixture
def by_male(season: Season) -> Comparison:
    return compare(etholog.latency(season, "courtship"), "male", permutations=200)


def test_groups_are_named_with_the_medians_of_the_table(by_male: Comparison) -> None:
    said = " ".join(latency.of_groups(by_male, "to his first display"))
    for male, row in by_male.table.iterrows():
        assert f"{male} {summary.seconds(row['median_s'])} ({row['occurred']} of {row['n']})" in said
    assert "may still be chance" in said


def test_a_small_p_is_no_word_on_who_differs_and_none_is_no_word_at_all(by_male: Comparison) -> None:
    sure = replace(by_male, permutation_p=0.004, smallest_p=0.001)
    assert "It does not say which differ" in " ".join(latency.of_groups(sure, "it"))
    # Where 1 of 20 labellings is all that a design can give, that one says what it can.
    rarest = replace(by_male, permutation_p=0.05, smallest_p=0.05)
    assert rarest.usable
    assert "It does not say which differ" in " ".join(latency.of_groups(rarest, "it"))
    for p, smallest in ((math.nan, 0.001), (0.2, 0.2)):
        unknown = " ".join(latency.of_groups(replace(by_male, permutation_p=p, smallest_p=smallest), "it"))
        assert unknown.endswith("nobody can tell from these whether they differ by more than chance.")


def test_shares_and_successions_are_those_of_the_tables(season: Season) -> None:
    found = etholog.duration(season)
    said = duration.of_season(season, found, None, {})[0]
    walking = found[found["behaviour"] == "walking"].iloc[0]
    assert f"walking {percent(walking['share'])} ({percent(walking['share_low'])} to" in said
    told = etholog.transition(season, actor="male")
    first, rest = transition.of_season(season, told, {})
    counted = told.counts.loc["palp_probing", "insertion"]
    assert f"insertion after palp_probing ({counted:.0f} of {counted:.0f} times" in first
    assert "28 sessions of 6 males" in rest


def test_a_plan_names_schoenfelds_numbers_and_the_error_of_its_simulation(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["power", "--median=120", "--males=6", "--sessions", "2", "4", "--like", "0.1", "0.2", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    most = max(2 * math.sqrt(row[of] * (1 - row[of]) / 200) for row in told["designs"] for of in ("within", "between"))
    assert (
        f"0.1 to 0.2, that is over how alike one male's sessions are, give or take {percent(most)}" in told["sentence"]
    )
    # Schoenfeld 1981: 65.35 events of hazards 2 to 1; of 4 sessions of each male, so alike, 1 + 3 x .2 times as many.
    assert "a ratio of hazards of 2, Schoenfeld's formula asks for 65 in which it comes" in told["sentence"]
    assert "with 4 of each male and two kinds of males up to 105" in told["sentence"]


@pytest.mark.slow
def test_the_report_and_the_command_say_one_thing_of_outcomes(
    season: Season, repository: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    attempts = outcome.outcomes(season, date.today())
    ends = attempts[attempts["may_have_taken"]]["end"].value_counts()
    folder, page = str(repository / "examples" / "season"), tmp_path / "season.html"
    assert main(["outcome", "--folder", folder]) == 0
    said = capsys.readouterr().err.splitlines()[0]
    assert f"Of {ends.sum()} attempts" in said
    assert f"{ends['sac']} gave a sac" in said
    assert main(["report", "--season", "--folder", folder, "--out", str(page)]) == 0
    assert said in page.read_text(encoding="utf-8")


def test_an_insertion_says_of_which_palp_its_share_is() -> None:
    row = {"behaviour": "insertion", "qualifier": "left"}
    assert duration.with_side(row, {"insertion": "insertion"}) == "insertion, left"
    assert duration.with_side(row | {"qualifier": None}, {"insertion": "insertion"}) == "insertion"


def test_one_group_alone_is_not_set_against_itself(season: Season) -> None:
    one = replace(season, sessions=season.sessions.assign(place="shelf"))
    said = duration.of_season(one, etholog.duration(one, by="place"), "place", one.labels)
    assert said == ["There is one group alone: nothing to compare."]


def test_less_than_1_by_chance_is_not_about_that(season: Season) -> None:
    one = etholog.transition(season).long().head(1).assign(expected=0.4, count=1)
    first, after = one.loc[0, ["first", "next"]]
    said = transition.of_one(one, 1, 0.1, {})[0]
    assert said.casefold() == f"{after} after {first}: 1 of 1 times; chance: less than 1."


def test_what_never_came_is_not_compared(season: Season) -> None:
    few = replace(season, bouts=season.bouts[season.bouts["behaviour"] != "strike"])
    never = etholog.contrast(few, "strike", "male", permutations=99)
    assert duration.of_contrast(never, "strikes") == ["Strikes: it never came, so there is nothing to compare."]
