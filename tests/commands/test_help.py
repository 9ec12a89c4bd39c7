"""The pages of help, and completion in real shells."""

import re
import subprocess
from collections.abc import Callable
from dataclasses import MISSING, fields
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from etholog import ethogram
from etholog.animals import card
from etholog.commands import COMMANDS
from tests.conftest import need

Run = Callable[..., CompletedProcess[str]]


@pytest.mark.slow
def test_each_page_is_listed_and_printed(etholog: Run, repository: Path) -> None:
    pages = sorted(file.stem for file in (repository / "etholog" / "help").glob("*.md"))
    listed = etholog("help").stdout
    for page in pages:
        assert f"etholog help {page} " in listed
        assert etholog("help", page).stdout.startswith("# ")
    wrong = etholog("help", "method")
    assert (wrong.returncode, "did you mean 'methods'" in wrong.stderr) == (2, True)


def test_the_page_of_files_names_every_kind_of_line_and_table(etholog: Run, repository: Path) -> None:
    page = etholog("help", "files").stdout
    source = (repository / "etholog" / "session" / "record.py").read_text(encoding="utf-8")
    kinds = {kind for found in re.findall(r"do: Literal\[([^\]]*)\]", source) for kind in re.findall(r'"(\w+)"', found)}
    for kind in kinds - {"begin"}:
        assert re.search(rf"\b{kind}\b", page), kind
    tables = [one.name for one in fields(ethogram.Ethogram) if f"[[{one.name}]]" in page]
    assert tables == ["behaviour", "interval", "prompt", "limit", "aftercare"]


@pytest.mark.parametrize("part", [ethogram.Behaviour, ethogram.Interval, ethogram.Prompt])
def test_the_page_of_files_names_what_each_table_of_an_ethogram_needs(part: type, etholog: Run) -> None:
    page = " ".join(etholog("help", "files").stdout.split())
    (told,) = re.findall(rf"`\[\[{part.__name__.lower()}\]\]` \(([^)]*)\)", page)
    named = set(re.split(r", | or ", told))
    assert named <= {one.name for one in fields(part)}
    assert named >= {one.name for one in fields(part) if one.default is MISSING and one.default_factory is MISSING}


def test_the_kinds_of_entries_are_told_where_the_page_says(etholog: Run) -> None:
    shown = " ".join(etholog("card", "--help").stdout.split())
    assert all(kind in shown for kind in card.KINDS)


@pytest.mark.slow
@pytest.mark.parametrize("shell", ["bash", "zsh"])
def test_a_shell_takes_the_completion(shell: str, etholog: Run, tmp_path: Path) -> None:
    need(shell)
    script = tmp_path / "_etholog"
    script.write_text(etholog("completion", shell).stdout, encoding="utf-8")
    assert subprocess.run([shell, "-n", script], check=False).returncode == 0
    if shell == "bash":
        asked = f"source {script}; COMP_WORDS=(etholog la); COMP_CWORD=1; _shtab_etholog; echo ${{COMPREPLY[@]}}"
        done = subprocess.run(["bash", "-c", asked], capture_output=True, text=True, check=False)
        assert sorted(done.stdout.split()) == sorted(name for name in COMMANDS if name.startswith("la"))


@pytest.mark.slow
def test_bash_completes_files_and_folders(etholog: Run, tmp_path: Path) -> None:
    need("bash")
    script = tmp_path / "_etholog"
    script.write_text(etholog("completion", "bash").stdout, encoding="utf-8")
    (tmp_path / "evening.jsonl").touch()
    (tmp_path / "everything").mkdir()

    def complete(*words: str) -> list[str]:
        asked = (
            f"source ./_etholog; COMP_WORDS=({' '.join(words)}); COMP_CWORD={len(words) - 1}; _shtab_etholog;"
            " echo ${COMPREPLY[@]}"
        )
        done = subprocess.run(["bash", "-c", asked], capture_output=True, text=True, check=False, cwd=tmp_path)
        return done.stdout.split()

    assert sorted(complete("etholog", "show", "eve")) == ["evening.jsonl", "everything"]
    assert complete("etholog", "report", "--out", "even") == ["evening.jsonl"]
    assert complete("etholog", "due", "--folder", "eve") == ["everything"]
