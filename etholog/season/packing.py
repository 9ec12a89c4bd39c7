"""Rows as one file of npy columns (a zip, so that each has a checksum), and back: what a cache keeps."""

import json
from collections.abc import Iterable
from functools import cache
from typing import IO, Any

import numpy as np

from etholog import ethogram, session
from etholog.base import journal
from etholog.base.cache import code
from etholog.season import rows
from etholog.season.rows import NUMBER_COLUMNS, TEXT_COLUMNS, Rows

_BOUTS = ("code", "qualifier", "onset", "offset", "whole", "sure", "n")
_GAPS = ("onset", "offset", "why")


def pack(file: IO[bytes], found: Rows, **more: Any) -> None:
    """Write rows, and what `more` arrays there are. Raises OSError."""
    told = {
        "said": found.said,
        "ethograms": [kept.plain() for kept in found.ethograms],
        "codes": found.codes,
        "qualifiers": found.qualifiers,
        "whys": found.whys,
    }
    columns: dict[str, Any] = {
        f"{kind}_{name}": _narrow(column)
        for kind, group in (("session", found.counted), ("bout", found.bouts), ("gap", found.gaps))
        for name, column in group.items()
    }
    columns["schema"] = np.frombuffer(_schema(), dtype=np.uint8)
    columns["told"] = np.frombuffer(json.dumps(told, separators=(",", ":")).encode(), dtype=np.uint8)
    np.savez(file, allow_pickle=False, **columns, **more)


def unpack(file: IO[bytes], more: Iterable[str] = ()) -> tuple[Rows, dict[str, Any]] | None:
    """Return the rows, and the `more` arrays by name; None where it is not what this same program packed, whole."""
    # Whatever a damaged file makes zipfile, numpy or json raise means the same.
    try:
        with np.load(file, allow_pickle=False) as kept:
            if bytes(kept["schema"]) != _schema():
                return None
            told = json.loads(bytes(kept["told"]))
            found = Rows(
                {name: told["said"][name] for name in TEXT_COLUMNS},
                {name: kept[f"session_{name}"] for name in NUMBER_COLUMNS},
                [ethogram.from_plain(plain) for plain in told["ethograms"]],
                told["codes"],
                told["qualifiers"],
                told["whys"],
                {name: kept[f"bout_{name}"] for name in _BOUTS},
                {name: kept[f"gap_{name}"] for name in _GAPS},
            )
            return (found, {name: kept[name] for name in more}) if _consistent(found) else None
    except Exception:
        return None


def _narrow(column: Any) -> Any:
    """Return whole numbers in as few bits as hold them."""
    if column.dtype == bool or not len(column):
        return column
    least, most = int(column.min()), int(column.max())
    for kind in (np.int8, np.int16, np.int32):  # never without a sign: differences are taken of these
        if np.iinfo(kind).min <= least and most <= np.iinfo(kind).max:
            return column.astype(kind)
    return column


def _consistent(found: Rows) -> bool:
    """Return whether every number points at something: a sound zip may still hold nonsense."""
    counted = found.counted
    lengths = {len(column) == len(found) for column in found.said.values()}
    lengths |= {len(column) == len(found) for column in counted.values()}
    lengths |= {len(column) == counted["bouts"].sum() for column in found.bouts.values()}
    lengths |= {len(column) == counted["gaps"].sum() for column in found.gaps.values()}
    pointers = (
        (found.bouts["code"], 0, len(found.codes)),
        (found.bouts["qualifier"], -1, len(found.qualifiers)),
        (found.gaps["why"], 0, len(found.whys)),
        (counted["ethogram"], 0, len(found.ethograms)),
        (counted["bouts"], 0, np.inf),
        (counted["gaps"], 0, np.inf),
    )
    sound = all(not len(column) or (least <= column.min() and column.max() < end) for column, least, end in pointers)
    return lengths <= {True} and sound


@cache
def _schema() -> bytes:
    return code([ethogram, journal, rows, session])
