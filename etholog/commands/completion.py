"""`etholog completion`: a script by which the shell completes commands, options, files, and this workspace's names."""

import argparse
from pathlib import Path

from etholog.commands import COMMANDS, names, parser_for
from etholog.commands.output import picture_file

# Which arguments take names of the workspace, by what they are called in the help, or in the code.
BY_METAVAR = {"CODE": "behaviours", "COLUMN": "columns", "LANGUAGE": "languages"}
BY_NAME = {
    "animal": "animals", "animals": "animals", "male": "animals", "female": "animals", "interval": "intervals",
    "follows": "behaviours", "ethogram": "ethograms", "keys": "ethograms",
}  # fmt: skip

# The names are asked for when Tab is pressed, of the folder that the line names; each shell keeps what begins alike.
_ASKED = {
    "bash": """
_etholog_names() {
  local folder=. at
  for ((at = 1; at < COMP_CWORD; at++)); do
    [[ ${COMP_WORDS[at - 1]} == --folder ]] && folder=${COMP_WORDS[at]}
  done
  compgen -W "$(etholog completion --names "$1" --of "$folder" 2>/dev/null)" -- "$2"
}
""",
    "zsh": """
_etholog_names() {
  local folder=${words[${words[(i)--folder]} + 1]:-.}
  compadd -- ${(f)"$(etholog completion --names "$1" --of "$folder" 2>/dev/null)"}
}
""",
    "fish": """
function _etholog_names
  set -l line (commandline -opc)
  set -l folder .
  if set -l at (contains -i -- --folder $line)
    set folder $line[(math $at + 1)]
  end
  etholog completion --names $argv[1] --of "$folder" 2>/dev/null
end
""",
}


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("shell", nargs="?", choices=("bash", "zsh", "fish", "tcsh"), help="which shell")
    parser.add_argument("--names", choices=names.KINDS, help=argparse.SUPPRESS)  # what the script asks for
    parser.add_argument("--of", type=Path, default=Path(), help=argparse.SUPPRESS)
    parser.epilog = (
        "examples:\n"
        "  etholog completion bash > ~/.local/share/bash-completion/completions/etholog\n"
        "  etholog completion zsh > ~/.zfunc/_etholog\n"
        "  etholog completion fish > ~/.config/fish/completions/etholog.fish"
    )


def run(args: argparse.Namespace) -> int:
    """Print the script, or the names that it asks for: none where they can't be read, as a shell shows no errors."""
    if args.names:
        try:
            print(*names.names(args.names, args.of.expanduser()), sep="\n")
        except (OSError, ValueError, RuntimeError, RecursionError):
            return 1
        return 0
    if not args.shell:
        from etholog.base.refusal import Refusal

        raise Refusal("which shell? etholog completion bash, zsh, fish or tcsh")
    import shtab

    shell = args.shell
    parser = parser_for(COMMANDS)
    _describe(parser, shtab.FILE, shtab.DIRECTORY)
    asked = _ASKED.get(shell, "") + "".join(map(_FUNCTIONS.get(shell, "").format, names.KINDS))
    print(shtab.complete(parser, shell, preamble=asked))
    return 0


_FUNCTIONS = {
    "bash": '_etholog_{0}() {{ _etholog_names {0} "$1"; }}\n',
    "zsh": "_etholog_{0}() {{ _etholog_names {0}; }}\n",
    "fish": "function _etholog_{0}; _etholog_names {0}; end\n",
}


def _describe(parser: argparse.ArgumentParser, file: object, folder: object) -> None:
    """Say of each argument how the shell completes it; without, the shell completes nothing there."""
    for action in parser._actions:  # argparse has no other list of them, and shtab reads the same
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                _describe(command, file, folder)
            continue
        kind = BY_METAVAR.get(action.metavar) or BY_NAME.get(action.dest)  # type: ignore[arg-type]
        if action.type in (Path, picture_file):
            action.complete = folder if action.dest == "folder" else file  # type: ignore[attr-defined]
        elif action.type is None and kind:
            own = f"_etholog_{kind}"
            asked = f"`etholog completion --names {kind}`"
            action.complete = {"bash": own, "zsh": own, "fish": f"({own})", "tcsh": asked}  # type: ignore[attr-defined]
