"""A keeper's year through a real terminal: from an empty folder by the desk's keys alone, with every second thought.

What it takes is printed: `pytest -s tests/screens/test_year.py`; from `pip install` on by `tests/bench/beginner.py`.
"""

import signal
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import animals, session
from tests.screens.keeper import Keeper
from tests.screens.terminal import Terminal

pytestmark = pytest.mark.slow


def test_a_year(etholog: Callable[..., CompletedProcess[str]], tmp_path: Path) -> None:
    began = time.monotonic()
    with Terminal(cwd=tmp_path) as terminal:
        keeper = Keeper(terminal)
        keeper.make_workspace()
        for name, sex in (("M-Flint", "1"), ("F-Umbra", "2"), ("F-Alder", "2")):
            keeper.begin_card(name, sex)
        keeper.type("f", "Feeding round")
        keeper.type("sss", "M-Flint: small")
        keeper.type("\x1b", "3 meals written")
        # The first evening.
        cautions = keeper.begin_watching("M-Flint", "F-Umbra")
        assert cautions.count("hairs") == 2, "one caution of hairs, with the words to say to a doctor"
        keeper.type("d", "palpal drumming began")
        print(f"\nfrom an empty folder to the first mark: {keeper.keys} keys, {time.monotonic() - began:.0f} s")
        keeper.type("\rhis left palp is lame\r", "noted")
        keeper.type("d", "palpal drumming ended")
        keeper.type("\x7f", "taken back")  # and second thoughts
        terminal.kill(signal.SIGKILL)
        terminal.wait()
    with Terminal(cwd=tmp_path) as terminal:
        keeper = Keeper(terminal)
        terminal.until("g goes on with M-Flint x F-Umbra")
        keeper.type("g", "nothing runs")
        keeper.type("n", "she strikes")
        keeper.type("3", "unsure")
        keeper.type("-", "NOBODY WATCHES")
        keeper.type("\rthe door\r", "(the door)")
        keeper.type("v", "clasp began")
        keeper.type("\x1b", "END?")
        keeper.type("\r", "How did it end?")
        keeper.type("n\x13", "your own words, or nothing; not 'n'")
        keeper.type("\x7f2\r", "keeper ended it")
        keeper.type("y\x1b", "back to the desk")  # half a form: both answers are kept
        keeper.back()
        # The second evening was begun by mistake.
        keeper.begin_watching("M-Flint", "F-Alder")
        keeper.type("\x1b", "END?")
        keeper.type("\r", "How did it end?")
        keeper.type("\r" * 6 + "y\x13", "back to the desk")
        keeper.back()
        keeper.type("q", "")
        assert terminal.wait() == 0
    first, second = sorted((tmp_path / "sessions").iterdir())
    assert session.read(first).fold.outcome == {"ended": "keeper ended it", "male_whole": True}
    assert [pairing.file for pairing in animals.read(tmp_path).pairings] == [first], "a mistake is no pairing"
    # Answers changed later, one of them odd at first.
    with Terminal("amend", str(first), cwd=tmp_path) as terminal:
        keeper = Keeper(terminal)
        terminal.until("in hand")
        keeper.type("\x1b[F", "in hand")  # to the end
        terminal.until("*")  # the note's sign over the strip
        keeper.type("\x05", "keeper ended it")
        keeper.type("\x1b[A", "y")  # from the first empty line up to his
        keeper.type("\x7fn\r\r\ryes\r2020-01-01\r", "2020-01-01 is past")
        soonest = date.today() + timedelta(days=10)
        keeper.type("\x7f" * 10 + "in 10 days\x13", "in hand")
        latest = date.today() + timedelta(days=10)  # a midnight may lie between
        keeper.type("\x1b", "added to")
        assert terminal.wait() == 0
    answers = dict(session.read(first).fold.outcome)
    again = str(answers.pop("again_when"))
    assert soonest.isoformat() <= again <= latest.isoformat()
    assert answers == {"ended": "keeper ended it", "male_whole": False, "again": "yes"}
    due = etholog("due", cwd=tmp_path).stdout.splitlines()
    row = due.index("  F-Umbra      pair her again with M-Flint, as you chose")
    assert due[row + 1].split(".")[0].strip() == f"on {again}"
    shown = etholog("show", "--log", first, cwd=tmp_path).stdout
    for words in (
        "note: his left palp is lame",
        "nobody watches: the door",
        "she struck: 0:00:",
        "unsure: she strikes",
    ):
        assert words in shown, words
    assert "begun by mistake" in etholog("show", second, cwd=tmp_path).stdout
    assert "1 session begun by mistake" in etholog("check", cwd=tmp_path).stderr
    assert "she struck once" in etholog("card", "F-Umbra", cwd=tmp_path).stdout
    assert "she struck once" in etholog("ready", "M-Flint", "F-Umbra", cwd=tmp_path).stdout
    assert "with M-Flint" in etholog("label", "F-Umbra", cwd=tmp_path).stdout
    assert etholog("report", first, cwd=tmp_path).returncode == 0
    assert "his left palp is lame" in (tmp_path / "report.html").read_text(encoding="utf-8")
