from pathlib import Path

import pytest

import etholog
from etholog.season import Season
from tests.conftest import REPOSITORY


@pytest.fixture(scope="session")
def season() -> Season:
    return etholog.read(REPOSITORY / "examples" / "season")


@pytest.fixture(scope="session")
def second_record() -> tuple[Season, Season]:
    """One invented session as two observers recorded it."""
    from etholog import season as tables
    from etholog import session

    folder = REPOSITORY / "examples" / "season" / "sessions"
    files = (folder / f"20260306-2058-M-Ochre-F-Fern{which}.jsonl" for which in ("", "-second"))
    first, second = (tables.of(Path(), [session.read(file)]) for file in files)
    return first, second
