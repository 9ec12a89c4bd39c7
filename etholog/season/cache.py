"""What the sessions of a large folder came to when they were last read, kept beside them.

One hidden file in a hidden folder. It is only ever a shortcut: a
session counts as known while its file has the name, size and times that it had when it was read, and by the same
program; whatever is wrong with the cache, the files are read instead.
"""

import time
from collections.abc import Mapping
from contextlib import suppress
from os import stat_result
from pathlib import Path
from struct import Struct

import numpy as np

from etholog.base.atomic import replacing
from etholog.base.refusal import Refusal
from etholog.season import packing, rows
from etholog.season.rows import Rows

AT_LEAST = 300  # sessions; fewer are read before anybody could feel it
FOLDER, FILE = ".etholog-cache", "season.npz"
_SETTLED_S = 2.0  # a file changed less than this ago could change again within one tick of its clock


# What a file looks like from outside: its size, its time, and the time of change, which tells of a content put back
# under its old time; in ns. As bytes, ten thousand of them are nothing to Python's collector of garbage.
Stamp = bytes
_STAMP = Struct("<3q")


def stamp(seen: stat_result) -> Stamp:
    """Return the stamp of a file."""
    return _STAMP.pack(seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns)


def load(folder: Path, stamps: Mapping[str, Stamp]) -> tuple[Rows, bool]:
    """Return the rows of those files that are as they were when they were read, and whether that is all that is
    kept. None at all where there is no cache, or anything is wrong with it."""
    kept = None
    with suppress(OSError), (folder / FOLDER / FILE).open("rb") as file:
        kept = packing.unpack(file, ["stamps"])
    if kept is None:
        return rows.gather([]), False
    found, then = kept[0], bytes(kept[1]["stamps"])
    names, each = found.said["name"], _STAMP.size
    if len(then) != each * len(found):
        return rows.gather([]), False
    same = [at for at, name in enumerate(names) if stamps.get(name) == then[each * at : each * (at + 1)]]
    return rows.take(found, same), len(same) == len(found)


def save(folder: Path, stamps: Mapping[str, Stamp], found: Rows) -> None:
    """Keep what was read, whole or not at all. A folder that can't be written has no cache, and that is no error."""
    before = time.time_ns() - int(_SETTLED_S * 1e9)
    settled = [at for at, name in enumerate(found.said["name"]) if max(_STAMP.unpack(stamps[name])[1:]) < before]
    found = rows.take(found, settled)
    home = folder / FOLDER
    with suppress(OSError, Refusal):
        home.mkdir(exist_ok=True)
        (home / ".gitignore").write_text("*\n")
        with replacing(home / FILE) as file:
            then = np.frombuffer(b"".join(stamps[name] for name in found.said["name"]), dtype=np.uint8)
            packing.pack(file, found, stamps=then)
