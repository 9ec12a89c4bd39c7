"""Sessions of a folder that were never ended."""

from collections.abc import Sequence
from pathlib import Path

from etholog.base import journal
from etholog.session import digest
from etholog.session.digest import Digest
from etholog.session.file import fullest


def broken_off(folder: Path, read: Sequence[Digest] | None = None) -> list[Path]:
    """Return the sessions of a folder that hold no end, the latest first; one that is being recorded, or can't be read,
    is not among them. `read`: the folder's digests, where they were read already."""
    found = digest.read(folder)[0] if read is None else read
    meant = [found[at] for at in fullest(one.as_copy for one in found).values()]
    latest = sorted((one for one in meant if not one.closed), key=lambda one: (one.began, one.name), reverse=True)
    return [path for path in (folder / one.name for one in latest) if not journal.is_held(path)]
