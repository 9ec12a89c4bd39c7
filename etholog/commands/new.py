"""`etholog new`: a workspace to begin with, and an ethogram of one's own to change."""

import argparse
import shlex
import shutil
from pathlib import Path

from etholog.base import files
from etholog.base.refusal import Refusal
from etholog.base.text import visible
from etholog.commands.output import say

PARTS = ("sessions", "animals", "ethograms")
ATTRIBUTES = """\
# Git leaves journals as they are, on Windows too: each line has a checksum.
*.jsonl -text
*.torn -text
*.rescue -text
"""


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("folder", nargs="?", type=Path, default=Path(), help="where (default: here)")
    parser.add_argument("--ethogram", metavar="NAME", help="put a copy of this one into its ethograms/, to be changed")
    parser.epilog = "examples:\n  etholog new spiders\n  etholog new --ethogram arboreal"


def run(args: argparse.Namespace) -> int:
    """Make what is not there yet; what is there stays as it is."""
    from etholog import ethogram

    source = ethogram.find(args.ethogram, args.folder) if args.ethogram else None
    try:
        for part in PARTS:
            (args.folder / part).mkdir(parents=True, exist_ok=True)
        attributes = args.folder / ".gitattributes"
        if not attributes.exists():
            attributes.write_text(ATTRIBUTES, encoding="utf-8", newline="\n")
        if source is not None:
            copy = args.folder / "ethograms" / source.name
            if copy.exists():
                raise Refusal(f"{copy}: is there already; change that one, or move it away first")
            shutil.copyfile(source, copy)
            print(visible(str(copy)))
    except OSError as error:
        raise Refusal(f"{args.folder}: can't be made ({error.strerror}); {files.remedy(error)}") from error
    say(f"a workspace: {args.folder.resolve()}", "next:")
    if args.folder.resolve() != Path.cwd():
        say(f"  cd {shlex.quote(str(args.folder))}")
    say("  etholog watch --male HIS-NAME --female HER-NAME")
    return 0
