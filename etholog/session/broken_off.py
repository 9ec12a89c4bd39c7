"""Sessions of a folder that were never ended."""

from pathlib import Path

from etholog.base import files, journal
from etholog.base.refusal import Refusal
from etholog.session.record import FORMATS

_END = b'"do":"close"'


def broken_off(folder: Path) -> list[Path]:
    """Return the sessions of a folder that hold no end, the latest first; one that is being recorded is among them."""
    found = []
    for name in reversed(files.listed(folder, ".jsonl")[0]):
        path = folder / name
        try:
            if _END not in files.read(path) and journal.decoded(journal.first(path)).get("format") in FORMATS:
                found.append(path)
        except (Refusal, ValueError):
            continue  # `etholog check` tells what is wrong with it
    return found
