"""`etholog check`: read everything in a workspace and tell what is wrong, a line each."""

import argparse
from collections.abc import Iterator
from pathlib import Path

from etholog import animals, ethogram, session
from etholog.animals import pedigree
from etholog.base.refusal import Refusal
from etholog.base.text import visible
from etholog.commands.output import say


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("paths", nargs="*", type=Path, default=[Path()], metavar="PATH", help="workspaces or files")
    parser.epilog = "example:\n  etholog check               all sessions and ethograms of this folder"


def run(args: argparse.Namespace) -> int:
    """Print a line for each finding to stdout and a summary to stderr; 1 when there was a finding."""
    files = [file for path in args.paths for file in _files(path)]
    findings = [line for file in files for line in _findings(file)]
    findings += [line for path in args.paths if (path / "animals").is_dir() for line in _herd(path)]
    for line in findings:
        print(visible(line))
    cards = sum(len(list((path / "animals").glob("*.jsonl"))) for path in args.paths)
    say(f"{len(files) + cards} files read, {len(findings) or 'no'} finding{'' if len(findings) == 1 else 's'}")
    return 1 if findings else 0


def _files(path: Path) -> list[Path]:
    if path.is_file():
        return [path]
    if not path.is_dir():
        raise Refusal(f"{path}: is not there; name a workspace or a file")
    folders = [path / name for name in ("ethograms", "sessions") if (path / name).is_dir()] or [path]
    return [
        file
        for folder in folders
        for file in sorted(folder.iterdir())
        if file.is_file() and not file.name.startswith(".") and file.suffix != ".torn"
    ]


def _herd(workspace: Path) -> Iterator[str]:
    """Yield what is wrong with the cards, each alone and all together; sessions are told of by `_findings`."""
    known = animals.read(workspace)
    folder = str(workspace / "animals")
    yield from (fault for fault in known.faults if fault.startswith(folder))
    yield from animals.questions(known)
    try:
        pedigree.founders_first(known.cards, known.parents)
    except Refusal as refusal:
        yield str(refusal)


def _findings(file: Path) -> list[str]:
    try:
        if file.suffix == ".toml":
            ethogram.read(file)
            return []
        read = session.read(file)
    except Refusal as refusal:
        return str(refusal).splitlines()
    return [*read.faults, *(f"{file}: {remark}" for remark in read.fold.remarks)]
