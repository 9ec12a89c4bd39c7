"""What answers about a session's end mean; the days are counted by the standard library's calendar."""

from datetime import date, timedelta

import pytest

from etholog.base.journal import Scalar
from etholog.base.refusal import Finding
from etholog.session.closing import QUESTIONS, answer, changed, contradictions, is_accident, wish, wished_day

TODAY = date(2026, 12, 20)


@pytest.mark.parametrize("days", [0, 1, 11, 12, 366])
def test_days_ahead_are_counted_on_the_calendar(days: int) -> None:
    assert answer("again_when", f"in {days} days", TODAY) == (TODAY + timedelta(days=days)).isoformat()
    assert answer("again_when", f"in {days} weeks", TODAY) == (TODAY + timedelta(weeks=days)).isoformat()


def test_a_past_day_is_asked_about_and_kept_when_it_is_meant() -> None:
    found = answer("again_when", "2026-12-19", TODAY)
    assert isinstance(found, Finding) and "2026-12-19 is past" in str(found)
    assert answer("again_when", "2026-12-19", TODAY, sure=True) == "2026-12-19"
    assert answer("again_when", "2026-12", TODAY) == "2026-12"  # the month is not over


def test_being_sure_makes_no_sense_of_nonsense() -> None:
    for name, text in (("ended", "n"), ("male_whole", "perhaps"), ("again_when", "soon"), ("evidence", "9")):
        assert isinstance(answer(name, text, TODAY, sure=True), Finding)
    found = answer("agian", "yes", TODAY)
    assert isinstance(found, Finding) and "'again'" in str(found)


def test_every_answer_shown_again_means_itself() -> None:
    for question in QUESTIONS:
        for text in ("1", "y", "yes, later", "in 3 days"):
            value = answer(question.name, text, TODAY)
            if not isinstance(value, Finding):
                assert answer(question.name, question.shown(value), TODAY) == value


def test_what_the_answers_say_later() -> None:
    # Free words are what version 0.1 kept.
    assert [wish({"again": said}) for said in ("yes, in a fort", "No", "never", "perhaps", None, True, "nobody")] == [
        "yes", "no", "never", "", "", "yes", ""
    ]  # fmt: skip
    day = wished_day({"again_when": "in two weeks"}, date(2026, 5, 3))
    assert day is not None and day.text == "2026-05-17"
    assert wished_day({"again_when": "when she has eaten"}, TODAY) is None
    assert [is_accident({"accident": said}) for said in (True, False, None)] == [True, False, False]
    assert changed({"a": 1, "b": 2}, {"a": None, "c": 3}) == {"b": 2, "c": 3}


def test_a_male_who_was_killed_is_not_whole_and_not_paired_again() -> None:
    killed: dict[str, Scalar] = {"ended": "he was killed"}
    for more, said in (
        ({}, []),
        ({"male_whole": False, "again": "never"}, []),
        ({"again": "no", "again_when": "2026-12-30"}, []),
        ({"male_whole": True}, ["is whole"]),
        ({"again": "yes, in spring"}, ["paired again"]),
        ({"male_whole": True, "again_when": "2026-12-30"}, ["is whole", "paired again"]),
    ):
        found = list(contradictions({**killed, **more}))
        assert len(found) == len(said), more
        assert all(words in text for words, text in zip(said, found, strict=True))
    assert not list(contradictions({"ended": "he got out", "male_whole": True, "again": "yes"}))
