"""What the sessions of a large folder came to when they were last read, kept beside them.

A hidden file of npy columns (a zip, so that each has a checksum) in a hidden folder. It is only ever a shortcut: a
session counts as known while its file has the name, size and times that it had when it was read, and by the same
program; whatever is wrong with the cache, the files are read instead.
"""

import json
import os
import tempfile
import time
from collections.abc import Mapping
from contextlib import suppress
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from etholog import ethogram, fold, journal, record, rows, session
from etholog.rows import Facts, Rows

AT_LEAST = 300  # sessions; fewer are read before anybody could feel it
FOLDER, FILE = ".etholog-cache", "season.npz"
_SETTLED_S = 2.0  # a file changed less than this ago could change again within one tick of its clock
_BOUTS = ("code", "qualifier", "onset", "offset", "whole", "sure", "n")
_GAPS = ("onset", "offset", "why")


class Stamp(NamedTuple):
    """What a file looks like from outside. The time of change tells of a content put back under its old time."""

    size: int
    mtime_ns: int
    ctime_ns: int


def stamp(entry: "os.DirEntry[str]") -> Stamp:
    """Return the stamp of a file. Raises OSError when it is gone."""
    seen = entry.stat()
    return Stamp(seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns)


def load(folder: Path, stamps: Mapping[str, Stamp]) -> tuple[Rows, bool]:
    """Return the rows of those files that are as they were when they were read, and whether that is all that is
    kept. None at all where there is no cache, or anything is wrong with it."""
    # Whatever a damaged file makes zipfile, numpy or json raise means the same: there is no cache.
    with suppress(Exception), (folder / FOLDER / FILE).open("rb") as file, np.load(file, allow_pickle=False) as kept:
        if bytes(kept["schema"]) != _schema():
            return _nothing()
        told = json.loads(bytes(kept["told"]))
        found = Rows(
            [Facts(*one) for one in told["facts"]],
            [ethogram.from_plain(plain) for plain in told["ethograms"]],
            told["codes"],
            told["qualifiers"],
            told["whys"],
            {name: kept[f"bout_{name}"] for name in _BOUTS},
            {name: kept[f"gap_{name}"] for name in _GAPS},
        )
        then = kept["stamps"].tolist()
        if len(then) != len(found.facts) or not _consistent(found):
            return _nothing()
        same = [at for at, one in enumerate(found.facts) if stamps.get(one.name) == tuple(then[at])]
        return rows.take(found, same), len(same) == len(then)
    return _nothing()


def _nothing() -> tuple[Rows, bool]:
    return rows.gather([]), False


def save(folder: Path, stamps: Mapping[str, Stamp], found: Rows) -> None:
    """Keep what was read, whole or not at all. A folder that can't be written has no cache, and that is no error."""
    before = time.time_ns() - int(_SETTLED_S * 1e9)
    settled = [at for at, one in enumerate(found.facts) if max(stamps[one.name][1:]) < before]
    found = rows.take(found, settled)
    told = {
        "facts": found.facts,
        "ethograms": [kept.plain() for kept in found.ethograms],
        "codes": found.codes,
        "qualifiers": found.qualifiers,
        "whys": found.whys,
    }
    columns: dict[str, Any] = {f"bout_{name}": _narrow(column) for name, column in found.bouts.items()}
    columns |= {f"gap_{name}": _narrow(column) for name, column in found.gaps.items()}
    columns["schema"] = np.frombuffer(_schema(), dtype=np.uint8)
    columns["told"] = np.frombuffer(json.dumps(told, separators=(",", ":")).encode(), dtype=np.uint8)
    columns["stamps"] = np.array([stamps[one.name] for one in found.facts], dtype=np.int64).reshape(-1, 3)
    with suppress(OSError):
        home = folder / FOLDER
        home.mkdir(exist_ok=True)
        (home / ".gitignore").write_text("*\n")
        _write(home, columns)


def _write(home: Path, columns: dict[str, Any]) -> None:
    descriptor, name = tempfile.mkstemp(dir=home, suffix=".part")
    try:
        with os.fdopen(descriptor, "wb") as file:
            np.savez(file, allow_pickle=False, **columns)
        Path(name).replace(home / FILE)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise


def _narrow(column: Any) -> Any:
    """Return milliseconds in 32 bits where they fit, as those of all but sessions of weeks do."""
    fits = column.dtype == np.int64 and (not len(column) or abs(int(column.max())) < 2**31 > abs(int(column.min())))
    return column.astype(np.int32) if fits else column


def _consistent(found: Rows) -> bool:
    """Return whether every number points at something: a sound zip may still hold nonsense."""
    bouts, gaps = sum(one.bouts for one in found.facts), sum(one.gaps for one in found.facts)
    lengths = {len(column) == bouts for column in found.bouts.values()}
    lengths |= {len(column) == gaps for column in found.gaps.values()}
    pointers = (
        (found.bouts["code"], 0, len(found.codes)),
        (found.bouts["qualifier"], -1, len(found.qualifiers)),
        (found.gaps["why"], 0, len(found.whys)),
        (np.array([one.ethogram for one in found.facts], dtype=np.int64), 0, len(found.ethograms)),
    )
    sound = all(not len(column) or (least <= column.min() and column.max() < end) for column, least, end in pointers)
    return lengths <= {True} and sound


@cache
def _schema() -> bytes:
    """Return a digest of the code that makes rows of files: what another version read may have read otherwise."""
    digest = sha256()
    for module in (ethogram, fold, journal, record, rows, session):
        file = Path(str(module.__file__))
        for part in sorted(file.parent.glob("*.py")) if file.name == "__init__.py" else [file]:
            digest.update(part.read_bytes())
    return digest.digest()
