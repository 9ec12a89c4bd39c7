"""What README.md and DEVELOPERS.md tell to type works, and names only what is there."""

import re
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog.commands import COMMANDS, main

pytestmark = pytest.mark.slow

PAGES = ("README.md", "DEVELOPERS.md")
# What takes a terminal, a film, another's workspace, or a table of one's own.
OWN = re.compile(r"^etholog (watch|resume|amend|film|gather)\b|old\.csv")
OWN_CARDS = (
    "etholog card F-Umbra moult --on 2025-10-28",
    "etholog card M-Basalt sperm web --on 2026-02",
    "etholog card M-Basalt size 14.8cm",
)


def commands(page: str) -> list[str]:
    blocks = re.findall(r"^```sh\n(.*?)^```", page, flags=re.S | re.M)
    lines = [line.split("#")[0].strip() for block in blocks for line in block.splitlines()]
    return [line for line in lines if line.startswith("etholog ")]


@pytest.mark.parametrize("page", PAGES)
def test_every_command_told_of_is_there_with_its_options(
    page: str, repository: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    told = commands((repository / page).read_text(encoding="utf-8"))
    for line in told:
        command, *words = shlex.split(line)[1:]
        assert command in COMMANDS, line
        verb = words[:1] if command == "film" else []
        shown = etholog(command, *verb, "--help").stdout
        for word in words:
            if word.startswith("--"):
                assert word in shown, line


def test_every_command_is_told_of(repository: Path) -> None:
    pages = [repository / "README.md", *(repository / "etholog" / "help").glob("*.md")]
    told = "\n".join(page.read_text(encoding="utf-8") for page in pages)
    assert [command for command in COMMANDS if not re.search(rf"\betholog {command}\b", told)] == []


def test_every_example_runs_in_a_clone(
    repository: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    told = commands((repository / "README.md").read_text(encoding="utf-8"))
    for name in ("examples", "sessions"):
        shutil.copytree(repository / name, tmp_path / name)
    run = [line for line in told if not OWN.search(line)]
    assert len(run) >= 30
    for line in run:
        monkeypatch.chdir(tmp_path / "spiders" if line in OWN_CARDS else tmp_path)
        code, said = main(shlex.split(line)[1:]), capsys.readouterr()
        assert code == 0, (line, said.err)
        assert said.out or said.err


def test_what_is_shown_as_printed_is_what_is_printed(
    repository: Path, etholog: Callable[..., CompletedProcess[str]]
) -> None:
    for page in PAGES:
        text = (repository / page).read_text(encoding="utf-8")
        shown = re.findall(r"^```sh\n(etholog [^\n]*)\n```\n\n```text\n(.*?)^```", text, flags=re.S | re.M)
        assert shown or page != "README.md"
        for line, printed in shown:
            done = etholog(*shlex.split(line)[1:], cwd=repository)
            assert done.stdout.rstrip() == printed.rstrip(), line


def test_the_python_of_the_readme_runs(repository: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (code,) = re.findall(
        r"^```python\n(.*?)^```", (repository / "README.md").read_text(encoding="utf-8"), flags=re.S | re.M
    )
    (tmp_path / "examples").symlink_to(repository / "examples")
    monkeypatch.chdir(tmp_path)
    exec(code, {})
    assert (tmp_path / "latency.svg").stat().st_size > 1000


def test_the_readme_has_exactly_two_set_up_commands(repository: Path) -> None:
    readme = (repository / "README.md").read_text(encoding="utf-8")
    assert readme.count("python3 -m venv .venv && ") == 2
    pictures = re.findall(r"!\[(.+?)\]\((.+?)\)", readme)
    assert len(pictures) >= 3
    assert all((repository / file).is_file() for _, file in pictures)
