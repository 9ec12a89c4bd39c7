"""What can't be known is said in words, on a real terminal and as JSON: never a NaN that passes for a number."""

import contextlib
import io
import json
import os
import re
import threading
from pathlib import Path
from typing import Any

import pytest

from etholog.commands import main
from tests.analysis.test_season_measures import close, season_of
from tests.make import marks

pytestmark = pytest.mark.slow

COURTS = [*marks((0, "walking", "onset"), (2000, "drumming", "onset")), close(9000)]
REFUSES = [*marks((0, "walking", "onset")), close(9000)]


def on_a_terminal(*words: object) -> tuple[int, str]:
    """Run a command with a terminal for its stdout, and return its exit code and what it showed."""
    ours, theirs = os.openpty()
    shown: list[bytes] = []

    def drain() -> None:
        with contextlib.suppress(OSError):  # the other side was closed
            while piece := os.read(ours, 4096):
                shown.append(piece)

    reader = threading.Thread(target=drain)
    reader.start()
    errors = io.StringIO()
    with os.fdopen(theirs, "w") as screen, contextlib.redirect_stdout(screen), contextlib.redirect_stderr(errors):
        code = main([str(word) for word in words])
        screen.flush()
    reader.join()
    os.close(ours)
    plain = re.sub(r"\x1b\[[0-9;]*m", "", b"".join(shown).decode())
    return code, plain + errors.getvalue()


def seasons() -> dict[str, list[list[dict[str, Any]]]]:
    return {
        "no session": [],
        "a session without a mark": [[close(5000, 1)]],
        "one that courts": [COURTS],
        "one that refuses": [REFUSES],
        "nobody courts": [REFUSES, REFUSES, REFUSES],
        "all court at once": [COURTS, COURTS],
        "one of two courts": [COURTS, REFUSES],
    }


COMMANDS = (
    ("latency", "--since", "walking", "--to", "drumming"),
    ("latency", "--since", "walking", "--to", "drumming", "--by", "male"),
    ("latency", "--since", "walking", "--to", "drumming", "--by", "male", "--more"),
    ("latency", "--since", "walking", "--to", "drumming", "--within", "female", "--cox"),
    ("latency", "--to", "drumming", "--ends", "flees", "--by", "species", "--cox"),
    ("latency", "--to", "drumming", "--by", "observer", "--unseen", "censor"),
    ("duration",),
    ("duration", "--by", "male", "--join", "2"),
    ("duration", "--criterion", "drumming"),
    ("duration", "--balance"),
    ("transition",),
    ("transition", "--more"),
    ("duration", "--more"),
    ("transition", "--each", "male", "--shuffles", "20"),
    ("transition", "--follows", "walking", "drumming", "--shuffles", "20"),
    ("transition", "--actor", "male", "--answer", "female", "--within", "5"),
)


@pytest.mark.parametrize("name", list(seasons()))
def test_no_season_makes_a_number_out_of_nothing(tmp_path: Path, name: str) -> None:
    season_of(tmp_path, *seasons()[name])
    for words in COMMANDS:
        code, shown = on_a_terminal(*words, "--folder", tmp_path)
        assert code in (0, 1, 2), (words, shown)
        assert not re.search(r"\b(nan|NaN|inf|None|NaT)\b", shown), (words, shown)
        assert shown.strip(), words
        out = io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
            code = main([*words, "--json", "--folder", str(tmp_path)])
        if code < 2:
            json.loads(out.getvalue(), parse_constant=pytest.fail)


@pytest.mark.parametrize(
    ("season", "words", "said"),
    [
        ("one that refuses", ("latency", "--since", "touch", "--to", "drumming"), "No session at risk"),
        ("one that refuses", ("latency", "--since", "touch", "--to", "drumming"), "1 more session never came"),
        ("one that courts", ("latency", "--to", "drumming", "--by", "male", "--more"), "Only one group"),
        ("nobody courts", ("latency", "--to", "drumming", "--by", "male", "--more"), "The behaviour never occurred"),
        (
            "nobody courts",
            ("latency", "--to", "drumming", "--by", "male"),
            "in no group did it come in half of the sessions",
        ),
        (
            "nobody courts",
            ("latency", "--to", "drumming", "--cox", "--by", "male", "--more"),
            "Cox's model: the behaviour never occurred",
        ),
        ("one of two courts", ("latency", "--to", "drumming", "--cox", "--by", "male", "--more"), "not estimable"),
        (
            "one of two courts",
            ("latency", "--to", "drumming", "--by", "male", "--more"),
            "take the differences as hints",
        ),
        ("one that courts", ("duration",), "not reached"),
        ("one that courts", ("duration", "--more"), "Limits are missing, or not for all animals: one male"),
        ("one that courts", ("duration", "--balance"), "there is no balance"),
        ("one that courts", ("duration", "--criterion", "drumming"), "fewer than 30"),
        ("no session", ("duration", "--criterion", "drumming"), "no session in it"),
        ("one that courts", ("transition", "--more"), "nothing can be tested"),
        ("one that courts", ("transition", "--more"), "too little to tell"),
        ("one that courts", ("transition", "--follows", "touch", "walking"), "nothing can be tested"),
        ("one that courts", ("transition", "--follows", "druming", "walking"), "did you mean 'drumming'"),
        ("one that courts", ("latency", "--to", "druming"), "did you mean 'drumming'"),
        ("one that courts", ("latency", "--to", "insertion:lefd"), "did you mean 'insertion:left'"),
        ("one that courts", ("latency", "--to", "drumming", "--by", "mal"), "did you mean 'male'"),
        (
            "one that courts",
            ("latency", "--to", "drumming", "--competing", "--by", "male", "--more"),
            "No session was closed for good",
        ),
        ("nobody courts", ("latency", "--to", "drumming", "--first", "0"), "give a time over 0"),
        ("one that courts", ("latency", "--to", "drumming", "--first", "9"), "--first is about groups"),
        ("one that courts", ("latency", "--to", "drumming", "--by", "male", "--spans"), "--spans is of all sessions"),
        (
            "one of two courts",
            ("latency", "--to", "drumming", "--by", "male", "--more"),
            "No p: the smallest that this design could give is 1",
        ),
        ("one of two courts", ("latency", "--to", "drumming", "--by", "male", "--more"), "no limits: under 4 sessions"),
        (
            "nobody courts",
            ("latency", "--to", "drumming", "--ends", "flees", "--by", "male", "--more"),
            "In 0 of the 0 sessions",
        ),
        ("one that courts", ("transition", "--lag", "0"), "must be 1 or more"),
        ("one that courts", ("duration", "--join", "-1"), "must be 0 or more"),
        ("one that courts", ("latency", "--to", "drumming", "--permutations", "-1"), "must be 1 or more"),
        ("one that courts", ("transition", "--shuffles", "-1"), "must be 0 or more"),
        ("one that courts", ("transition", "--shuffles", "9", "--lag", "2"), "leave out --answer and --lag"),
        ("one that courts", ("transition", "--follows", "touch", "walking", "--lag", "2"), "leave out --answer"),
        ("one that courts", ("transition", "--follows", "insertion:left", "touch"), "without a side"),
        ("one that courts", ("transition", "--within", "3"), "goes with --answer"),
    ],
)
def test_it_is_said_why(tmp_path: Path, season: str, words: tuple[str, ...], said: str) -> None:
    season_of(tmp_path, *seasons()[season])
    _, shown = on_a_terminal(*words, "--folder", tmp_path)
    assert said in " ".join(shown.split()), shown
