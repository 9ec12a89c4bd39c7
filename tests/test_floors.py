"""Imports go one way, and recording loads nothing that it doesn't need."""

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
