"""The last day on which a rule of the cards holds and the first on which it does not, and dates known to the month.

The spans are common practice, no source; what is asked here is that a span of n days is one of n days.
"""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest

from etholog import animals
from etholog.animals import availability, care, doubts, growing, moults, readiness
from etholog.animals.attempts import attempts, by_female
from etholog.animals.card import Entry
from etholog.animals.herd import Animals
from etholog.base.dates import Day
from etholog.ethogram import at_hand
from tests.make import RECORDS, CardLine, write_card, write_session

TODAY = date(2026, 6, 1)
BRACHYPELMA = ("species", "2020", "Brachypelma smithi")
LAID = ("sac", "2025-12-01")
HALF_A_YEAR = ("2025-11-30", "2026-06-01")  # 183 days


def herd(folder: Path, his: Sequence[CardLine] = (), hers: Sequence[CardLine] = ()) -> Animals:
    write_card(folder, "M-1", ("sex", "2020", "male"), BRACHYPELMA, *his)
    write_card(folder, "F-1", ("sex", "2020", "female"), BRACHYPELMA, *hers)
    return animals.read(folder)


def moulted(*days: str) -> tuple[CardLine, ...]:
    return tuple(("moult", day) for day in days)


def paired(*days: str) -> tuple[CardLine, ...]:
    return tuple(("paired", day, "M-1") for day in days)


@pytest.mark.parametrize(
    ("hers", "says"),
    [
        ([("born", "2025-06-01")], ""),  # 365 days
        ([("born", "2025-06-02")], "born 2025-06-02"),
        ([("born", "2025-06")], ""),  # it may be a year
        ([("born", "2025-07")], "born 2025-07"),
        ([("born", "2025-06-02"), *paired("2026-05-01")], ""),
        (moulted(*HALF_A_YEAR), ""),
        (moulted("2025-12-01", "2026-06-01"), "moulted 2025-12-01 and 2026-06-01"),
        (moulted("2025-12", "2026-06-01"), "moulted 2025-12 and 2026-06-01"),
        (moulted("2025-11", "2026-05-31"), ""),  # from 182 to 212 days
        (moulted("2024-01-01", "2024-03-01", *HALF_A_YEAR), ""),  # the last two count
        ([("size", "2026-05-01", "", "30")], ""),  # half of the smallest adult
        ([("size", "2026-05-01", "", "29")], "leg span 29 mm, and F-2 of her species 60 mm"),
    ],
)
def test_until_when_a_female_may_be_growing(hers: Sequence[CardLine], says: str, tmp_path: Path) -> None:
    write_card(tmp_path, "F-2", ("sex", "2020", "female"), BRACHYPELMA, ("size", "2025-01-01", "", "60"), LAID)
    known = herd(tmp_path, hers=hers)
    found = growing.grown("F-1", known, attempts(known, "F-1"), TODAY)
    assert (found.adult, bool(found.growing)) == ("", bool(says))
    assert says in found.growing


@pytest.mark.parametrize(
    ("his", "hers", "side", "text"),
    [
        # Brachypelma: in his prime from 14 to 180 days after the last moult.
        ([("moult", "2026-05-19", "last")], [], "against", "M-1: last moult"),
        ([("moult", "2026-05-18", "last")], [], "for", "M-1: last moult"),
        ([("moult", "2025-12-03", "last")], [], "for", "M-1: last moult"),
        ([("moult", "2025-12-02", "last")], [], "against", "M-1: last moult"),
        ([("moult", "2026-05", "last")], [], "against", "M-1: last moult"),
        ([("moult", "2026-04", "last")], [], "for", "M-1: last moult"),
        ([("moult", "2025-12", "last")], [], "against", "M-1: last moult"),
        # Fed every 7 to 21 days.
        ([], [("meal", "2026-05-11")], "for", "F-1: last meal"),
        ([], [("meal", "2026-05-10")], "against", "F-1: last meal"),
        ([], [("meal", "2026-05")], "for", "F-1: last meal"),
        # The next moult is near from 60 days before it: 12 months less 60 days are 305 days.
        ([], [*moulted("2025-07-31"), LAID], "for", "F-1: moulted"),
        ([], [*moulted("2025-07-30"), LAID], "against", "F-1: moulted"),
        # Of the day of an insertion, which web is charged again?
        ([("sperm_web", "2026-05-03")], [], "unknown", "M-1: no sperm web seen since he inserted on 2026-05-03"),
        ([("sperm_web", "2026-05-04")], [], "for", "M-1: sperm web"),
    ],
)
def test_from_which_day_on_it_speaks_for_or_against(
    his: Sequence[CardLine], hers: Sequence[CardLine], side: str, text: str, tmp_path: Path
) -> None:
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", RECORDS)  # of 2026-05-03, with an insertion of unsure side
    found = readiness.facts("M-1", "F-1", herd(tmp_path, his, hers), at_hand(tmp_path), TODAY)
    assert [fact.side for fact in found if fact.text.startswith(text)] == [side]


def test_on_its_first_day_a_moult_may_come_any_day(tmp_path: Path) -> None:
    known = herd(tmp_path, hers=[*moulted("2025-06-01"), LAID])  # 365 to 548 days after it
    said = " ".join(fact.text for fact in readiness.facts("M-1", "F-1", known, at_hand(tmp_path), TODAY))
    assert "the next may come any day now, or within 183 days" in said


def test_two_intermoults_of_her_own_say_when_the_next_may_be(tmp_path: Path) -> None:
    card = herd(tmp_path, hers=moulted("2024-01", "2024-08", "2025-03")).find("F-1")
    assert card is not None
    # From January to August lie 183 to 243 days, from August to March 182 to 242.
    found = moults.next_moult(card)
    assert (found.soonest, found.latest) == (date(2025, 8, 30), date(2025, 11, 29))
    assert found.basis.startswith("her own 2 intermoults of 212 days")


@pytest.mark.parametrize(
    ("hers", "near"),
    [
        ([*moulted("2025-07-31"), LAID], False),  # 305 days
        ([*moulted("2025-07-30"), LAID], True),
        (moulted("2024-06-01", "2025-07-31"), True),  # not known to be adult
        (moulted("2023-06-01", "2024-06-01", "2025-06-01"), True),
        (moulted("2023-08-01", "2024-08-01", "2025-08-01"), False),  # her own 365 days, less 60
        (moulted("2026-06-01"), False),  # that day: the meal was refused over the moult that came
    ],
)
def test_when_a_refused_meal_may_be_of_a_moult(hers: Sequence[CardLine], near: bool, tmp_path: Path) -> None:
    known = herd(tmp_path, hers=[*hers, ("meal", "2026-06-01", "refused")])
    card = known.find("F-1")
    assert card is not None
    assert moults.refused_near_moult(card, known) == near


@pytest.mark.parametrize(
    ("days", "windows"),
    [
        (("2026-01-10", "2026-03-11"), [("2026-04-10", "2027-01-05")]),  # 60 days: one try
        (("2026-01-10", "2026-03-12"), [("2026-04-10", "2026-11-06"), ("2026-06-10", "2027-01-06")]),
        (("2026-01-10", "2026-02-20", "2026-03-12"), [("2026-04-10", "2026-12-17"), ("2026-06-10", "2027-01-06")]),
        (("2026-01-10", "2026-03"), [("2026-04-10", "2027-01-25")]),  # it may be 50 days, and the last of March
    ],
)
def test_which_pairings_are_one_try(days: tuple[str, ...], windows: list[tuple[str, str]], tmp_path: Path) -> None:
    known = herd(tmp_path, hers=paired(*days))
    mine = care.window("F-1", known, at_hand(tmp_path))
    assert mine is not None and mine.sac == (90, 300)
    (one,) = attempts(known, "F-1")
    assert [(one.opens.isoformat(), one.closes.isoformat()) for one in care.sac_windows(one, mine)] == windows


@pytest.mark.parametrize(
    ("his", "hers", "key", "first", "last"),
    [
        ([("moult", "2026-01", "last")], [], "M-1/prime/2026-01", "2026-05-31", "2026-07-30"),
        ([], paired("2026-05-29"), "M-1/check/2026-05-29", "2026-05-30", "2026-06-01"),
        ([], paired("2026-05-28"), "M-1/check/2026-05-28", "", ""),  # over since yesterday
        ([], [("meal", "2026-05-20")], "F-1/meal/2026-05-20", "2026-05-27", "2026-06-10"),
        # After a moult 14 days without, and then as long a time as ever.
        ([], [("meal", "2026-05-01"), *moulted("2026-05-20")], "F-1/meal/2026-05-01", "2026-06-03", "2026-06-17"),
        ([], [("meal", "2026-05-20"), *paired("2025-12-01"), ("sac", "2026-05-01")], "F-1/meal/2026-05-20", "", ""),
        ([], [("water", "2026-05-20")], "F-1/water/2026-05-20", "2026-05-27", "2026-06-03"),
    ],
)
def test_from_when_to_when_it_is_due(
    his: Sequence[CardLine], hers: Sequence[CardLine], key: str, first: str, last: str, tmp_path: Path
) -> None:
    tasks = {task.key: task for task in care.due(herd(tmp_path, his, hers), at_hand(tmp_path), TODAY)}
    assert (key in tasks) == bool(first)
    if first:
        assert (tasks[key].first.isoformat(), tasks[key].last.isoformat()) == (first, last)


@pytest.mark.parametrize(
    ("who", "his", "hers", "first", "last", "shut"),
    [
        ("M-1", [("moult", "2026-03-01", "last")], paired("2026-05-22"), "2026-06-01", "2026-08-28", False),
        ("M-1", [("moult", "2026-03-01", "last")], paired("2026-05-23"), "2026-06-02", "2026-08-28", False),
        ("M-1", [("moult", "2025-12-03", "last")], [], "2026-06-01", "2026-06-01", False),  # his last day
        ("M-1", [("moult", "2025-12-02", "last")], [], "2026-06-01", "2026-05-31", True),
        ("M-1", [("moult", "2026-05", "last")], [], "2026-06-14", "2026-10-28", False),
        ("M-1", [("moult", "2026-03-01", "last"), ("lent", "2026-05-01", "A until 2026-06-01")], [], "2026-06-01",
         "2026-08-28", False),
        ("M-1", [("moult", "2026-07-05", "last")], [], "2026-07-19", "2027-01-01", False),  # 180 days
        ("M-1", [("moult", "2026-03-01", "last"), ("borrowed", "2026-05-01", "A until 2026-07")], [], "2026-06-01",
         "2026-07-01", False),
        ("F-1", [], [("sac", "2026-05-01")], "2026-07-24", "2027-01-01", False),  # free young in 84 days at most
        ("F-1", [], [*paired("2026-01-01"), *moulted("2026-04-01")], "2026-06-01", "2027-01-01", False),  # it is shed
        ("F-1", [], paired("2026-01-01"), "2026-06-01", "2027-01-01", True),  # nobody would know the sire
        ("F-1", [], [*moulted("2026-05-10"), LAID], "2026-06-07", "2027-01-01", False),
        ("F-1", [], [*moulted("2025-07-31"), LAID], "2026-06-01", "2026-06-01", False),  # near from tomorrow on
    ],
)  # fmt: skip
def test_from_when_to_when_an_animal_is_free(
    who: str, his: Sequence[CardLine], hers: Sequence[CardLine], first: str, last: str, shut: bool, tmp_path: Path
) -> None:
    known = herd(tmp_path, his, hers)
    mine = care.window(who, known, at_hand(tmp_path))
    found = availability.free(who, known, mine, by_female(known), TODAY, date(2027, 1, 1), rest=10)
    assert (found.first.isoformat(), found.last.isoformat(), bool(found.shut)) == (first, last, shut)
    # What bounds nothing is not told as a bound.
    assert any(said.startswith("not before") for said in found.against) == (first > "2026-06-01")
    assert any(said.startswith("not after") for said in found.against) == (last < "2027-01-01")


@pytest.mark.parametrize(("until", "overdue"), [("2026-06-01", False), ("2026-05-31", True), ("2026-05", True)])
def test_from_when_on_nobody_knows_whether_he_is_back(until: str, overdue: bool, tmp_path: Path) -> None:
    known = herd(tmp_path, [("lent", "2026-05-01", f"A until {until}")])
    found = availability.free("M-1", known, None, {}, TODAY, date(2027, 1, 1), rest=10)
    assert any(said.endswith(f"until {until}") for said in found.unknown) == overdue


@pytest.mark.parametrize(
    ("hers", "ends"),
    [
        ([("sac", "2026-05-01"), *paired("2026-05-01")], [(1, "sac")]),  # of that pairing
        ([*paired("2026-05-01"), *moulted("2026-05-01")], [(1, "open")]),  # the moult came first
        ([("died", "2026-05"), *paired("2026-05-20")], [(1, "died")]),  # later in that month
        ([*paired("2026-05-20"), *moulted("2026-06-01"), *paired("2026-06-02")], [(1, "moult"), (1, "open")]),
    ],
)
def test_what_comes_first_on_one_day(hers: Sequence[CardLine], ends: list[tuple[int, str]], tmp_path: Path) -> None:
    found = attempts(herd(tmp_path, hers=hers), "F-1")
    assert [(len(one.pairings), one.end) for one in found] == ends


@pytest.mark.parametrize(
    ("told", "entry", "asked"),
    [
        ([("born", "2025-06-01"), ("dam", "2020", "F-2")], ("dam", "2020", "F-2"), True),  # born on one day
        ([("born", "2025-06-02"), ("dam", "2020", "F-2")], ("dam", "2020", "F-2"), False),
        ([("born", "2025-06"), ("dam", "2020", "F-2")], ("dam", "2020", "F-2"), False),  # it may be later
        ([LAID], ("incubated", "2026-01-01", "", "15"), False),
        ([LAID], ("incubated", "2026-01-01", "", "14.9"), True),
        ([LAID], ("incubated", "2026-01-01", "", "35"), False),
        ([LAID], ("incubated", "2026-01-01", "", "35.1"), True),
        ([("size", "2026-01-01", "", "60")], ("size", "2026-05-01", "", "30"), False),
        ([("size", "2026-01-01", "", "60")], ("size", "2026-05-01", "", "29"), True),
        ([], ("paired", "2026-03-01", "M-1"), False),  # the day on which he died
        ([], ("paired", "2026-03-02", "M-1"), True),
        ([LAID], ("size", "2026-05-01", "", "20"), False),
        ([LAID], ("size", "2026-05-01", "", "19"), True),
    ],
)
def test_up_to_which_value_nobody_is_asked(
    told: Sequence[CardLine], entry: CardLine, asked: bool, tmp_path: Path
) -> None:
    write_card(tmp_path, "F-2", ("sex", "2020", "female"), BRACHYPELMA, ("born", "2025-06-01"))
    known = herd(tmp_path, [("died", "2026-03-01")], [*paired("2025-11-01"), *told])
    card = known.find("F-1")
    assert card is not None
    kind, on, words, *number = entry
    one = Entry(0, kind, Day.parse(on), words=words, number=float(number[0]) if number else None)
    assert bool([*doubts.odd(known, card, one), *doubts.surprising(known, card, one)]) == asked


@pytest.mark.parametrize(
    ("met", "days"),
    [(("2026-01-01", "2026-02-01"), [89]), (("2026-01-01", "2026-02"), []), (("2026-01", "2026-02-01"), [89])],
)
def test_days_to_ones_own_sacs_count_from_the_last_pairing_of_a_known_day(
    met: tuple[str, ...], days: list[int], tmp_path: Path
) -> None:
    known = herd(tmp_path, hers=[*paired(*met), ("sac", "2026-05-01")])
    assert care.own_sac_days("Brachypelma", known, by_female(known)) == days
