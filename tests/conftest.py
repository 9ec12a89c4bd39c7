import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

from etholog import session
from tests.screens.shim import build

# A busy machine is no fault: no test judges by the clock. CI tries the same examples each time; by hand they differ.
settings.register_profile("patient", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("patient")

# What is tested is in English, whatever the tester speaks; tests of other languages say so.
for name in ("LANGUAGE", "LC_ALL", "LC_MESSAGES"):
    os.environ.pop(name, None)
os.environ["LANG"] = "C.UTF-8"

REPOSITORY = Path(__file__).parent.parent


def need(program: str) -> None:
    """Skip where a program is missing; where CI says that all is there, fail."""
    if shutil.which(program) is None:
        if os.environ.get("CI"):
            pytest.fail(f"{program} is missing, and CI must have it")
        pytest.skip(f"{program} is not installed")


@pytest.fixture
def repository() -> Path:
    return REPOSITORY


@pytest.fixture
def etholog() -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run the command line as a user does, in a process of its own."""

    def run(*words: object, **options: object) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "etholog", *map(str, words)],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
            **options,  # type: ignore[call-overload]
        )

    return run


@pytest.fixture(scope="session")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library to preload that lets writes or syncs of journals fail; see `tests/screens/shim.py`."""
    need("gcc")
    return build(tmp_path_factory.mktemp("shim") / "shim.so")


@pytest.fixture
def read_files(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the files that are read from now on."""
    names: list[str] = []
    real = session.read

    def noted(path: Path) -> session.Session:
        names.append(path.name)
        return real(path)

    monkeypatch.setattr(session, "read", noted)
    return names
