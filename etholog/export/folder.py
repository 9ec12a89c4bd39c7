"""An export's folder: written whole under another name, then renamed; never over a folder that no export made."""

import json
import os
from collections.abc import Callable, Collection, Iterator
from pathlib import Path
from typing import Any

import pandas as pd

from etholog.base import system
from etholog.base.atomic import workroom
from etholog.base.files import read as read_file
from etholog.base.files import remedy
from etholog.base.library import needed
from etholog.base.refusal import Finding, Refusal
from etholog.export import darwin, datapackage, deposit, files, parquet
from etholog.export.columns import TABLES
from etholog.export.deposit import Deposit
from etholog.export.plain import plain
from etholog.export.tables import tables
from etholog.season import Season

CODEBOOK = "codebook.md"
LIBRARIES = {"parquet": ("pyarrow", "Parquet"), "xlsx": ("openpyxl", "XLSX")}
# The tables that grow with each key pressed, and so are in parts by month.
LONG = ("bouts", "marks")


def lacking(form: str) -> Finding | None:
    """Return what to install for a form of tables, where its library is not there."""
    try:
        needed(*LIBRARIES[form])
    except Refusal as refusal:
        return refusal.findings[0]
    return None


def write(
    season: Season,
    to: Path | str,
    also: Collection[str] = (),
    defuse: bool = False,
    paper: bool = False,
    interval: str | None = None,
    how: Deposit | None = None,
) -> list[Path]:
    """Write the season's tables into the new folder `to` and return its files.

    Always as CSV with a datapackage.json; `also` as "parquet" or "xlsx". `paper`: with a paper's kit about `interval`
    (not given: courtship), see `export.paper`. `defuse` puts an apostrophe before text in
    the CSV that a spreadsheet would run. An earlier export there is replaced; Refusal for anything else that is
    there. `how`: for a data archive: with licence, creators, codebook and Darwin Core, and what is left out left out.
    """
    if season.sessions.empty and season.cards.empty:
        raise Refusal(f"{season.folder}: no session and no card to export; name a workspace that has one")
    if season.sessions.empty and paper:
        raise Refusal(f"{season.folder}: no session for a paper; leave out --paper")
    check(Path(to))  # before the work, and again when it is done
    found = tables(season)
    if how:
        found = deposit.veiled(found, season, how) | darwin.tables(season) | {"darwin_core": darwin.mapping()}
    made = {name: plain(name, frame) for name, frame in found.items()}

    def fill(folder: Path) -> None:
        for name, (frame, types) in made.items():
            files.csv(frame, types, folder / f"{name}.csv", defuse)
        if "parquet" in also:
            for name, (frame, types) in made.items():
                month = frame["session"].map(_months(made["sessions"][0])) if name in LONG else None
                parquet.write(name, frame, types, folder / "parquet", month)
        if "xlsx" in also:
            files.workbook(made, TABLES, folder / "tables.xlsx")
        if paper:
            from etholog.export import paper as kit

            kit.write(season, folder / kit.FOLDER, interval)
        if how:
            (folder / CODEBOOK).write_text(deposit.codebook(made, how), encoding="utf-8", newline="\n")
        described = datapackage.descriptor(made, folder, how.says if how else None)
        text = json.dumps(described, ensure_ascii=False, indent=1) + "\n"
        (folder / datapackage.NAME).write_text(text, encoding="utf-8", newline="\n")

    return replace(Path(to), fill)


def _months(sessions: pd.DataFrame) -> pd.Series:
    """Return the month in which each session began, by its name."""
    return sessions.set_index("session")["date"].map(lambda day: day.isoformat()[:7])


def replace(to: Path, fill: Callable[[Path], None]) -> list[Path]:
    """Let `fill` fill a new folder beside `to`, then put it there in one step; on any failure leave all as it was."""
    check(to)
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        with workroom(to) as room:
            _replaced(to, room / "new", room / "old", fill)
    except OSError as error:
        raise Refusal(
            f"{to}: can't be written ({error.strerror or error}), nothing was changed; {remedy(error)}"
        ) from error
    return sorted(path for path in to.rglob("*") if path.is_file())


def _replaced(to: Path, new: Path, old: Path, fill: Callable[[Path], None]) -> None:
    new.mkdir()
    fill(new)
    for path in sorted(new.rglob("*")):
        if path.is_dir():
            system.sync_folder(path)
        else:
            with path.open("rb+") as written:
                system.sync(written.fileno())
    system.sync_folder(new)
    check(to)  # somebody may have been there meanwhile
    if to.exists():
        to.rename(old)
        try:
            new.rename(to)
        except OSError:
            old.rename(to)
            raise
    else:
        new.rename(to)
    system.sync_folder(to.parent)


def check(to: Path) -> None:
    """Raise Refusal where an export must not go: something is there that no export wrote, or that was changed
    since."""
    if not os.path.lexists(to):
        return
    wrote = None if to.is_symlink() else _written(to)
    if wrote is None:
        raise Refusal(f"{to}: is there already and no export made it; name a folder that is not there")
    for path in _all(to):
        name = path.relative_to(to).as_posix()
        if name not in wrote:
            raise Refusal(f"{path}: no export wrote this; move it away, or name another folder")
        if path.is_symlink() or not path.is_file() or wrote[name] not in (None, datapackage.digest(path)):
            raise Refusal(f"{path}: was changed since the export wrote it; move it away, or name another folder")


def _all(folder: Path) -> Iterator[Path]:
    """Yield what lies in a folder and below it, but for folders that have something in them."""
    for path in sorted(folder.iterdir()):
        if path.is_dir() and not path.is_symlink() and any(path.iterdir()):
            yield from _all(path)
        else:
            yield path


def _written(to: Path) -> dict[str, str | None] | None:
    """Return the files that an export says it wrote, with their digests; None where none made this folder."""
    try:
        said: Any = json.loads(read_file(to / datapackage.NAME))
        told = [*said["resources"], *said["etholog"]["more"]]
        return {datapackage.NAME: None} | {str(one["path"]): str(one["hash"]) for one in told}
    except (OSError, ValueError, LookupError, TypeError, RecursionError):
        return None
