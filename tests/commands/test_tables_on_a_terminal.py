"""Tables for the eye have heads in words, with units, and behaviours by their labels, not by their codes."""

import csv
import io
import re
import shlex
from collections import Counter
from pathlib import Path

import pytest

from etholog.commands import main
from etholog.commands.duration import SHOWN
from tests.test_readme import commands

pytestmark = pytest.mark.slow

MEASURES = {"latency", "duration", "transition", "outcome", "agree", "due", "plan"}
COMMAND = re.compile(r"etholog \w+ .*|--\w+")  # what is to be typed keeps the words that are typed


class Screen(io.StringIO):
    """Where words go that a person reads."""

    def isatty(self) -> bool:
        return True


def printed(words: list[str], monkeypatch: pytest.MonkeyPatch) -> str:
    screen = Screen()
    with monkeypatch.context() as here:
        here.setattr("sys.stdout", screen)
        here.setenv("COLUMNS", "160")
        here.setenv("NO_COLOR", "1")
        assert main(words) == 0
    return re.sub(r"\x1b\[[\d;]*m", "", screen.getvalue())


def test_heads_and_behaviours_are_words(repository: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "examples").symlink_to(repository / "examples")  # some lines write files beside it
    monkeypatch.chdir(tmp_path)
    told = commands((repository / "README.md").read_text(encoding="utf-8"))
    tours = [words for line in told if (words := shlex.split(line)[1:])[0] in MEASURES and "examples/season" in line]
    tours += [
        ["duration", "--criterion", "drumming", "--folder", "examples/season"],
        ["transition", "--actor", "male", "--shuffles", "99", "--folder", "examples/season"],
        ["agree", "examples/season/sessions"],
    ]
    assert {words[0] for words in tours} == MEASURES
    for words in tours:
        for more in ([], ["--more"]) if words[0] != "plan" else ([],):
            shown = printed([*words, *more], monkeypatch)
            typed = {word for word in words if "_" in word}  # a column that somebody named is called as they called it
            said = "\n".join(COMMAND.sub("", line) for line in shown.splitlines())
            codes = set(re.findall(r"\b[a-z]+(?:_[a-z]+)+\b", said)) - typed
            assert not codes, (words, more, codes)


def test_of_many_groups_a_terminal_shows_the_first_and_a_pipe_all(
    repository: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["duration", "--by", "session", "--folder", str(repository / "examples" / "season")]
    assert main(words) == 0
    every = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    kept = Counter(row["session"] for row in every)
    assert (len(kept), len(every) > SHOWN) == (28, True)
    shown = printed(words, monkeypatch)
    told = [name for name in kept if f"\n {name} " in shown]  # as the first cell of a row
    assert told == list(kept)[: len(told)]
    assert sum(kept[name] for name in told) <= SHOWN < sum(kept[name] for name in list(kept)[: len(told) + 1])
    assert f"The first {len(told)} of 28 by session; all of them: --more." in shown
    more = printed([*words, "--more"], monkeypatch)
    assert all(name in more for name in kept)
