import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.conftest import REPOSITORY, need

SEASON = REPOSITORY / "examples" / "season"
SESSION = SEASON / "sessions" / "20260322-2043-M-Onyx-F-Sepia.jsonl"


def report(*words: object) -> None:
    subprocess.run([sys.executable, "-m", "etholog", "report", *map(str, words)], check=True, capture_output=True)


@pytest.fixture(scope="session")
def season_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The whole invented season; it takes some seconds to draw."""
    page = tmp_path_factory.mktemp("report") / "season.html"
    report("--season", "--folder", SEASON, "--out", page)
    return page


@pytest.fixture(scope="session")
def three_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three sessions: all that a season's page is made of, and quicker to judge."""
    page = tmp_path_factory.mktemp("report") / "three.html"
    report("--season", "--folder", REPOSITORY, "--out", page)
    return page


@pytest.fixture(scope="session")
def session_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    page = tmp_path_factory.mktemp("report") / "session.html"
    report(SESSION, "--out", page)
    return page


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """The system's own Chromium; for one module only, since it keeps an event loop that other tests could not have."""
    need("chromium")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        yield opened
        opened.close()
