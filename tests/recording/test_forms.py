"""The questions before and after: what an answer means, what is known from before, and the form in a terminal."""

from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import session
from etholog.recording.earlier import Earlier
from etholog.recording.forms import CONDITIONS, PAIR, SETTING, answers, ask_each
from etholog.session.closing import QUESTIONS
from etholog.session.question import NotUnderstood
from tests.screens.terminal import Terminal, the_file

pytestmark = pytest.mark.slow

BY_NAME = {question.name: question for question in (*CONDITIONS, *QUESTIONS)}


@pytest.mark.parametrize(
    ("name", "typed", "meant"),
    [
        ("ended", "2", "keeper ended it"),
        ("ended", " in her burrow ", "in her burrow"),
        ("male_whole", "No", False),
        ("male_whole", "y", True),
        ("evidence", "5", 5),
        ("temperature_c", "24,5", 24.5),
        ("temperature_c", "0,125", 0.125),  # no thousand begins so
        ("female_days_since_moult", "88", 88),
        ("again", "", None),
        ("again", "y, " + "x" * 500, "yes, " + "x" * 195),
        ("again", "Never again", "never again"),
        ("ended", "keeper", "keeper ended it"),
        ("ended", "Killed", "he was killed"),
        ("ended", "she killed a cricket", "she killed a cricket"),
        ("temperature_c", "-5", -5.0),
        ("again_when", "2027-01", "2027-01"),
    ],
)
def test_what_an_answer_means(name: str, typed: str, meant: object) -> None:
    assert BY_NAME[name].answer(typed) == meant


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("ended", "9"),
        ("male_whole", "perhaps"),
        ("evidence", "6"),
        ("temperature_c", "warm"),
        ("evidence", "²"),
        ("male_whole", "not sure"),
        ("temperature_c", "nan"),
        ("humidity_percent", "1e999"),
        ("humidity_percent", "101"),
        ("temperature_c", "77"),  # that is in degrees Fahrenheit
        ("female_days_since_moult", "-3"),
        ("ended", "n"),
        ("ended", "she"),
        ("again", "perhaps"),
        ("again_when", "soon"),
        ("again_when", "in 99999 weeks"),
    ],
)
def test_what_is_not_understood_is_said_and_not_kept(name: str, typed: str) -> None:
    with pytest.raises(ValueError, match="or nothing"):
        BY_NAME[name].answer(typed)


def test_what_is_a_thousand_to_one_keeper_and_one_to_another_is_asked_about() -> None:
    with pytest.raises(NotUnderstood, match=r"^temperature in degrees Celsius: is '1,234' 1234 or 1\.234\? Write one"):
        BY_NAME["temperature_c"].answer("1,234")


def test_line_by_line_asks_again_and_skips() -> None:
    lines = iter(["M-1", "", "warm", "", "24,5", "", "dim"])
    assert ask_each((*PAIR, *CONDITIONS[:3]), lambda _: next(lines)) == {
        "male": "M-1",
        "temperature_c": 24.5,
        "light": "dim",
    }
    assert answers(SETTING, {}) == {}


def test_known_animals_come_from_sessions_and_cards(tmp_path: Path, repository: Path) -> None:
    season = repository / "examples" / "season" / "sessions"
    (tmp_path / "sessions").mkdir()
    (tmp_path / "animals").mkdir()
    (tmp_path / "animals" / "M-Flint.jsonl").touch()
    (tmp_path / "sessions" / "broken.jsonl").write_text("not a journal")
    for name in ("20260304-2108-M-Amber-F-Fern.jsonl", "20260306-2058-M-Ochre-F-Fern.jsonl"):
        (tmp_path / "sessions" / name).write_bytes((season / name).read_bytes())
    earlier = Earlier(tmp_path / "sessions")
    assert earlier.known("male") == ["M-Ochre", "M-Amber", "M-Flint"]
    assert earlier.known("female") == ["F-Fern", "M-Flint"]
    assert "arboreal" in earlier.known("ethogram")
    lines = list(earlier.of("M-Amber", "F-Fern"))
    assert [line[:10] for line in lines] == ["2026-03-06", "2026-03-04"]
    assert "a clear insertion of one palp, he got out" in lines[1]
    assert list(earlier.of("", "")) == []


def test_the_form_completes_what_is_known_and_shows_how_they_fared(tmp_path: Path, repository: Path) -> None:
    season = repository / "examples" / "season" / "sessions"
    name = "20260304-2108-M-Amber-F-Fern.jsonl"
    (tmp_path / "sessions").mkdir()
    (tmp_path / "sessions" / name).write_bytes((season / name).read_bytes())
    with Terminal("watch", cwd=tmp_path) as terminal:
        terminal.until("his name or id")
        terminal.type("m-a")
        terminal.until("m-amber")  # what would complete it
        terminal.type("\x1b[C")
        terminal.until("M-Amber with F-Fern: a clear insertion of one palp")
        terminal.type("\r" + "\x1b[B" * 5)
        terminal.until("a number")
        terminal.type("warm\x13")
        terminal.until("not 'warm'")  # and the form stays
        terminal.type("\x7f" * 4 + "23.5\x13")
        shown = terminal.until("Enter starts the clock")
        assert "M-Amber with F-Fern: a clear insertion" in shown
        terminal.type("\x1b")
        terminal.until("his name or id")
        assert "23.5" in terminal.screen()  # going back loses nothing
        terminal.type("\x13")
        terminal.start()
        terminal.end()
        assert terminal.wait() == 0
    (new,) = (path for path in (tmp_path / "sessions").glob("*.jsonl") if path.name != name)
    header = session.read(new).header
    assert (header["male"], header["female"], header["conditions"]) == ("M-Amber", "", {"temperature_c": 23.5})


@pytest.mark.parametrize("typed", ["nan", "inf", "warm"])
def test_an_option_takes_what_the_form_takes(
    etholog: Callable[..., CompletedProcess[str]], tmp_path: Path, typed: str
) -> None:
    done = etholog("watch", "--temperature-c", typed, cwd=tmp_path)
    assert done.returncode == 2
    assert f"temperature in degrees Celsius: a number, or nothing; not {typed!r}" in done.stderr
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())


def test_with_options_nothing_need_be_typed(tmp_path: Path) -> None:
    words = ("watch", "--male", "M-1", "--female", "F-1", "--light", "red", "--ethogram", "arboreal")
    with Terminal(*words, cwd=tmp_path) as terminal:
        terminal.start()  # one key
        terminal.end()
        assert terminal.wait() == 0
    read = session.read(the_file(tmp_path))
    assert read.header["conditions"] == {"light": "red"}
    assert read.ethogram.name == "arboreal"


def test_leaving_the_form_begins_nothing(tmp_path: Path) -> None:
    with Terminal("watch", cwd=tmp_path) as terminal:
        terminal.until("his name or id")
        terminal.type("\x1b")
        assert terminal.wait() == 0
        assert "nothing was begun" in terminal.screen()
    assert not list((tmp_path / "sessions").glob("*"))


def test_an_ethogram_misspelt_can_be_left_empty_again(tmp_path: Path) -> None:
    with Terminal("watch", cwd=tmp_path) as terminal:
        terminal.until("his name or id")
        terminal.type("M-Onyx" + "\r" * 5 + "\x7f" * 11 + "terestrial\x13")
        terminal.until("did you mean 'terrestrial'?")
        terminal.type("\x7f" * 10 + "\x13")
        terminal.until("Enter starts the clock")
