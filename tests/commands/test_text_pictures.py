"""The pictures that `show` and `latency` print as text, in a real terminal and out of one."""

import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from statsmodels.duration.survfunc import SurvfuncRight

import etholog
from etholog.base.colours import ACTORS
from etholog.commands.curve import BLOCKS, EIGHTHS, lines
from etholog.commands.output import _parts
from tests.make import marks, terrestrial_1, write_session

pytestmark = pytest.mark.slow

SESSION = "examples/season/sessions/20260322-2043-M-Onyx-F-Sepia.jsonl"
COLOUR = re.compile(r"\x1b\[[0-9;]*m")


def in_a_terminal(repository: Path, *words: str, **environment: str) -> str:
    main, terminal = pty.openpty()
    kept = {name: value for name, value in os.environ.items() if name not in ("NO_COLOR", "FORCE_COLOR")}
    process = subprocess.Popen(
        [sys.executable, "-m", "etholog", *words],
        cwd=repository,
        env=kept | {"TERM": "xterm-256color", "COLORTERM": "truecolor", "COLUMNS": "100", **environment},
        stdout=terminal,
        stdin=subprocess.DEVNULL,
    )
    os.close(terminal)
    shown = bytearray()
    while True:
        try:
            part = os.read(main, 65536)
        except OSError:  # Linux says so when the other end is closed
            break
        if not part:
            break
        shown += part
    os.close(main)
    assert process.wait() == 0
    return shown.decode().replace("\r\n", "\n")


@pytest.mark.parametrize(
    "words", [("show", SESSION), ("latency", "courtship", "--by", "male", "--folder", "examples/season")]
)
def test_colour_repeats_what_is_there_without_it(repository: Path, words: tuple[str, ...]) -> None:
    coloured = in_a_terminal(repository, *words)
    plain = in_a_terminal(repository, *words, NO_COLOR="1")
    red, green, blue = bytes.fromhex(ACTORS["male"].removeprefix("#"))
    assert f"38;2;{red};{green};{blue}" in coloured
    # https://no-color.org: no ANSI colour; bold and the like are no colour.
    assert not any(code in plain for code in ("\x1b[3", "\x1b[9", ";38;"))
    assert COLOUR.sub("", coloured) == COLOUR.sub("", plain)


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("latency", "courtship", "--by", "male"), 1),
        (("latency", "courtship", "--by", "male", "--more"), 2),
        (("duration",), 1),
        (("duration", "--by", "male"), 1),
        (("duration", "--by", "session"), 1),
        (("duration", "--by", "session", "--more"), 2),
    ],
    ids=lambda words: " ".join(words) if isinstance(words, tuple) else str(words),
)
def test_a_table_on_80_columns_holds_every_cell_and_no_broken_number(
    repository: Path, words: tuple[str, ...], parts: int
) -> None:
    words = (*words, "--folder", "examples/season")
    wide, narrow = (tables(in_a_terminal(repository, *words, COLUMNS=columns)) for columns in ("250", "80"))
    rows = [line.split()[0] for line in wide[0].splitlines()]  # what each part begins with
    told = "".join(narrow[:parts])
    assert max(map(len, told.splitlines())) <= 80
    assert sorted(re.sub(r"\s", "", told)) == sorted(re.sub(r"\s", "", wide[0] + "".join(rows * (parts - 1))))
    numbers = re.compile(r"(?<=\s)[\d,]+\.\d+(?=\s)")
    assert sorted(numbers.findall(told)) == sorted(numbers.findall(wide[0]))


def tables(shown: str) -> list[str]:
    """Return the rows of each table, without their heads."""
    lines = [line.rstrip() for line in COLOUR.sub("", shown).splitlines()]
    rules = [at for at, line in enumerate(lines) if "──" in line]
    return ["\n".join(lines[rule + 1 : lines.index("", rule)]) + "\n" for rule in rules]


@pytest.mark.parametrize(
    ("widths", "room", "parts"),
    [
        ([8, 6, 6, 6], 40, [[0, 1, 2, 3]]),
        ([8, 10, 10, 10], 30, [[0, 1], [0, 2], [0, 3]]),
        ([8, 10, 5, 10], 30, [[0, 1, 2], [0, 3]]),
        ([8, 30, 6], 30, [[0], [1], [0, 2]]),
    ],
)
def test_a_table_that_would_break_words_is_printed_in_parts(
    widths: list[int], room: int, parts: list[list[int]]
) -> None:
    columns = [["x" * width, "1"] for width in widths]
    assert _parts(columns, [False] * len(widths), room) == parts
    # Words may go into lines below each other; a number may not.
    assert _parts([["a"], ["b c d"], ["e"]], [False, False, False], 9) == [[0, 1, 2]]
    assert _parts([["a"], ["b c d"], ["e"]], [False, True, False], 9) == [[0], [1], [0, 2]]


def test_a_title_is_as_wide_as_the_terminal_and_not_as_its_table(repository: Path) -> None:
    words = ("outcome", "--today", "2026-11-20", "--folder", "examples/season")
    assert "an attempt being all pairings of one female in one" in in_a_terminal(repository, *words, COLUMNS="80")


def test_out_of_a_terminal_there_is_no_escape(repository: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "etholog", "show", SESSION], cwd=repository, capture_output=True, text=True, check=True
    )
    assert "\x1b" not in done.stdout
    assert "m  palpal drumming" in done.stdout


def test_each_column_is_the_share_still_without_it(repository: Path) -> None:
    times = etholog.latency(etholog.read(repository / "examples" / "season"), "courtship")
    drawn = [[text for text, _ in line] for line in lines(times, "male", 100, BLOCKS)][1:-1]
    groups = list(times.groupby("male", observed=True))
    end = times["latency_s"].max()
    columns = 100 - len("M-Basalt") - 9 - 3
    for (head, body, tail), (name, rows) in zip(drawn, groups, strict=True):
        assert head.split()[0] == name
        assert head.split()[1:] == [str(rows["occurred"].sum()), "of", str(len(rows))]
        reference = SurvfuncRight(rows["latency_s"], rows["occurred"].astype(int))
        for column, block in enumerate(body):
            past = np.flatnonzero(np.asarray(reference.surv_times) <= column * end / columns)
            share = reference.surv_prob[past[-1]] if len(past) else 1.0
            level = BLOCKS.index(block) + 1 if block != " " else 0
            assert 0 <= level / 8 - share + 1e-9 < 1 / 8 + 2e-9
        assert len(body) == pytest.approx(rows["latency_s"].max() / end * columns, abs=1)
        assert (tail == "|") == (not rows.sort_values("latency_s")["occurred"].iloc[-1])


def test_a_hostile_name_and_a_terminal_without_blocks() -> None:
    times = pd.DataFrame({"latency_s": [1.0, 2.0], "occurred": [True, False], "male": ["\x1b[2Jx", "[red]y[/]"]})
    drawn = [list(line) for line in lines(times, "male", 60, EIGHTHS)]
    text = "\n".join(part for line in drawn for part, _ in line)
    assert "\x1b" not in text
    assert "[red]y[/]" in text
    assert text.isascii()


def test_no_group_draws_nothing() -> None:
    times = pd.DataFrame({"latency_s": [1.0], "occurred": [True], "male": [None]})
    assert list(lines(times, "male", 60, BLOCKS)) == []


def test_a_terminal_that_tells_no_size_is_an_ordinary_one(repository: Path) -> None:
    """As a new pty is, before anybody gave it a size."""
    shown = in_a_terminal(repository, "due", "--folder", "examples/season", COLUMNS="").splitlines()
    assert len(shown) > 10
    assert max(map(len, shown)) <= 80


def test_the_name_of_a_species_stands_whole_beside_its_curve() -> None:
    names = ["Chromatopelma cyaneopubescens", "Psalmopoeus irminia"]
    times = pd.DataFrame({"latency_s": [1.0, 2.0], "occurred": [True, True], "species": names})
    shown = ["".join(text for text, _ in line) for line in lines(times, "species", 80, BLOCKS)]
    assert all(name in line and len(line) <= 80 for name, line in zip(names, shown[1:], strict=False))


def test_of_many_sessions_the_last_stand_on_a_terminal(repository: Path, tmp_path: Path) -> None:
    sessions = tmp_path / "sessions"
    sessions.mkdir()
    for n in range(45):
        write_session(
            sessions / f"s{n:02d}.jsonl", marks((0, "on_silk", None), (1000 + n, "drumming", "onset")), terrestrial_1()
        )
    shown = in_a_terminal(repository, "latency", "courtship", "--folder", str(tmp_path))
    assert ("s04 " in shown, "s05 " in shown, "s44 " in shown) == (False, True, True)
    assert "The last 40 of 45 sessions." in shown
    assert "s00 " in in_a_terminal(repository, "latency", "courtship", "--more", "--folder", str(tmp_path))


def test_a_table_without_rows_says_so(repository: Path, tmp_path: Path) -> None:
    (tmp_path / "sessions").mkdir()
    shown = in_a_terminal(repository, "outcome", "--signs", "--folder", str(tmp_path))
    assert "how many days before the sac: none" in " ".join(shown.split())
