"""`etholog completion`: a script by which the shell completes commands, options, files and folders."""

import argparse
from pathlib import Path

from etholog.commands import COMMANDS, parser_for


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("shell", choices=("bash", "zsh", "tcsh"), help="which shell")
    parser.epilog = (
        "examples:\n"
        "  etholog completion bash > ~/.local/share/bash-completion/completions/etholog\n"
        "  etholog completion zsh > ~/.zfunc/_etholog"
    )


def run(args: argparse.Namespace) -> int:
    """Print the script."""
    import shtab

    parser = parser_for(COMMANDS)
    _name_files(parser, shtab.FILE, shtab.DIRECTORY)
    print(shtab.complete(parser, args.shell))
    return 0


def _name_files(parser: argparse.ArgumentParser, file: object, folder: object) -> None:
    """Say of each argument that is a path how the shell completes it; without, the shell completes nothing there."""
    for action in parser._actions:  # argparse has no other list of them, and shtab reads the same
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                _name_files(command, file, folder)
        elif action.type is Path:
            action.complete = folder if action.dest == "folder" else file  # type: ignore[attr-defined]
