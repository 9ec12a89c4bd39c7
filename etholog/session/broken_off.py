"""Sessions of a folder that were never ended."""

from collections.abc import Sequence
from pathlib import Path

from etholog.session import digest
from etholog.session.digest import Digest


def broken_off(folder: Path, read: Sequence[Digest] | None = None) -> list[Path]:
    """Return the sessions of a folder that hold no end, the latest first; one that is being recorded is among them, one
    that can't be read is not. `read`: the folder's digests, where they were read already."""
    found = digest.read(folder)[0] if read is None else read
    return [folder / one.name for one in reversed(found) if not one.closed]
