"""What a data archive asks for beside the tables: licence, creators, a codebook, Darwin Core; and what is left out."""

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import pandas as pd

from etholog.animals.veil import Veil
from etholog.base import files
from etholog.base.refusal import Finding, Refusal
from etholog.export.columns import TABLES, described
from etholog.season import Season

Places = Literal["left-out", "coarse", "full"]
PLACES = "places.csv"  # of the keeper: place, coarse
# Where the text of a licence stands; of another one its SPDX name alone is written.
LICENCES = {
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/",
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/",
    "CC-BY-SA-4.0": "https://creativecommons.org/licenses/by-sa/4.0/",
    "ODbL-1.0": "https://opendatacommons.org/licenses/odbl/1-0/",
}
_SPDX = re.compile(r"[A-Za-z0-9][A-Za-z0-9.+-]{1,60}", re.ASCII)


@dataclass(frozen=True)
class Deposit:
    """Under which licence (its SPDX name), by whom, and what is left out. `coarse`: what stands for each place."""

    licence: str
    creators: tuple[str, ...]
    people: bool = False
    places: Places = "left-out"
    coarse: Mapping[str, str] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        if not _SPDX.fullmatch(self.licence):
            raise Refusal(f"{self.licence!r} is not the SPDX name of a licence; write one such as CC-BY-4.0")
        if not self.creators or any(not name.strip() or not name.isprintable() for name in self.creators):
            raise Refusal("a deposit names who made it: --creator 'YOUR NAME', once for each")

    @property
    def says(self) -> dict[str, Any]:
        """What a Data Package says of it (version 2)."""
        licence = {"name": self.licence} | ({"path": path} if (path := LICENCES.get(self.licence)) else {})
        return {
            "licenses": [licence],
            "contributors": [{"title": name, "roles": ["creator"]} for name in self.creators],
        }


def coarse(workspace: Path) -> dict[str, str]:
    """Return what the keeper lets stand for each place. Raises Refusal where that table is missing or wrong."""
    path = workspace / PLACES
    try:
        rows = list(csv.DictReader(io.StringIO(files.read(path).decode("utf-8-sig"), newline="")))
    except (UnicodeDecodeError, csv.Error):
        raise Refusal(Finding("can't be read", "save it as CSV in UTF-8", path)) from None
    for line, row in enumerate(rows, 2):
        if not row.get("place") or row.get("coarse") is None:
            raise Refusal(Finding("has no place or no coarse", "columns: place, coarse", path, line))
    return {row["place"]: row["coarse"] for row in rows}


def veiled(tables: Mapping[str, pd.DataFrame], season: Season, how: Deposit) -> dict[str, pd.DataFrame]:
    """Return the tables without people's names and places, as far as these are to be left out."""
    out = dict(tables)
    names = set[str]()
    if "sessions" in out:
        _veil_sessions(out, names, how)
    if "cards" in out:
        veil = Veil(how.places != "full", not how.people, frozenset(name for name in names if len(name) > 1)).seeing(
            (str(kind), str(words)) for kind, words in zip(out["cards"]["entry"], out["cards"]["words"], strict=True)
        )
        cards = out["cards"].copy()
        pairs = zip(cards["entry"], cards["words"], strict=True)
        cards["words"] = [veil.words(str(kind), words) for kind, words in pairs]
        cards["note"] = [veil.prose(note) for note in cards["note"]]
        out["cards"] = cards
    return out


def _veil_sessions(out: dict[str, pd.DataFrame], names: set[str], how: Deposit) -> None:
    """Veil the tables of sessions, and note the names that are left out of them."""
    sessions = out["sessions"].copy()
    if not how.people:
        names |= {str(name) for name in sessions["observer"].dropna()}
        numbers = {name: f"observer {n}" for n, name in enumerate(sorted(names - {""}), 1)}
        sessions["observer"] = [numbers.get(str(name), "") for name in sessions["observer"]]
    if how.places != "full":
        names |= {str(name) for name in sessions["place"].dropna()}
        told = how.coarse if how.places == "coarse" else {}
        sessions["place"] = [told.get(str(name), "") for name in sessions["place"]]
    veil = Veil(how.places != "full", not how.people, frozenset(name for name in names if len(name) > 1))
    own = {name for name in sessions if described("sessions", str(name)) is None}
    for name in own:
        sessions[name] = [veil.prose(cell) if isinstance(cell, str) else cell for cell in sessions[name]]
    out["sessions"] = sessions
    out["marks"] = out["marks"].assign(
        said=[veil.prose(said) if isinstance(said, str) else said for said in out["marks"]["said"]]
    )
    out["gaps"] = out["gaps"].assign(why=[veil.prose(str(why)) for why in out["gaps"]["why"]])


def codebook(made: Mapping[str, tuple[pd.DataFrame, dict[str, str]]], how: Deposit) -> str:
    """Return what each table and column means, to be read by people (Markdown)."""
    if how.people and how.places == "full":
        said = "People's names and places are as they were recorded."
    else:
        said = "People's names, places or both are left out or made coarse; what was written freely may hold others."
    lines = ["# Codebook", "", f"Licence: {how.licence}. By {', '.join(how.creators)}. {said}", ""]
    for table, (frame, types) in made.items():
        lines += [f"## {table}.csv ({len(frame)} rows)", "", TABLES[table], "", "| column | type | unit | meaning |"]
        lines.append("|---|---|---|---|")
        for name, kind in types.items():
            known = described(table, name)
            about = known.about if known else "As the observers gave it."
            cells = (name, kind, (known.unit if known else None) or "", about)
            lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
        lines.append("")
    return "\n".join(lines)
