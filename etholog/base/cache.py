"""What the files of a large folder came to when they were last read, kept beside them: what every such shortcut shares.

A file counts as known while it has the size and the times that it had when it was read, and was read by the same
program; whatever is wrong with what was kept, the files are read instead.
"""

import json
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from hashlib import sha256
from os import stat_result
from pathlib import Path
from struct import Struct
from types import ModuleType
from typing import Any, BinaryIO, TypeVar

from etholog.base import files
from etholog.base.atomic import replacing
from etholog.base.refusal import Finding, Refusal

Kept = TypeVar("Kept")

# Files, or their bytes; less is read before anybody could feel it.
AT_LEAST, AT_LEAST_BYTES = 300, 4 * 2**20
FOLDER = ".etholog-cache"
_SETTLED_S = 2.0  # a file changed less than this ago could change again within one tick of its clock


def pays(those: Mapping[str, stat_result]) -> bool:
    """Return whether these files are so many, or so large, that keeping what they came to pays."""
    return len(those) >= AT_LEAST or sum(seen.st_size for seen in those.values()) >= AT_LEAST_BYTES


def with_others(
    names: Iterable[str], known: Mapping[str, Kept], read: Callable[[str], Kept]
) -> tuple[dict[str, Kept], list[Finding]]:
    """Return what each of these files came to, in their order: as it is known, else read now; and what is wrong with
    those that can't be read."""
    found: dict[str, Kept] = {}
    findings: list[Finding] = []
    for name in names:
        try:
            found[name] = known[name] if name in known else read(name)
        except Refusal as refusal:
            findings += refusal.findings
    return found, findings


# What a file looks like from outside: its size, its time, and the time of change, which tells of a content put back
# under its old time; in ns. As bytes, ten thousand of them are nothing to Python's collector of garbage.
Stamp = bytes
_STAMP = Struct("<3q")
STAMP_BYTES = _STAMP.size


def stamp(seen: stat_result) -> Stamp:
    """Return the stamp of a file."""
    return _STAMP.pack(seen.st_size, seen.st_mtime_ns, seen.st_ctime_ns)


def settled(names: Iterable[str], stamps: Mapping[str, Stamp]) -> list[int]:
    """Return the places of those files that have not changed just now, so that their stamps can be trusted."""
    before = time.time_ns() - int(_SETTLED_S * 1e9)
    return [at for at, name in enumerate(names) if max(_STAMP.unpack(stamps[name])[1:]) < before]


def code(modules: Iterable[ModuleType]) -> bytes:
    """Return a digest of these modules, and of all that lies in those that are packages: what another version of them
    read, it may have read otherwise."""
    digest = sha256()
    for module in modules:
        file = Path(str(module.__file__))
        for part in sorted(file.parent.glob("*.py")) if file.name == "__init__.py" else [file]:
            digest.update(part.read_bytes())
    return digest.digest()


def keep(folder: Path, name: str, write: Callable[[BinaryIO], None]) -> None:
    """Have a file of the folder's cache written, whole or not at all. A folder that can't be written has no cache, and
    that is no error."""
    home = folder / FOLDER
    with suppress(OSError, Refusal):
        home.mkdir(exist_ok=True)
        files.write_anew(home / ".gitignore", "*\n")
        with replacing(home / name) as file:
            write(file)


def keep_values(folder: Path, name: str, by: bytes, values: Any) -> None:
    """Have plain values kept in a file of the folder's cache; `by` is what must be as it was for them to be so."""
    body = json.dumps(values, separators=(",", ":")).encode()
    keep(folder, name, lambda file: file.writelines((_seal(by, body), b"\n", body)))


def kept_values(folder: Path, name: str, by: bytes) -> Any:
    """Return the plain values that were kept by the same; None where they were not, or are damaged."""
    with suppress(OSError, ValueError):
        head, _, body = files.read(folder / FOLDER / name).partition(b"\n")
        if head == _seal(by, body):
            return json.loads(body)
    return None


def _seal(by: bytes, body: bytes) -> bytes:
    return sha256(by + body).hexdigest().encode()
