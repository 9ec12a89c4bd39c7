"""Imports go one way, and recording loads nothing that it doesn't need."""

import os
import subprocess
import sys
from pathlib import Path

import pytest


@pytest.mark.slow
def test_the_floors_hold(repository: Path) -> None:
    script = "import sys; from importlinter.cli import lint_imports_command; sys.argv = ['lint-imports', '--no-cache']"
    done = subprocess.run(
        [sys.executable, "-c", f"{script}; lint_imports_command()"],
        cwd=repository,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
    assert "0 broken" in done.stdout


@pytest.mark.slow
@pytest.mark.parametrize("module", ["etholog.screens.app", "etholog.recording.recorder", "etholog.commands.watch"])
def test_watching_loads_neither_tables_nor_plots(module: str) -> None:
    heavy = ("pandas", "numpy", "scipy", "statsmodels", "matplotlib")
    script = f"import sys, {module}; print([name for name in {heavy} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.slow
def test_watching_without_a_phone_loads_nothing_of_one(tmp_path: Path) -> None:
    script = (
        "import sys; from etholog.commands import main\n"
        "from etholog.screens import app\n"
        "app.WatchApp.run = lambda self, *a, **k: self.start_clock()\n"
        "app.WatchApp.push_screen = lambda *a, **k: None\n"
        "from etholog.commands import recording; recording.need_terminal = lambda: None\n"
        "pair = ['--male', 'M-1', '--female', 'F-1', '--ethogram', 'terrestrial']\n"
        f"main(['watch', *pair, '--folder', {str(tmp_path)!r}])\n"
        "print([name for name in sys.modules if name.startswith(('aiohttp', 'etholog.phone', 'segno', 'multidict'))])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert done.stdout.splitlines()[-1] == "[]", done.stderr
    assert list((tmp_path / "sessions").glob("*.jsonl"))


@pytest.mark.slow
@pytest.mark.parametrize(
    "module",
    [
        "base.journal",
        "session",
        "ethogram",
        "animals",
        "season",
        "session.summary",
        "recording.recorder",
        "screens.strip",
    ],
)
def test_records_and_tables_load_no_screen(module: str) -> None:
    script = f"import sys, etholog.{module}; print([n for n in ('textual', 'rich', 'argparse') if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


HEAVY = ("pydantic", "numpy", "pandas", "scipy", "matplotlib", "textual", "openpyxl")
MODELS, TABLES = {"pydantic"}, {"pydantic", "numpy", "pandas"}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("command", "loads"),
    [
        ("help words", set()),
        ("completion --names animals", set()),  # asked for at each press of Tab
        ("completion bash", set()),
        ("due", MODELS),
        ("card F-Umbra", MODELS),
        ("ready M-Basalt F-Umbra", MODELS),
        ("show sessions/20260303-2113-M-Slate-F-Umbra.jsonl", MODELS),
        ("check", MODELS),
        ("label F-Umbra -o {to}/label.svg", MODELS | {"numpy", "matplotlib"}),
        ("outcome", TABLES),
        ("latency courtship --by male", TABLES),
        ("duration", TABLES),
        ("transition", TABLES),
        ("plan --species Brachypelma_smithi", TABLES | {"scipy"}),
        ("export {to}/tables", TABLES),
        pytest.param(
            "report --season -o {to}/page.html",
            TABLES,
            marks=pytest.mark.skipif(os.cpu_count() == 1, reason="one processor draws in the report's own process"),
        ),
    ],
)
def test_a_command_loads_no_library_that_it_does_not_use(
    repository: Path, tmp_path: Path, command: str, loads: set[str]
) -> None:
    words = [word.replace("_", " ") for word in command.split()]
    words = [word.format(to=tmp_path) for word in words]
    script = (
        "import contextlib, io, sys; from etholog.commands import main\n"
        f"with contextlib.redirect_stdout(io.StringIO()): code = main({words})\n"
        f"print(code, *(name for name in {HEAVY} if name in sys.modules))"
    )
    folder = repository / "examples/season"
    done = subprocess.run([sys.executable, "-c", script], cwd=folder, capture_output=True, text=True, check=False)
    code, *found = done.stdout.split()
    assert code in ("0", "1"), done.stderr
    assert set(found) <= loads


def test_the_help_of_a_command_loads_no_library() -> None:
    script = (
        "import sys; from etholog.commands import COMMANDS, parser_for\n"
        "parser_for(COMMANDS.keys())\n"
        f"print([name for name in {HEAVY} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
