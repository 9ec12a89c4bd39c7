"""Sessions of a folder that were never ended."""

from pathlib import Path

from etholog.session import digest


def broken_off(folder: Path) -> list[Path]:
    """Return the sessions of a folder that hold no end, the latest first; one that is being recorded is among them, one
    that can't be read is not."""
    return [folder / one.name for one in reversed(digest.read(folder)[0]) if not one.closed]
