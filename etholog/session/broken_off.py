"""Sessions of a folder that were never ended."""

from pathlib import Path

from etholog.base import files
from etholog.base.refusal import Refusal
from etholog.session.file import header

_END = b'"do":"close"'


def broken_off(folder: Path) -> list[Path]:
    """Return the sessions of a folder that hold no end, the latest first; one that is being recorded is among them, one
    that can't be read is not."""
    found = []
    for name in reversed(files.listed(folder, ".jsonl")[0]):
        path = folder / name
        try:
            if _END in files.read(path):
                continue
            header(path)
        except Refusal:
            continue  # a card, or no file of ours; `etholog check` tells what is wrong with it
        found.append(path)
    return found
