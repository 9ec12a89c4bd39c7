"""What 0.1 called otherwise is taken for one version, with one line that says what it is called now."""

import pytest

import etholog


@pytest.mark.parametrize(
    ("old", "now"),
    [
        ("balance", "palp_balance"),
        ("budget", "time_shares"),
        ("ended", "first_ends"),
        ("evening", "evening_measures"),
        ("pauses", "bout_pauses"),
        ("practice", "practice_outcomes"),
    ],
)
def test_an_old_name_is_taken_and_says_the_new_one(old: str, now: str) -> None:
    with pytest.warns(FutureWarning, match=f"etholog.{old} is now etholog.{now}"):
        assert getattr(etholog, old) is getattr(etholog, now)
    assert old not in dir(etholog)


def test_the_old_name_of_a_figure_too() -> None:
    with pytest.warns(FutureWarning, match=r"etholog\.figures\.time_shares"):
        assert etholog.figures.budget is etholog.figures.time_shares


def test_a_name_that_never_was_is_refused() -> None:
    with pytest.raises(AttributeError, match="budgets"):
        etholog.budgets  # noqa: B018
