"""`etholog completion`: a script by which the shell completes commands and options."""

import argparse

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

    print(shtab.complete(parser_for(COMMANDS), args.shell))
    return 0
