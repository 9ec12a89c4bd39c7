"""The command line's frame, in processes of its own."""

import argparse
import csv
import importlib
import inspect
import io
import json
import subprocess
import sys
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from subprocess import CompletedProcess
from typing import get_args

import pytest

import etholog as library
from etholog import __version__, animals
from etholog.analysis.contrast import Measure
from etholog.analysis.observers import observers
from etholog.analysis.plan import plan
from etholog.animals.entering import Slashes
from etholog.commands.film import listen
from etholog.commands.film.common import add_choice
from etholog.film.cuts import CutOptions
from etholog.film.strokes import BAND
from etholog.session.latency import Unseen
from tests.make import unmeasured

Run = Callable[..., CompletedProcess[str]]


def test_help_is_shown_without_any_heavy_library() -> None:
    script = (
        "import sys; from etholog.commands import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = 'pandas','numpy','matplotlib','textual','pydantic','rich','babel','dataclasses'\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    # Coverage, where it measures this process, begins with data classes of its own.
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, env=unmeasured())
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    ("command", "function", "options"),
    [
        ("plan", plan, {"rest": "rest", "weeks": "weeks"}),
        ("latency", library.compare, {"permutations": "permutations", "seed": "seed"}),
        ("repeatability", library.repeatability, {"permutations": "permutations", "seed": "seed"}),
        ("duration", library.contrast, {"seed": "seed"}),
        ("transition", library.transition, {"lag": "lag", "shuffles": "shuffles", "seed": "seed"}),
        ("agree", library.agreement, {"tolerance": "tolerance_s", "unit": "unit_s"}),
        ("agree", observers, {"tolerance": "tolerance_s", "unit": "unit_s"}),
        ("power", library.power, {"times": "ratio", "males": "males", "sessions": "sessions", "like": "like"}),
    ],
)
def test_what_is_not_typed_is_what_the_function_has_by_itself(
    command: str, function: Callable[..., object], options: dict[str, str]
) -> None:
    parser = argparse.ArgumentParser()
    importlib.import_module(f"etholog.commands.{command}").configure(parser)
    has = {name: one.default for name, one in inspect.signature(function).parameters.items()}
    typed = {option: parser.get_default(option) for option in options}
    assert typed == {
        option: list(has[name]) if isinstance(has[name], tuple) else has[name] for option, name in options.items()
    }


@pytest.mark.parametrize(
    ("command", "option", "taken"),
    [
        ("latency", "--unseen", Unseen),
        ("duration", "--compare", Measure),
        ("card", "--slashes", Slashes),
        ("gather", "--slashes", Slashes),
    ],
)
def test_what_can_be_chosen_is_what_the_function_takes(command: str, option: str, taken: object) -> None:
    parser = argparse.ArgumentParser()
    importlib.import_module(f"etholog.commands.{command}").configure(parser)
    (choices,) = (one.choices for one in parser._actions if option in one.option_strings)
    assert choices == get_args(taken)


def test_what_a_film_command_has_by_itself_is_what_cuts_and_strokes_have() -> None:
    of_cuts, of_sound = argparse.ArgumentParser(), argparse.ArgumentParser()
    add_choice(of_cuts)
    listen.configure(of_sound)
    cuts, asked = CutOptions(), of_cuts.parse_args([])
    assert (asked.before, asked.after, asked.join, asked.waits) == (
        cuts.before_s,
        cuts.after_s,
        cuts.join_s,
        cuts.speed,
    )
    low, high = of_sound.get_default("band").split(",")
    assert (float(low), float(high)) == BAND


def test_alone_without_a_terminal_it_prints_the_short_help(etholog: Run) -> None:
    done = etholog()
    assert done.returncode == 0
    assert "usage: etholog" in done.stdout


def test_the_version_is_the_packages(etholog: Run) -> None:
    assert etholog("--version").stdout.split() == ["etholog", __version__]


@pytest.mark.parametrize("words", [["nonsense"], ["check", "nowhere"], ["--nonsense"]])
def test_bad_words_end_with_2_and_no_traceback(etholog: Run, words: list[str]) -> None:
    done = etholog(*words)
    assert done.returncode == 2
    assert done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("words", [("power", "--draw"), ("agree", "sessions", "--chart"), ("plan", "--draw")])
def test_a_picture_of_another_form_is_refused_before_the_work(etholog: Run, tmp_path: Path, words: list[str]) -> None:
    done = etholog(*words, "drawn.gif", cwd=tmp_path)  # where there is nothing to work on, which would be said first
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.splitlines()[-1].endswith("drawn.gif: a figure is written as one of .svg, .pdf, .png")


def test_an_unknown_command_names_the_nearest(etholog: Run) -> None:
    done = etholog("lateny", "courtship")
    assert done.returncode == 2
    assert done.stderr.startswith("etholog: no command 'lateny'; did you mean 'latency'")


@pytest.mark.slow
def test_every_command_shows_an_example(etholog: Run) -> None:
    from etholog.commands import COMMANDS

    for command in COMMANDS:
        done = etholog(command, "--help")
        assert done.returncode == 0, done.stderr
        assert f"etholog {command}" in done.stdout.split("example", 1)[1]


def test_a_broken_pipe_is_no_error(etholog: Run) -> None:
    done = subprocess.run(
        f"{sys.executable} -m etholog --help | head -n 1", shell=True, capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("usage")
    assert "Traceback" not in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_a_stream_that_is_closed_takes_nothing_and_nothing_else_takes_its_place(tmp_path: Path, closed: str) -> None:
    words = f"{sys.executable} -m etholog card F-1 meal small --on 2026-05-03 --folder {tmp_path}"
    done = subprocess.run(f"{words} {closed}", shell=True, capture_output=True, text=True, check=True)
    assert "Traceback" not in done.stderr
    again = subprocess.run(f"{words} {closed}", shell=True, capture_output=True, text=True, check=False)  # it is asked
    assert again.returncode == 1
    assert ("is on the card already" in again.stderr) == ("2>" not in closed)
    assert again.stdout.startswith("F-1: meal small") == (" >" not in f" {closed}")
    assert [entry.kind for entry in animals.read(tmp_path).cards["F-1"].entries] == ["meal", "meal"]
    assert not animals.read(tmp_path).findings


@pytest.mark.slow
@pytest.mark.parametrize("words", ["latency courtship --by male", "duration", "outcome --each"])
def test_seconds_in_a_pipe_have_no_digit_that_nobody_measured(etholog: Run, repository: Path, words: str) -> None:
    asked = [*words.split(), "--folder", repository / "examples" / "season"]
    told = list(csv.DictReader(io.StringIO(etholog(*asked).stdout)))
    seconds = [cell for row in told for name, cell in row.items() if name.endswith("_s") and cell]
    assert [cell for cell in seconds if Decimal(cell) % Decimal("0.001")] == []
    assert len(seconds) > len(told)


def test_what_is_so_or_not_is_in_a_pipe_as_in_an_export(etholog: Run, repository: Path) -> None:
    """`TRUE` and `FALSE`: base R's type.convert takes `True` for text."""
    done = etholog("latency", "courtship", "--folder", repository / "examples" / "season")
    assert {row["occurred"] for row in csv.DictReader(io.StringIO(done.stdout))} == {"TRUE", "FALSE"}


@pytest.mark.slow
@pytest.mark.parametrize("words", ["outcome", "outcome --signs", "latency courtship --by male", "transition --by male"])
def test_a_pipe_holds_one_table(etholog: Run, repository: Path, words: str) -> None:
    done = etholog(*words.split(), "--folder", repository / "examples" / "season")
    told = list(csv.reader(io.StringIO(done.stdout)))
    assert {len(line) for line in told} == {len(told[0])}  # RFC 4180, section 2.4
    assert len(told) > 1


def test_cards_and_findings_as_json(etholog: Run, tmp_path: Path) -> None:
    folder = ("--folder", tmp_path)
    (tmp_path / "sessions").mkdir()
    (tmp_path / "sessions" / "a.jsonl").write_text("no session\n", encoding="utf-8")
    checked = etholog("check", tmp_path, "--json")
    [found] = json.loads(checked.stdout)["findings"]
    assert (checked.returncode, found["line"], found["path"].endswith("a.jsonl")) == (1, 1, True)
    (tmp_path / "sessions" / "a.jsonl").unlink()
    etholog("card", "F-1", "species", "Brachypelma smithi", "--on", "2026-01-02", *folder)
    etholog("card", "F-1", "weight", "21.5", "--on", "2026-02", *folder)
    told = json.loads(etholog("card", "F-1", "--json", *folder).stdout)
    assert [(one["entry"], one["number"], one["last_on"]) for one in told["entries"]] == [
        ("species", None, "2026-01-02"),
        ("weight", 21.5, "2026-02-28"),
    ]
    [listed] = json.loads(etholog("card", "--json", *folder).stdout)["animals"]
    assert (listed["animal"], listed["species"]) == ("F-1", told["species"])
    refused = etholog("card", "F-1", "meal", "small", "--json", *folder)
    assert (refused.returncode, refused.stdout) == (2, "")


@pytest.mark.slow
@pytest.mark.parametrize("option", ["--pedigree=a.svg", "--lot", "--loan", "--browse"])
def test_what_is_to_be_written_on_a_card_is_never_dropped_for_what_is_to_be_read(
    etholog: Run, tmp_path: Path, option: str
) -> None:
    assert etholog("card", "F-1", "meal", "small", cwd=tmp_path).returncode == 0
    before = (tmp_path / "animals" / "F-1.jsonl").read_bytes()
    done = etholog("card", "F-1", "meal", "large", option, cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert "meal is to be written" in done.stderr
    assert (tmp_path / "animals" / "F-1.jsonl").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["animals"]


@pytest.mark.slow
@pytest.mark.parametrize("words", [["--paper"], ["--interval", "clasp"], ["--also", "xlsx"], ["--defuse"]])
def test_a_season_for_an_engine_takes_no_option_that_would_do_nothing(
    etholog: Run, tmp_path: Path, repository: Path, words: list[str]
) -> None:
    done = etholog("export", tmp_path / "large", "--by-month", *words, "--folder", repository / "examples" / "season")
    assert done.returncode == 2
    assert not (tmp_path / "large").exists()


@pytest.mark.slow
def test_tables_are_exported_from_sessions_and_not_from_a_season_for_an_engine(
    etholog: Run, tmp_path: Path, repository: Path
) -> None:
    assert (
        etholog("export", tmp_path / "large", "--by-month", "--folder", repository / "examples" / "season").returncode
        == 0
    )
    done = etholog("export", tmp_path / "tables", "--folder", tmp_path / "large")
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)
    assert "export from the sessions themselves" in done.stderr


def test_cards_are_browsed_in_a_terminal_alone(etholog: Run, repository: Path) -> None:
    done = etholog("card", "F-Moss", "--browse", "--folder", repository / "examples" / "season")
    assert (done.returncode, done.stdout) == (2, "")
    assert "needs a terminal" in done.stderr


def test_ctrl_c_while_a_command_is_imported_is_no_traceback(tmp_path: Path) -> None:
    """Its importing is where a short command spends its time; here it comes as the command is asked for."""
    code = (
        "import signal, sys\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"  # a job in the background ignores it
        "class Interrupting:\n"
        "    def find_spec(self, name, path=None, target=None):\n"
        "        if name == 'etholog.commands.latency':\n"
        "            signal.raise_signal(signal.SIGINT)\n"
        "sys.meta_path.insert(0, Interrupting())\n"
        "from etholog.commands import main\n"
        "sys.exit(main(['latency', 'courtship']))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")
