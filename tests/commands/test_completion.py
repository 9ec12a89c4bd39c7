"""Completion in real shells at a real terminal: keys typed, Tab pressed, the line read from the screen."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from etholog.commands import names
from tests.conftest import need
from tests.screens.terminal import Terminal

pytestmark = pytest.mark.slow

Run = Callable[..., subprocess.CompletedProcess[str]]
ASKED = [
    ("etholog repea", "etholog repeatability"),
    ("etholog latency cour", "etholog latency courtship"),
    ("etholog latency --since dru", "etholog latency --since drumming"),
    ("etholog latency courtship --by temp", "etholog latency courtship --by temperature_c"),
    ("etholog due --language p", "etholog due --language pl"),
    ("etholog card F-Um", "etholog card F-Umbra"),
    ("etholog ready M-Am", "etholog ready M-Amber"),
    ("etholog watch --male M-Am", "etholog watch --male M-Amber"),
    ("etholog watch --ethogram arb", "etholog watch --ethogram arboreal"),
    ("etholog show sess", "etholog show sessions/"),
    ("etholog show sessions/20260304-2108-M-A", "etholog show sessions/20260304-2108-M-Amber-F-Fern.jsonl"),
    ("etholog due --folder sess", "etholog due --folder sessions/"),
    ("etholog due --folder ../other F-El", "etholog due --folder ../other F-Elsewhere"),
]
HOW = {
    "bash": ["bash", "--rcfile", "{home}/rc", "-i"],
    "zsh": ["zsh", "-i"],
    "fish": ["fish", "-i"],
}


class Shell(Terminal):
    """A shell in a pty, at home in a folder of its own."""

    def _become(self, words: tuple[str, ...], under: tuple[str, ...]) -> None:
        os.execvp(words[0], list(words))


def at_home(shell: str, home: Path, script: str) -> None:
    """Install the script as its help says, for a user that has nothing else."""
    (home / "bin").mkdir(parents=True)
    (home / "bin" / "etholog").write_text(f'#!/bin/sh\nexec {sys.executable} -m etholog "$@"\n')
    (home / "bin" / "etholog").chmod(0o755)
    at = {"bash": "completion.bash", "zsh": ".zfunc/_etholog", "fish": ".config/fish/completions/etholog.fish"}[shell]
    (home / at).parent.mkdir(parents=True, exist_ok=True)
    (home / at).write_text(script, encoding="utf-8")
    (home / "rc").write_text(f"PS1='READY '\nbind 'set bell-style none'\nsource {home / 'completion.bash'}\n")
    zsh = "PS1='READY '\nfpath=(~/.zfunc $fpath)\nautoload -Uz compinit\ncompinit -u -D\n"
    (home / ".zshrc").write_text(zsh)
    if shell == "fish":
        (home / ".config/fish/config.fish").write_text(
            "function fish_prompt; echo -n 'READY '; end\nset -g fish_greeting\n"
        )


@pytest.mark.parametrize("shell", list(HOW))
def test_tab_completes(shell: str, etholog: Run, repository: Path, tmp_path: Path) -> None:
    need(shell)
    home = tmp_path / "home"
    at_home(shell, home, etholog("completion", shell).stdout)
    shutil.copytree(repository / "examples" / "season", tmp_path / "season")
    (tmp_path / "other" / "animals").mkdir(parents=True)
    (tmp_path / "other" / "animals" / "x.jsonl").write_text('{"n":0,"do":"begin","id":"F-Elsewhere"}\n')
    (tmp_path / "other" / "animals" / "y.jsonl").write_bytes(b'\xff"id":"\\ud800 $(touch /tmp/x)"\n')
    (tmp_path / "other" / "animals" / "z.jsonl").mkdir()
    words = [word.format(home=home) for word in HOW[shell]]
    here = {"HOME": str(home), "ZDOTDIR": str(home), "XDG_CONFIG_HOME": str(home / ".config"), "LC_ALL": "C.UTF-8"}
    path = f"{home / 'bin'}:{os.environ['PATH']}"
    with Shell(*words, cwd=tmp_path / "season", columns=150, PATH=path, **here) as terminal:
        terminal.until("READY")
        for typed, completed in ASKED:
            terminal.type(f"{typed}\t")
            terminal.until(f"READY {completed}")
            terminal.type("\x15\x0c")  # empty the line, then the screen
            terminal.until_gone(completed)
        assert "Traceback" not in terminal.raw.decode(errors="replace")


@pytest.mark.parametrize("kind", sorted(names.KINDS))
def test_what_can_not_be_read_completes_nothing_in_silence(kind: str, etholog: Run, tmp_path: Path) -> None:
    for folder, name in (("animals", "a.jsonl"), ("sessions", "a.jsonl"), ("ethograms", "a.toml")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / name).write_bytes(b'\x00\xff[[behaviour]]\n"id":"\\u12"conditions":{"a":}\n')
        os.mkfifo(tmp_path / folder / f"pipe-{name}")  # reading it would wait for ever
        (tmp_path / folder / f"gone-{name}").symlink_to("nowhere")
    for place in (tmp_path, tmp_path / "missing", tmp_path / "animals" / "a.jsonl", "a\nb", "~nobody-of-that-name/x"):
        done = etholog("completion", "--names", kind, "--of", place)
        assert done.stderr == "", place
        assert all(names._PLAIN.fullmatch(word) for word in done.stdout.split()), place


def test_a_name_that_a_shell_would_run_is_left_out(tmp_path: Path) -> None:
    (tmp_path / "animals").mkdir()
    for at, name in enumerate(("$(reboot)", "`x`", "a b", "-rf", "F-1", "Ж-2", "x;y", "a\\nb")):
        (tmp_path / "animals" / f"{at}.jsonl").write_text(f'{{"n":0,"id":"{name}"}}\n', encoding="utf-8")
    assert names.names("animals", tmp_path) == ["F-1", "Ж-2"]
