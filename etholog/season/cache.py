"""The rows that the sessions of a large folder came to when they were last read, kept beside them."""

from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

import numpy as np

from etholog.base.cache import FOLDER, STAMP_BYTES, Stamp, keep, settled
from etholog.season import packing, rows
from etholog.season.rows import Rows

FILE = "season.npz"


def load(folder: Path, stamps: Mapping[str, Stamp]) -> tuple[Rows, bool]:
    """Return the rows of those files that are as they were when they were read, and whether that is all that is
    kept. None at all where there is no cache, or anything is wrong with it."""
    kept, path = None, folder / FOLDER / FILE
    with suppress(OSError):
        if path.is_file():  # a pipe would keep who opens it waiting
            with path.open("rb") as file:
                kept = packing.unpack(file, ["stamps"])
    if kept is None:
        return rows.gather([]), False
    found, then = kept[0], bytes(kept[1]["stamps"])
    names, each = found.said["name"], STAMP_BYTES
    if len(then) != each * len(found):
        return rows.gather([]), False
    same = [at for at, name in enumerate(names) if stamps.get(name) == then[each * at : each * (at + 1)]]
    return rows.take(found, same), len(same) == len(found)


def save(folder: Path, stamps: Mapping[str, Stamp], found: Rows) -> None:
    """Keep what was read."""
    found = rows.take(found, settled(found.said["name"], stamps))
    then = np.frombuffer(b"".join(stamps[name] for name in found.said["name"]), dtype=np.uint8)
    keep(folder, FILE, lambda file: packing.pack(file, found, stamps=then))
