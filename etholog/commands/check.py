"""`etholog check`: read everything in a workspace and say what is wrong, a line each."""

import argparse
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base import journal, rescue
from etholog.base.files import listed
from etholog.base.refusal import Finding, Refusal
from etholog.base.text import many
from etholog.commands.output import add_json, as_json, finding_data, say, tell
from etholog.recording import settings

if TYPE_CHECKING:
    from etholog.ethogram import Ethogram, Hand
    from etholog.session import Copy, Session


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("paths", nargs="*", type=Path, metavar="PATH", help="workspaces or files (default: here)")
    parser.add_argument("--folder", type=Path, help="a workspace, as in other commands")
    parser.add_argument("--keys", metavar="ETHOGRAM", help="instead: which keys of an ethogram are free for each hand")
    add_json(parser)
    parser.epilog = (
        "examples:\n  etholog check               all sessions and ethograms of this folder"
        "\n  etholog check --keys ethograms/own.toml"
    )


def run(args: argparse.Namespace) -> int:
    """Print a line for each finding to stdout and a summary to stderr; 1 when there was a finding."""
    from etholog import ethogram
    from etholog.session import Session

    if args.keys is not None:
        return _keys(ethogram.read(ethogram.find(args.keys, args.folder or Path())), args.json)
    args.paths += [args.folder] if args.folder else [] if args.paths else [Path()]
    files, findings = _files(args.paths)
    beside: dict[Path, list[tuple[Path, Copy, bool]]] = {}
    for file in files:
        read, own = _read(file)
        findings += own
        if isinstance(read, Session):
            beside.setdefault(file.parent, []).append((file, read.as_copy, read.fold.closed))
    findings += [found for sessions in beside.values() for found in _unended(sessions)]
    mistakes = sum(copy.is_accident for sessions in beside.values() for _, copy, _ in sessions)
    cards = [path / "animals" / name for path in args.paths for name in listed(path / "animals", ".jsonl")[0]]
    findings += rescue.waiting([*(file for file in files if file.suffix != ".toml"), *cards])
    findings += [found for path in args.paths for found in settings.read(path)[1]]
    findings += [found for path in args.paths if path.is_dir() for found in _herd(path)]
    if args.json:
        read_in_all = len(files) + len(cards)
        print(as_json({"files": read_in_all, "mistakes": mistakes, "findings": [*map(finding_data, findings)]}))
    else:
        tell(*map(str, findings))
    if mistakes:
        say(f"{many(mistakes, 'session')} begun by mistake: kept, and counted for nothing")
    found_in_all = many(len(findings), "finding") if findings else "no findings"
    say(f"{many(len(files) + len(cards), 'file')} read, {found_in_all}")
    return 1 if findings else 0


def _keys(kept: "Ethogram", json: bool) -> int:
    from etholog.ethogram import free_keys, recoded_from
    from etholog.ethogram.own_keys import Act, place_of

    hands: tuple[Hand, Hand] = ("left", "right")
    keyless = [b.code for b in kept.behaviour if b.key is None and not any(choice.key for choice in b.choices)]
    if json:
        print(as_json({"free": {hand: list(free_keys(kept.behaviour, hand)) for hand in hands}, "without": keyless}))
        return 0
    for hand in hands:
        free = " ".join(free_keys(kept.behaviour, hand))
        print(f"{hand} hand: {len(kept.layout(hand))} keys taken; free: {free or 'none'}")
    by = recoded_from(kept.behaviour)
    other = " or ".join(place_of(Act.OTHER, hand) for hand in hands)
    for code in keyless:
        how = (
            f"the key of {by[code]}, then {other}"
            if code in by
            else f'give it one, or write resembles = "{code}" at an act that has one'
        )
        print(f"without a key: {code} ({how})")
    return 0


def _files(paths: Sequence[Path]) -> tuple[list[Path], list[Finding]]:
    """Return all sessions and ethograms of workspaces, and the files named; and what can't be one."""
    found: list[Path] = []
    findings: list[Finding] = []
    for path in paths:
        if path.is_dir():
            for folder in [path / name for name in ("ethograms", "sessions") if (path / name).is_dir()] or [path]:
                names, odd = listed(folder)
                found += [folder / name for name in names]
                findings += odd
        elif path.exists() or path.is_symlink():
            found.append(path)
        else:
            raise Refusal(f"{path}: is not there; name a workspace or a file")
    return found, findings


def _herd(workspace: Path) -> Iterator[Finding]:
    """Yield what is wrong with the cards, each alone and all together; sessions are told of by `_read`."""
    from etholog import animals
    from etholog.animals import naming

    known = animals.read(workspace)
    yield from (found for found in known.findings if found.path and found.path.parent.name == "animals")
    yield from animals.questions(known)
    yield from naming.twins(known)


def _read(file: Path) -> "tuple[Session | Ethogram | None, list[Finding]]":
    """Return what a file holds, None where it can't be read, and what is wrong with it."""
    from etholog import ethogram, session

    try:
        if file.suffix == ".toml":
            kept = ethogram.read(file)
            return kept, _without_role(file, kept)
        read = session.read(file)
    except Refusal as refusal:
        return None, list(refusal.findings)
    remarks = [remark._replace(path=file) for remark in read.fold.remarks]
    return read, [*read.findings, *remarks, *_without_role(file, read.ethogram)]


def _unended(sessions: "Sequence[tuple[Path, Copy, bool]]") -> Iterator[Finding]:
    """Yield which of a folder's sessions hold no end, of (file, copy, whether it holds one), and which files are copies
    of others: nobody is to go on with those."""
    from etholog import session

    kept = session.fullest(copy for _, copy, _ in sessions)
    for at, (file, copy, closed) in enumerate(sessions):
        if kept[copy.id] != at:
            counts = sessions[kept[copy.id]][0]
            yield session.again(file, copy.id, counts.name)
            if own := len(set(journal.read(file).bodies) - set(journal.read(counts).bodies)):
                what = f"holds {many(own, 'record')} that {counts.name} lacks: it was changed on two machines"
                remedy = (
                    f"etholog show prints each; etholog amend {counts} adds what is missing; then take this one away"
                )
                yield Finding(what, remedy, file)
        elif not closed and not journal.is_held(file):
            yield Finding("was broken off, not ended", f"go on with it, or end it: etholog resume {file}", file)


def _without_role(file: Path, kept: "Ethogram") -> list[Finding]:
    # Who writes roles may leave one out; who never heard of them must be told.
    from etholog.ethogram import FORMAT_1, NEEDED

    missing = "" if kept.format != FORMAT_1 else kept.missing(*NEEDED)
    return [Finding(missing, path=file)] if missing else []
