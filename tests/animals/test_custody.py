"""Who has an animal, until when, and what its lender is told. Own choice of words: no standard says them."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import animals, ethogram
from etholog.analysis.plan import plan
from etholog.animals import care, loan, readiness
from etholog.animals.custody import custody, shares
from etholog.ethogram import at_hand
from tests.make import CardLine, marks, write_card, write_session

TODAY = date(2026, 6, 1)
SPECIES = ("species", "2020", "Brachypelma smithi")
MEAL = ("meal", "2026-01-01", "small")
MALE = ("sex", "2020", "male")


@pytest.mark.parametrize(
    ("entries", "words", "tasks"),
    [
        ((("borrowed", "2026-03-01", "Anna until 2026-05-30"),), "on loan from Anna since 2026-03-01, until", 2),
        ((("borrowed", "2026-03-01", "Anna"), ("returned", "2026-05-01")), "returned to Anna since 2026-05-01", 0),
        ((("lent", "2026-03-01", "Anna, until 2026-05-30"),), "lent to Anna since 2026-03-01, until 2026-05-30", 1),
        ((("lent", "2026-03-01", "Anna until 2026-05-30"), ("died", "2026-04-01", "there")), "lent to Anna", 0),
        ((("lent", "2026-03-01", "Anna"), ("returned", "2026-05-01")), "here", 1),
        ((("sold", "2026-03-01"),), "sold since 2026-03-01", 0),
        ((("sold", "2026-03-01", "me"), ("got", "2026-03-01", "Anna")), "here", 1),  # her card was handed on with him
        ((("got", "2026-01-01", "Anna"), ("sold", "2026-03-01", "Zoe")), "sold to Zoe since 2026-03-01", 0),
        ((("moved", "2026-03-01", "back from Anna"),), "here", 1),
        ((("moved", "2026-03-01", "borrowed from Anna until 2026-05-30"),), "on loan from Anna", 2),
        ((("moved", "2026-03-01", "the lower shelf"),), "here", 1),
    ],
)
def test_only_what_is_in_the_house_is_fed_and_a_return_is_reminded_of(
    entries: tuple[CardLine, ...], words: str, tasks: int, tmp_path: Path
) -> None:
    write_card(tmp_path, "M-1", MALE, SPECIES, MEAL, *entries)
    known = animals.read(tmp_path)
    assert custody(known.find("M-1")).words.startswith(words)
    due = care.due(known, at_hand(tmp_path), TODAY)
    assert len(due) == tasks
    returns = [task for task in due if "back" in task.what]
    assert all(task.last < TODAY for task in returns)  # overdue
    assert len(returns) == (1 if "until" in str(entries) and "died" not in str(entries) else 0)


@pytest.mark.parametrize(
    ("came", "day", "here"),
    [
        (("borrowed", "2026-07-01", "Anna until 2026-09-01"), "2026-06-30", False),
        (("borrowed", "2026-07-01", "Anna until 2026-09-01"), "2026-07-01", True),
        (("got", "2026-07", "a fair"), "2026-06-30", False),
        (("got", "2026-07", "a fair"), "2026-07-01", True),
        (("born", "2026-07"), "2026-06-30", False),
    ],
)
def test_who_has_not_come_yet_is_neither_looked_after_nor_paired(
    came: CardLine, day: str, here: bool, tmp_path: Path
) -> None:
    """What stands on a card before it was got is another keeper's."""
    he = (MALE, SPECIES, MEAL, ("moult", "2026-05-01", "last"), ("sperm_web", "2026-05-20"))
    write_card(tmp_path, "M-1", *he, came)
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), SPECIES, ("sac", "2025-01-01"), ("moult", "2026-01-01"))
    today = date.fromisoformat(day)
    known, kept = animals.read(tmp_path).as_of(today), at_hand(tmp_path)
    assert bool([task for task in care.due(known, kept, today) if task.animal == "M-1"]) == here
    found = plan(known, kept, today)
    assert found.pairs["first"].tolist() == ([today] if here else [date(2026, 7, 31 if "-01" not in came[1] else 1)])
    said = [fact.text for fact in readiness.facts("M-1", "F-1", known, kept, today)]
    assert (f"M-1: not here before {came[1]}" in said) == (not here)


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        ("Anna 1, me 1", {"Anna": 0.5, "me": 0.5}),
        ("Anna 25 %, the lab 75 %", {"Anna": 0.25, "the lab": 0.75}),
        ("half each", {}),
        ("Anna 0", {}),
    ],
)
def test_shares_add_up_or_are_asked_about(words: str, parts: dict[str, float], tmp_path: Path) -> None:
    assert shares(words) == parts
    write_card(tmp_path, "M-1", MALE, ("shares", "2026-03-01", words))
    asked = [found for found in animals.questions(animals.read(tmp_path)) if "who gets how much" in found.what]
    assert bool(asked) == (not parts)


@pytest.mark.slow
def test_the_lenders_page_tells_what_became_of_him(
    tmp_path: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    loan = ("borrowed", "2026-03-01", "Anna <b> until 2026-09-01")
    write_card(
        tmp_path, "M-1", MALE, SPECIES, ("paired", "2026-02-01", "F-0"), loan, ("shares", "2026-03-01", "A 1, me 1")
    )
    write_card(tmp_path, "M-1", ("died", "2026-07-01", "of age"))
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), ("paired", "2026-03-10", "M-1"), ("sac", "2026-07-01"))
    write_card(tmp_path, "F-1", ("count", "2026-09-01", "nymphs", "120"))
    said = etholog("card", "M-1", "--loan", cwd=tmp_path)
    assert said.returncode == 0
    for words in ("A 50 %, me 50 %", "died of age", "2026-03-10  F-1", "sac 2026-07-01, which rests on a sac alone"):
        assert words in said.stdout
    assert "nymphs 120" in said.stdout
    assert "F-0" not in said.stdout  # that was before
    assert etholog("card", "M-1", "--loan", "-o", "anna.html", cwd=tmp_path).returncode == 0
    page = (tmp_path / "anna.html").read_text(encoding="utf-8")
    assert "Anna &lt;b&gt; until" in page
    assert etholog("card", "F-1", "--loan", cwd=tmp_path).returncode == 2


AGAIN = {"ended": "she attacked", "again": "yes", "again_when": "2026-06-10"}


@pytest.mark.parametrize(
    ("his", "why"),
    [
        ((), "your answer after 2026-05-03"),
        ((("lent", "2026-05-20", "Anna until 2026-06-05"),), "your answer after 2026-05-03; M-1: lent to Anna since"),
        ((("sold", "2026-05-20", "Anna"),), ""),
        ((("given", "2026-05-20", "Anna"),), ""),
        ((("died", "2026-05-20"),), ""),
    ],
)
def test_a_pairing_that_was_chosen_is_due_only_with_a_male_who_may_come(
    his: tuple[CardLine, ...], why: str, tmp_path: Path
) -> None:
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", [{"do": "close", "t": 9000, "outcome": AGAIN}])
    write_card(tmp_path, "M-1", MALE, SPECIES, *his)
    due = [task for task in care.due(animals.read(tmp_path), at_hand(tmp_path), TODAY) if task.kind == "planned"]
    assert len(due) == bool(why)
    assert all(task.why.startswith(why) for task in due)


NEVER, LATER = {"again": "never"}, date(2026, 6, 15)


@pytest.mark.parametrize(
    ("answers", "later", "stands"),
    [
        (AGAIN, ("2026-05-12", {}), "2026-06-10"),  # they met again well before the chosen day
        (AGAIN, ("2026-06-04", {}), ""),  # ... or for it, some days ahead,
        (AGAIN, ("2026-06-12", {}), ""),  # or some days late
        (AGAIN, ("2026-05-12", {"again": "no"}), "not again"),
        (AGAIN, ("2026-05-12", {"again_when": "2026-07-01"}), "2026-07-01"),
        (NEVER, ("2026-05-12", {}), "never again"),
        (NEVER, ("2026-05-12", {"again": "yes"}), ""),
    ],
)
def test_what_was_chosen_stands_until_they_met_for_it_or_it_is_answered_anew(
    answers: dict[str, str], later: tuple[str, dict[str, str]], stands: str, tmp_path: Path
) -> None:
    (tmp_path / "sessions").mkdir()
    on, then = later
    for name, began, said in (("a", "2026-05-03", answers), ("b", on, then)):
        records = [{"do": "close", "t": 9000, "outcome": said}]
        write_session(tmp_path / "sessions" / f"{name}.jsonl", records, began=f"{began}T21:15:00+02:00")
    write_card(tmp_path, "M-1", MALE, SPECIES)
    known = animals.read(tmp_path)
    planned = [task.first.isoformat() for task in care.due(known, at_hand(tmp_path), LATER) if task.kind == "planned"]
    assert planned == ([stands] if stands.startswith("20") else [])
    told = [fact.text for fact in readiness.facts("M-1", "F-1", known, at_hand(tmp_path), LATER)]
    assert any("you answered after" in text and stands in text for text in told) == bool(stands)


@pytest.mark.parametrize(
    ("hers", "first"),
    [
        ((), "2026-06-10"),
        ((("sac", "2026-06-08"),), ""),  # she guards: leave her alone
        ((("sac", "2026-06-12"),), ""),
        ((("sac", "2026-05-20"), ("eaten", "2026-05-30")), "2026-06-10"),  # chosen for afterwards
        ((("moult", "2026-06-12"),), ""),
        ((("moult", "2026-06-01"),), "2026-06-29"),  # soft for four weeks
    ],
)
def test_a_chosen_day_falls_when_she_has_laid_or_moulted(
    hers: tuple[CardLine, ...], first: str, tmp_path: Path
) -> None:
    (tmp_path / "sessions").mkdir()
    write_session(tmp_path / "sessions" / "a.jsonl", [{"do": "close", "t": 9000, "outcome": AGAIN}])
    write_card(tmp_path, "M-1", MALE, SPECIES)
    write_card(tmp_path, "F-1", ("sex", "2020", "female"), SPECIES, *hers)
    known = animals.read(tmp_path)
    planned = [task.first.isoformat() for task in care.due(known, at_hand(tmp_path), LATER) if task.kind == "planned"]
    assert planned == [first] * bool(first)
    told = [fact.text for fact in readiness.facts("M-1", "F-1", known, at_hand(tmp_path), LATER)]
    assert any("again on 2026-06-10" in text for text in told) == bool(first)


def test_the_lenders_page_tells_of_strikes(tmp_path: Path) -> None:
    kept = ethogram.read(ethogram.find("terrestrial"))
    (strike, *_) = kept.codes_of("strike")
    (tmp_path / "sessions").mkdir()
    answers = {**AGAIN, "male_whole": False}
    struck = [*marks((1000, strike, None), (2000, strike, None)), {"do": "close", "t": 9000, "outcome": answers}]
    write_session(tmp_path / "sessions" / "a.jsonl", struck, kept)
    write_card(tmp_path, "M-1", MALE, SPECIES, ("borrowed", "2026-03-01", "Anna"))
    told = dict(loan.sections(animals.read(tmp_path), "M-1"))["With whom"]
    assert told == ["2026-05-03  F-1: no contact; she struck 2 times; she attacked; he was not whole"]
