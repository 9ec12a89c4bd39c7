"""The description of an export that programs read: a Data Package with Table Schemas (Frictionless Data, version 2)."""

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from etholog import __version__
from etholog.ethogram import ACTORS
from etholog.export.columns import KEYS, POINTS_TO, TABLES, described

NAME = "datapackage.json"
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
ENUMS = {"actor": [*ACTORS], "kind": ["event", "state"], "edge": ["onset", "offset"]}


def descriptor(
    tables: Mapping[str, tuple[pd.DataFrame, dict[str, str]]], folder: Path, says: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Return the descriptor of the tables written into `folder` as CSV; `more` in it are the same in other forms, and
    `says` what else is to be said: licences, contributors."""
    own = {folder / f"{name}.csv" for name in tables}
    more = sorted(path for path in folder.rglob("*") if path.is_file() and path not in own)
    return {
        "$schema": PROFILE,
        "name": "etholog-export",
        "title": "Sessions of etholog",
        "description": "Pairings of spiders, recorded by an ethogram: what was seen, and what it comes to. Times are "
        "seconds since the session began. The fields' units are named by `unit`.",
        **(says or {}),
        "etholog": {
            "version": __version__,
            "more": [{"path": path.relative_to(folder).as_posix(), "hash": digest(path)} for path in more],
        },
        "resources": [_resource(name, types, folder / f"{name}.csv") for name, (_, types) in tables.items()],
    }


def _resource(table: str, types: Mapping[str, str], file: Path) -> dict[str, Any]:
    schema: dict[str, Any] = {"fields": [_field(table, name, kind) for name, kind in types.items()]}
    if table in KEYS:
        schema["primaryKey"] = KEYS[table]
    if table in POINTS_TO:
        schema["foreignKeys"] = [
            {"fields": fields, "reference": {"resource": other, "fields": fields}} for fields, other in POINTS_TO[table]
        ]
    schema["missingValues"] = [""]
    return {
        "name": table,
        "type": "table",
        "path": file.name,
        "description": TABLES[table],
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": file.stat().st_size,
        "hash": digest(file),
        "schema": schema,
    }


def _field(table: str, name: str, kind: str) -> dict[str, Any]:
    known = described(table, name)
    field: dict[str, Any] = {"name": name, "type": kind}
    field["description"] = known.about if known else "As the observers gave it."
    if known and known.unit:
        field["unit"] = known.unit
    constraints: dict[str, Any] = {}
    if name in KEYS.get(table, ()):
        constraints["required"] = True
    if name in ENUMS:
        constraints["enum"] = ENUMS[name]
    if kind == "number" and name.endswith("_s"):
        constraints["minimum"] = 0
    return field | ({"constraints": constraints} if constraints else {})


def digest(file: Path) -> str:
    """Return a file's SHA-256 as a Data Package writes it."""
    return f"sha256:{hashlib.sha256(file.read_bytes()).hexdigest()}"
