"""What is due, and what speaks for and against a pairing. Windows and habits are common practice, no source."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import animals
from etholog.animals import availability, care, readiness
from etholog.animals.attempts import attempts
from etholog.animals.care import Task
from etholog.animals.pedigree import Parents
from etholog.base.language import speaking
from etholog.ethogram import at_hand
from tests.make import CardLine, marks, write_card, write_session

pytestmark = pytest.mark.slow

Run = Callable[..., CompletedProcess[str]]
BRACHYPELMA = ("species", "2020", "Brachypelma smithi")
PAIRED = ("paired", "2026-03-01", "M-1")


def due(folder: Path, today: str, *told: CardLine, male: tuple[CardLine, ...] = ()) -> dict[str, Task]:
    write_card(folder, "F-1", ("sex", "2020", "female"), BRACHYPELMA, *told)
    write_card(folder, "M-1", ("sex", "2020", "male"), BRACHYPELMA, *male)
    tasks = care.due(animals.read(folder), at_hand(folder), date.fromisoformat(today))
    return {task.key.split("/")[0][0] + " " + task.key.split("/")[1]: task for task in tasks}


def test_after_a_pairing_a_sac_is_looked_for_in_its_window(tmp_path: Path) -> None:
    tasks = due(tmp_path, "2026-03-02", PAIRED)
    look = tasks["F sac"]
    assert (look.first, look.last, look.every) == (date(2026, 5, 30), date(2026, 12, 26), 7)  # 90 and 300 days
    assert tasks["F nosac"].first == date(2026, 12, 27)
    assert tasks["F again"].first == date(2026, 3, 4)
    assert tasks["M check"].first == date(2026, 3, 2)


def test_whose_each_window_is_is_said_in_the_language(tmp_path: Path) -> None:
    with speaking("de"):
        tasks = due(tmp_path, "2026-03-02", PAIRED, ("meal", "2026-02-25"), male=(("moult", "2025-12-01", "last"),))
    assert {"F sac", "F again", "F meal", "M check", "M prime"} <= set(tasks)
    assert {task.source for task in tasks.values()} == {"üblich, ohne Quelle"}


def test_a_males_own_window_is_said_with_its_source(tmp_path: Path) -> None:
    due(tmp_path, "2026-03-02", male=(("moult", "2024-12-01", "last"),))
    shipped = at_hand(tmp_path)
    own = [replace(e, aftercare=tuple(replace(one, source="our own males") for one in e.aftercare)) for e in shipped]
    told = readiness.facts("M-1", "F-1", animals.read(tmp_path), own, date(2026, 3, 2))
    assert any("most pair from 14 to 180 days after it (our own males)" in fact.text for fact in told)


@pytest.mark.parametrize(
    ("ended", "his", "asked"),
    [
        ("keeper ended it", (), True),
        ("he was killed", (), False),
        ("keeper ended it", (("died", "2026-05-04"),), False),
        ("keeper ended it", (("sold", "2026-05-04", "Bert"),), False),
    ],
)
def test_nobody_is_asked_to_introduce_a_male_again_who_is_not_there(
    ended: str, his: tuple[CardLine, ...], asked: bool, tmp_path: Path
) -> None:
    (tmp_path / "sessions").mkdir()
    made = [*marks((1000, "walking", "onset")), {"do": "close", "t": 90_000, "outcome": {"ended": ended}}]
    write_session(tmp_path / "sessions" / "a.jsonl", made)
    assert ("F again" in due(tmp_path, "2026-05-05", male=his)) == asked


@pytest.mark.parametrize(
    ("moult", "first", "last"),
    [
        ("2025-09-01", date(2026, 3, 4), date(2026, 3, 15)),
        ("2026-02-26", date(2026, 3, 26), date(2026, 4, 6)),  # soft for four weeks, as `ready` says too
    ],
)
def test_a_female_that_has_just_moulted_is_not_to_be_paired_again_before_she_has_hardened(
    moult: str, first: date, last: date, tmp_path: Path
) -> None:
    again = due(tmp_path, "2026-03-02", ("moult", moult), PAIRED)["F again"]
    assert (again.first, again.last) == (first, last)


@pytest.mark.parametrize(
    ("moult", "asked"),
    [
        ("2025-06-01", True),
        ("2025-05-10", True),  # near from 2026-03-11 on: 12 months, less 60 days
        ("2025-05-01", False),  # near from 2026-03-02 on, and she is not asked for before the 4th
        ("2025-04-01", False),
        ("2023-04-01", False),
    ],
)
def test_a_second_introduction_is_asked_for_when_plan_has_her_free(moult: str, asked: bool, tmp_path: Path) -> None:
    """Both by her interval alone: no meal was refused."""
    again = due(tmp_path, "2026-03-02", ("moult", moult), PAIRED).get("F again")
    assert bool(again) == asked
    known = animals.read(tmp_path)
    mine = care.window("F-1", known, at_hand(tmp_path))
    days = (date(2026, 3, 4), date(2026, 3, 15))  # 3 to 14 days after the pairing (common practice, no source)
    free = availability.free("F-1", replace(known, pairings=[]), mine, {"F-1": []}, *days, rest=14)
    assert (not free.shut) == asked
    if again:
        assert (again.first, again.last) == (free.first, free.last)


def test_having_looked_puts_the_next_look_a_week_on(tmp_path: Path) -> None:
    assert due(tmp_path, "2026-07-01", PAIRED, ("looked", "2026-06-29"))["F sac"].first == date(2026, 7, 6)


def test_the_day_of_looking_is_not_the_day_of_asking(tmp_path: Path) -> None:
    asked = [
        care.due(animals.read(tmp_path), at_hand(tmp_path), day)
        for day in (date(2026, 3, 2), date(2026, 7, 1), date(2026, 7, 2), date(2026, 12, 26))
        if day > date(2026, 3, 2) or due(tmp_path, "2026-03-02", PAIRED)
    ]
    days = {(task.first, task.last) for tasks in asked for task in tasks if task.kind == "sac"}
    assert days == {(date(2026, 5, 30), date(2026, 12, 26))}


def test_after_the_last_look_in_its_window_there_is_no_other(tmp_path: Path) -> None:
    tasks = due(tmp_path, "2026-12-24", PAIRED, ("looked", "2026-12-23"))  # the window closes on the 26th
    assert "F sac" not in tasks
    assert tasks["F nosac"].first == date(2026, 12, 27)


def test_looking_ahead_for_ever_is_no_trouble(tmp_path: Path, etholog: Run) -> None:
    due(tmp_path, "2026-03-02", PAIRED)
    done = etholog("due", "--ahead", "999999999", "--today", "2026-03-02", "--folder", tmp_path)
    assert (done.returncode, "F-1          no sac in its time" in done.stdout) == (0, True)


def test_a_moult_undoes_the_pairing(tmp_path: Path) -> None:
    tasks = due(tmp_path, "2026-06-20", PAIRED, ("moult", "2026-06-11"))
    assert "F sac" not in tasks
    assert "undone the pairing" in tasks["F moult"].what
    assert tasks["F moult"].first == date(2026, 7, 9)  # soft for four weeks, as `plan` and `ready` say too


def test_a_sac_puts_guarding_in_the_place_of_looking(tmp_path: Path) -> None:
    tasks = due(tmp_path, "2026-07-05", PAIRED, ("sac", "2026-07-01"))
    assert "F sac" not in tasks
    assert (tasks["F guard"].first, tasks["F guard"].last) == (date(2026, 7, 1), date(2026, 7, 31))
    assert (tasks["F pull"].first, tasks["F pull"].last) == (date(2026, 8, 5), date(2026, 8, 19))  # 5 to 7 weeks
    assert (tasks["F free"].first, tasks["F free"].last) == (date(2026, 9, 2), date(2026, 9, 23))  # 9 to 12 weeks


@pytest.mark.parametrize(
    ("told", "first", "stands", "meals"),
    [
        ((), date(2026, 9, 24), True, False),  # free young are expected from 9 to 12 weeks on
        ((("pulled", "2026-08-10"),), date(2026, 10, 10), False, True),  # 60 days after it was handled last
        ((("eaten", "2026-12-20"),), None, False, True),
        ((("count", "2026-09-20", "spiderlings", "90"),), None, False, True),
    ],
)
def test_after_its_time_it_is_asked_what_became_of_a_sac(
    told: tuple[CardLine, ...], first: date | None, stands: bool, meals: bool, tmp_path: Path
) -> None:
    """Whoever guards a sac gets no meal, so that of hers stands until it is answered."""
    laid = (PAIRED, ("sac", "2026-07-01"), ("meal", "2026-06-01"))
    tasks = due(tmp_path, "2026-12-05" if first else "2026-12-21", *laid, *told)
    late = tasks.get("F late")
    assert (late and late.first, bool(late and late.until_done), "F meal" in tasks) == (first, stands, meals)


def test_a_sac_nobody_told_of_again_stands_until_she_moults(tmp_path: Path) -> None:
    laid = (PAIRED, ("sac", "2026-07-01"))
    assert "F late" in due(tmp_path, "2027-06-01", *laid)
    assert "F late" not in due(tmp_path, "2027-06-01", ("moult", "2027-05-01"))


def test_what_is_due_comes_by_its_last_day_and_the_round_after_it(tmp_path: Path) -> None:
    told = (PAIRED, ("sac", "2026-07-01"), ("pulled", "2026-08-10"), ("water", "2026-08-01"), ("meal", "2026-07-01"))
    his = (("moult", "2026-03-01", "last"), ("borrowed", "2026-05-01", "Bert until 2026-08-20"))
    due(tmp_path, "2026-08-22", *told, male=his)
    tasks = care.due(animals.read(tmp_path), at_hand(tmp_path), date(2026, 8, 22))
    assert [task.kind for task in tasks] == ["borrowed", "prime", "incubator", "meal", "water", "free", "late"]


def test_a_pulled_sac_is_looked_at_every_few_days_until_it_opens(tmp_path: Path) -> None:
    tasks = due(tmp_path, "2026-08-11", PAIRED, ("sac", "2026-07-01"), ("pulled", "2026-08-10"))
    assert "F guard" not in tasks
    assert tasks["F incubator"].every == 3


@pytest.mark.parametrize(
    "end",
    [
        (("eaten", "2026-07-09"),),
        (("opened", "2026-07-09"), ("count", "2026-07-09", "spiderlings", "9"), ("placed", "2026-07-10", "Anna", "9")),
    ],
)
def test_when_all_is_over_nothing_is_due(end: tuple[CardLine, ...], tmp_path: Path) -> None:
    assert not due(tmp_path, "2026-07-10", PAIRED, ("sac", "2026-07-01"), *end)


def test_the_dead_need_nothing(tmp_path: Path) -> None:
    told = (("water", "2026-01-01"), ("meal", "2026-01-01", "small"), ("died", "2026-06-01"))
    assert "F water" not in due(tmp_path, "2026-07-01", *told)


def test_a_sac_that_was_pulled_outlives_her(tmp_path: Path) -> None:
    pulled = (PAIRED, ("sac", "2026-07-01"), ("pulled", "2026-08-08"), ("died", "2026-08-10"), ("meal", "2026-06-01"))
    tasks = due(tmp_path, "2026-08-11", *pulled)
    assert set(tasks) == {"F incubator", "F free", "F late"}


SAC = (PAIRED, ("sac", "2026-07-01"))


@pytest.mark.parametrize(
    ("species", "until", "caution"),
    [  # until free spiderlings are expected at the latest (common practice, no source)
        ("Brachypelma smithi", date(2026, 9, 23), "'tarantula hairs'"),
        ("Caribena versicolor", date(2026, 9, 2), "'tarantula hairs'"),
        ("Poecilotheria regalis", date(2026, 9, 2), "poison centre"),
        ("Pterinochilus murinus", date(2026, 8, 19), "poison centre"),
        ("Cyriocosmus elegans", date(2026, 9, 23), "'tarantula hairs'"),
        ("Hogna carolinensis", date(2026, 8, 12), "never fingers"),
        ("Phidippus regius", date(2026, 8, 12), "never fingers"),
        ("Nosuchgenus mirabilis", date(2026, 9, 8), "poison centre"),  # no window: 60 days after her death
    ],
)
def test_a_sac_on_which_she_died_is_to_be_taken(species: str, until: date, caution: str, tmp_path: Path) -> None:
    """Young emerge without their mother: Panzera et al. 2009, J. Arachnol. (Grammostola mollicoma)."""
    orphan = due(tmp_path, "2026-07-11", *SAC, ("species", "2020", species), ("died", "2026-07-10"))["F orphan"]
    assert (orphan.first, orphan.last) == (date(2026, 7, 10), until)
    assert "be sure that she is dead" in orphan.what
    assert caution in orphan.what


@pytest.mark.parametrize(
    ("told", "kinds"),
    [
        ((("pulled", "2026-07-12"),), {"F incubator", "F free", "F late"}),
        ((("opened", "2026-07-12", "dead eggs"),), set()),
        ((("count", "2026-07-12", "spiderlings", "40"),), {"F young"}),
        ((), {"F orphan", "F free", "F late"}),
    ],
)
def test_what_is_told_of_a_sac_after_her_death_is_followed(
    told: tuple[CardLine, ...], kinds: set[str], tmp_path: Path
) -> None:
    assert set(due(tmp_path, "2026-07-13", *SAC, ("died", "2026-07-10"), *told)) == kinds


def test_a_sac_that_she_outlived_by_years_is_no_orphan(tmp_path: Path) -> None:
    assert not due(tmp_path, "2028-07-11", *SAC, ("died", "2028-07-10"))


@pytest.mark.parametrize("left", [("sold", "2026-07-10", "Bea"), ("lent", "2026-07-10", "Bea")])
def test_it_is_asked_whether_a_closed_sac_left_with_her(left: CardLine, tmp_path: Path) -> None:
    asked = due(tmp_path, "2026-07-11", *SAC, left)
    assert set(asked) == {"F left"}
    assert (asked["F left"].first, asked["F left"].last) == (date(2026, 7, 10), date(2026, 7, 24))
    assert not due(tmp_path, "2026-07-25", *SAC, left)


def test_a_sac_that_stayed_is_looked_after_once_it_is_told(tmp_path: Path) -> None:
    told = (*SAC, ("sold", "2026-07-10", "Bea"), ("pulled", "2026-07-10"))
    assert set(due(tmp_path, "2026-07-11", *told)) == {"F incubator", "F free", "F late"}


@pytest.mark.parametrize("left", [("sold", "2026-08-10", "Bea"), ("lent", "2026-08-10", "Bea")])
def test_a_sac_that_was_pulled_stays_when_she_leaves(left: CardLine, tmp_path: Path) -> None:
    before = (PAIRED, ("sac", "2026-07-01"), ("meal", "2026-06-01"), ("water", "2026-06-01"))
    assert set(due(tmp_path, "2026-08-11", *before, ("pulled", "2026-08-08"), left)) == {
        "F incubator", "F free", "F late",
    }  # fmt: skip


def test_dead_ones_taken_out_are_no_count_of_the_young(tmp_path: Path) -> None:
    opened = (PAIRED, ("sac", "2026-07-01"), ("opened", "2026-08-08"), ("count", "2026-08-08", "dead eggs", "5"))
    assert "F count" in due(tmp_path, "2026-08-11", *opened)


def test_a_sac_that_left_with_her_is_the_buyers(tmp_path: Path) -> None:
    told = (PAIRED, ("sac", "2026-07-01"), ("sold", "2026-08-08", "Bea"), ("pulled", "2026-08-10"))
    assert not due(tmp_path, "2026-08-11", *told)


def test_a_moult_ends_the_guarding(tmp_path: Path) -> None:
    tasks = due(tmp_path, "2026-08-05", PAIRED, ("sac", "2026-07-01"), ("meal", "2026-06-20"), ("moult", "2026-08-01"))
    assert set(tasks) == {"F meal"}


def test_a_meal_stays_due_until_it_is_given(tmp_path: Path) -> None:
    tasks = due(tmp_path, "2026-07-01", ("meal", "2026-01-01", "small"), ("water", "2026-06-25"))
    assert tasks["F meal"].last < date(2026, 7, 1)
    assert tasks["F water"].first == date(2026, 7, 2)


def test_a_partial_date_widens_the_window(tmp_path: Path) -> None:
    look = due(tmp_path, "2026-04-02", ("paired", "2026-03", "M-1"))["F sac"]
    assert (look.first, look.last) == (date(2026, 5, 30), date(2027, 1, 25))


def test_a_leap_day_is_a_day(tmp_path: Path) -> None:
    look = due(tmp_path, "2024-02-29", ("paired", "2024-02-29", "M-1"))["F sac"]
    assert look.first == date(2024, 2, 29) + timedelta(days=90)


def test_enough_sacs_of_ones_own_say_more_than_the_shipped_window(tmp_path: Path) -> None:
    for n, days in enumerate((40, 50, 60, 70, 80), 2):
        laid = (date(2025, 1, 1) + timedelta(days=days)).isoformat()
        write_card(
            tmp_path, f"F-{n}", ("sex", "2020", "female"), BRACHYPELMA, ("paired", "2025-01-01", "M-9"), ("sac", laid)
        )
    look = due(tmp_path, "2026-03-02", PAIRED)["F sac"]
    assert (look.first, look.last) == (date(2026, 4, 10), date(2026, 5, 20))
    assert look.source == "your own 5 sacs of Brachypelma"


# Common practice, no source: what keepers say of some Old World burrowers has to fit the shipped windows.
def test_shipped_windows_hold_what_keepers_see_in_old_world_burrowers(tmp_path: Path) -> None:
    write_card(tmp_path, "F-9", ("species", "2020", "Pterinochilus murinus"))
    mine = care.window("F-9", animals.read(tmp_path), at_hand(tmp_path))
    assert mine is not None
    assert mine.sac[0] <= 61 <= mine.sac[1]  # a sac about two months after the pairing
    assert "just off the floor" in (mine.care.sac_form or "")
    assert "overlooked" in (mine.care.sac_form or "")
    assert mine.care.guard == 30  # left alone for about 30 days
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), ("species", "2020", "Pterinochilus murinus"))
    write_card(tmp_path, "F-1", ("meal", "2026-03-01", "small"), PAIRED)
    before = {t.key.split("/")[1]: t for t in care.due(animals.read(tmp_path), at_hand(tmp_path), date(2026, 3, 2))}
    assert "few and of middling size" in before["meal"].what
    assert "often attacks" in before["again"].what
    write_card(tmp_path, "F-1", ("sac", "2026-05-01"))
    after = {t.key.split("/")[1]: t for t in care.due(animals.read(tmp_path), at_hand(tmp_path), date(2026, 5, 2))}
    assert "water that can't dry out" in after["guard"].what


def test_due_on_the_example_season(repository: Path, etholog: Run) -> None:
    done = etholog("due", "--today", "2026-11-20", "--folder", repository / "examples" / "season")
    assert done.returncode == 0, done.stderr
    today, rest = done.stdout.split("THIS WEEK")
    assert "F-Umbra      look for a sac" in today
    assert "last meal 2026-03-02" not in done.stdout  # a mature male's, who is offered small ones and eats little
    assert "F-Fern       free spiderlings are expected" in today
    assert "M-Basalt" not in done.stdout  # he died in August
    parsed = json.loads(
        etholog(
            "due", "F-Umbra", "--json", "--today", "2026-11-20", "--folder", repository / "examples" / "season"
        ).stdout
    )
    assert {task["animal"] for task in parsed} == {"F-Umbra"}
    assert "F-Sepia      feed: few and of middling size after a pairing" in rest  # her window opens on the 21st


def test_an_unknown_animal_gets_the_nearest_names(repository: Path, etholog: Run) -> None:
    for words in (("due", "F-Umbre"), ("ready", "M-Flnt", "F-Umbra"), ("label", "F-Umbre"), ("card", "F-Umbre")):
        done = etholog(*words, "--folder", repository / "examples" / "season")
        assert done.returncode == 2
        assert "did you mean" in done.stderr


def facts(folder: Path, today: str, he: tuple[CardLine, ...], she: tuple[CardLine, ...]) -> dict[str, list[str]]:
    write_card(folder, "M-1", ("sex", "2020", "male"), *he)
    write_card(folder, "F-1", ("sex", "2020", "female"), *she)
    day = date.fromisoformat(today)
    known = animals.read(folder).as_of(day)
    found: dict[str, list[str]] = {"for": [], "against": [], "unknown": [], "note": []}
    for fact in readiness.facts("M-1", "F-1", known, at_hand(folder), day):
        found[fact.side].append(fact.text)
    return found


def said(found: list[str], words: str) -> bool:
    return any(words in text for text in found)


def test_what_an_animal_is_holds_on_days_before_it_was_written_too(tmp_path: Path) -> None:
    write_card(
        tmp_path, "F-1", ("moult", "2026-01-05"), ("moved", "2026-11-28", "shelf 2"), ("sex", "2026-11-28", "female"),
        ("species", "2026-11-28", "Phidippus regius"), ("sire", "2026-11-28", "M-0"),
    )  # fmt: skip
    then = animals.read(tmp_path).as_of(date(2026, 3, 10))
    assert (then.sex_of("F-1"), then.species_of("F-1")) == ("female", "Phidippus regius")
    assert then.group_of("F-1").ethogram == "jumping-spider"
    assert then.parents["F-1"] == Parents.of("", "M-0")
    assert [entry.kind for entry in then.cards["F-1"].entries] == ["moult", "sex", "species", "sire"]


def test_what_speaks_for_a_pairing(tmp_path: Path) -> None:
    found = facts(
        tmp_path,
        "2026-03-01",
        (
            BRACHYPELMA,
            ("dam", "2020", "D-1"),
            ("sire", "2020", "S-1"),
            ("moult", "2026-01-01", "last"),
            ("sperm_web", "2026-02-20"),
            ("meal", "2026-02-25", "small"),
        ),
        (
            BRACHYPELMA,
            ("dam", "2020", "D-2"),
            ("sire", "2020", "S-2"),
            *(("moult", on) for on in ("2023-09-01", "2024-10-01", "2025-11-10")),
            ("meal", "2026-02-20", "large"),
        ),
    )
    assert not found["against"]
    assert [text for text in found["unknown"] if "is she adult?" not in text] == []
    for words in (
        "one species",
        "last moult 59 days ago",
        "sperm web 9 days ago",
        "no ancestor in common",
        "large 9 days",
    ):
        assert said(found["for"], words), words
    # Her own intermoults were 396 and 405 days; 111 are over.
    assert said(found["for"], "the next may come in 285 to 294 days, by her own 2 intermoults of 400 days (sd 6)")


AGAINST = [
    ((("species", "2020", "Tliltocatl vagans"),), (BRACHYPELMA,), "against", "two species"),
    ((), (("moult", "2026-02-20"),), "against", "may not have hardened"),
    ((), (("moult", "2025-02-20"),), "against", "the next may come any day now"),
    ((), (("meal", "2026-01-01", "small"),), "against", "last meal small 59 days ago"),
    ((), (("meal", "2026-02-25", "refused"),), "against", "refused"),
    ((BRACHYPELMA, ("moult", "2025-02-01", "last")), (), "against", "most pair from 14 to 180 days"),
    ((("died", "2026-01-01"),), (), "against", "M-1 died on 2026-01-01"),
    ((("dam", "2020", "D"),), (("dam", "2020", "D"),), "against", "kin through D: kinship 0.125"),
    ((), (("paired", "2026-01-01", "M-2"),), "against", "nobody will know the sire"),
    ((), (("paired", "2025-10-01", "M-2"), ("sac", "2026-02-01")), "against", "nobody will know the sire"),
    ((), (("paired", "2025-10-01", "M-2"), ("sac", "2026-02-01")), "against", "guards a sac since 2026-02-01"),
    ((("sperm_web", "2025-12-01"), ("paired", "2026-01-01", "F-9")), (), "note", "last pairing 59 days ago"),
    ((), (), "unknown", "no last moult on his card"),
    ((), (), "unknown", "no moult on her card"),
    ((), (), "unknown", "no sperm web seen"),
    ((), (), "unknown", "species of M-1 and F-1 not on record"),
    ((), (), "unknown", "they may be kin"),
]


def test_what_is_usual_of_adults_speaks_for_nobody_who_may_be_growing(tmp_path: Path) -> None:
    young = facts(tmp_path, "2026-03-01", (), (BRACHYPELMA, ("moult", "2026-01-15"), ("size", "2026-01-20", "", "40")))
    assert not said(young["for"], "moulted")
    assert said(young["unknown"], "moulted 45 days ago (2026-01-15); the next may come in 320 to 503 days")
    assert said(young["unknown"], "sooner if she is still growing")


@pytest.mark.parametrize(
    ("moult", "when"),
    [("2024-08-31", "any day now, or within 1 day, by"), ("2024-01-01", "may come any day now, by 12 to 18 months")],
)
def test_a_moult_that_is_late_is_never_within_no_days(moult: str, when: str, tmp_path: Path) -> None:
    assert said(facts(tmp_path, "2026-03-01", (), (("moult", moult),))["against"], when)


@pytest.mark.parametrize(("he", "she", "side", "words"), AGAINST)
def test_what_speaks_against_or_is_not_known(
    he: tuple[CardLine, ...], she: tuple[CardLine, ...], side: str, words: str, tmp_path: Path
) -> None:
    assert said(facts(tmp_path, "2026-03-01", he, she)[side], words)


def test_what_came_later_is_not_known_on_that_day(tmp_path: Path) -> None:
    found = facts(tmp_path, "2026-03-01", (("died", "2026-08"),), (("moult", "2026-06-01"),))
    assert not said(found["against"], "died")
    assert said(found["unknown"], "no moult on her card")


@pytest.mark.parametrize(
    ("end", "words"),
    [(("sold", "2026-05-01", "Bea"), "sold to Bea since 2026-05-01"), (("died", "2026-05-01"), "died on 2026-05-01")],
)
def test_a_female_that_is_gone_is_not_paired_once_more(end: CardLine, words: str, tmp_path: Path) -> None:
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), BRACHYPELMA, PAIRED, end)
    for day, told in ((date(2026, 4, 30), False), (date(2026, 5, 2), True)):
        known = animals.read(tmp_path).as_of(day)
        found = readiness.once_more("F-1", known, at_hand(tmp_path), day)
        assert any(fact.side == "against" and words in fact.text for fact in found) == told


def test_who_was_never_paired_is_not_paired_once_more(tmp_path: Path, etholog: Run) -> None:
    due(tmp_path, "2026-03-02", PAIRED)
    write_card(tmp_path, "F-2", ("sex", "2020", "female"), BRACHYPELMA)
    first = [
        etholog("ready", name, "--today", "2026-03-10", cwd=tmp_path).stdout.splitlines()[0] for name in ("F-1", "F-2")
    ]
    assert first == ["F-1 once more, 2026-03-10", "F-2, 2026-03-10"]


def test_ready_on_the_example_season_gives_no_verdict(repository: Path, etholog: Run) -> None:
    season = repository / "examples" / "season"
    done = etholog("ready", "M-Basalt", "F-Umbra", "--today", "2026-03-10", "--folder", season)
    assert done.returncode == 0, done.stderr
    assert "kin through D-Lava: kinship 0.125" in done.stdout
    assert "You decide." in done.stdout
    assert "permits, your vet and your poison centre" in done.stdout
    once_more = etholog("ready", "F-Clay", "--today", "2026-03-27", "--folder", season).stdout
    assert "clear insertions of both palps" in once_more
    assert "second introductions after a clasp, this genus: she attacked in" in once_more


def test_many_cards_are_read(tmp_path: Path, etholog: Run) -> None:
    for n in range(300):  # the benchmark takes 10,000 of them
        write_card(tmp_path, f"F-{n}", ("sex", "2020", "female"), BRACHYPELMA, ("meal", "2026-03-01", "small"))
    done = etholog("due", "--json", "--today", "2026-03-20", "--folder", tmp_path)
    assert len(json.loads(done.stdout)) == 300


def test_no_window_is_of_more_than_one_try(tmp_path: Path) -> None:
    """Months between two pairings: a window for each, none as long as both."""
    met = [("paired", day, "M-1") for day in ("2026-01-10", "2026-01-20", "2026-07-01")]
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), BRACHYPELMA, *met)
    known = animals.read(tmp_path)
    mine = care.window("F-1", known, at_hand(tmp_path))
    assert mine is not None
    windows = care.sac_windows(attempts(known, "F-1")[-1], mine)
    assert [[met.on.text for met in one.pairings] for one in windows] == [["2026-01-10", "2026-01-20"], ["2026-07-01"]]
    longest = mine.sac[1] - mine.sac[0] + care.TOGETHER_DAYS
    assert all((one.closes - one.opens).days <= longest for one in windows)


def test_nobody_looks_ahead_into_the_past(tmp_path: Path, etholog: Run) -> None:
    due(tmp_path, "2026-03-02", PAIRED)
    done = etholog("due", "--ahead", "-5", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (2, "--ahead takes 0 days or more\n")
