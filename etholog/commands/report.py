"""`etholog report`: one self-contained HTML page on one session, some, or a whole season."""

import argparse
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from etholog.base.catalogues import asked
from etholog.base.language import speaking
from etholog.base.refusal import Refusal
from etholog.base.text import many, visible
from etholog.base.workspace import root_of, workspace_of
from etholog.commands.output import SESSIONS_TOO, add_folder, add_language, say, working

if TYPE_CHECKING:
    from etholog.animals.care import Task
    from etholog.season import Season
    from etholog.session import Session


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("files", nargs="*", type=Path, metavar="SESSION", help="a session's file")
    parser.add_argument("--season", action="store_true", help="all sessions of the workspace instead")
    add_folder(parser, SESSIONS_TOO)
    parser.add_argument(
        "--strips", action="store_true", help="every session's whole strip, also where there are more than 40"
    )
    add_language(parser)
    parser.add_argument("-o", "--out", type=Path, metavar="FILE", help="the page's file (default: report.html, here)")
    parser.epilog = (
        "examples:\n  etholog report sessions/20260503-211500-M-Basalt-F-Umbra.jsonl --out basalt.html\n"
        "  etholog report --season"
    )


def run(args: argparse.Namespace) -> int:
    """Write the page and name its file; 1 where a session could not be read."""
    with speaking(asked(args.language)):
        return _write(args)


def _write(args: argparse.Namespace) -> int:
    if bool(args.files) == args.season:
        raise Refusal("name the files of one or more sessions, or --season for all of the workspace")

    from etholog import season
    from etholog.report import file, page, svg

    out = args.out or Path("report.html")
    file.check(out)  # before the work, and again when it is done
    folder = season.folder_of(args.folder) if args.season else args.folder
    with svg.processes() as pool:
        found, read = _read(args.files, folder)
        today, whole = date.today() if args.season else None, True if args.strips else None
        with working(f"Drawing {many(len(read.sessions), 'session')}"):
            file.write(page.html(read, found, today, whole, _tasks(found), pool), out)
    print(visible(str(out)))
    say(*read.findings)
    return 1 if read.findings else 0


def _read(files: "list[Path]", folder: Path) -> "tuple[list[Session], Season]":
    """Return the sessions that count of these files, or where there are none of the folder, and their tables."""
    from etholog import season, session
    from etholog.animals import naming

    here = root_of(folder).absolute()
    called = {root: naming.names(root) for root in {here, *map(workspace_of, files)}}
    named = [naming.under(session.read(path), called[workspace_of(path)]) for path in files]
    found, unread = (named, []) if files else season.sessions_in(folder, called[here])
    read = season.of(folder, found, unread, called[here])
    if read.sessions.empty:
        mistakes = [one.mistake for one in named if one.is_accident]
        raise Refusal(*mistakes) if mistakes else Refusal(f"{folder}: no session to report on")
    return [found[at] for at in session.counted_once(one.as_copy for one in found)], read


def _tasks(found: "list[Session]") -> "list[Task]":
    """Return what is to be done for the two of a single session, as the cards were on its day."""
    from etholog import animals, ethogram
    from etholog.animals import care

    if len(found) != 1:
        return []
    one = found[0]
    folder, day = workspace_of(one.path), one.began.date()
    known = animals.read(folder).as_of(day)
    pair = {one.header["male"], one.header["female"]}
    return [task for task in care.due(known, ethogram.at_hand(folder), day) if task.animal in pair]
