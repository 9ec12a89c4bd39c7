"""The names that a shell completes: what this workspace has, found without reading any file as a whole.

Its journals and ethograms are searched, not read, and nothing is imported for it: a shell waits at each press of Tab,
and what can't be read completes nothing.
"""

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

from etholog.base.shipped import folder as shipped_folder

# The last sessions: a season's, and soon looked through.
SESSIONS, HEAD_BYTES = 300, 2000
# What no shell takes for anything but a word: names come from files that somebody sent.
_PLAIN = re.compile(r"[\w.,:@+][\w.,:@+-]*")
_ANIMAL = re.compile(rb'"(?:male|female|id)":("(?:[^"\\]|\\.)*")')
_MATE = re.compile(rb'"(?:male|female)":("(?:[^"\\]|\\.)*")')
_CONDITIONS = re.compile(rb'"conditions":(\{[^{}]*\})')
_COLUMNS = ("male", "female", "species", "observer", "place", "source", "ethogram")


def names(what: str, workspace: Path) -> list[str]:
    """Return the names of one kind that a workspace has, those that a shell can complete, in order.

    >>> names("intervals", Path("examples/season"))[:3]
    ['answer', 'clasp', 'contact']
    """
    return sorted({name for name in KINDS[what](workspace) if _PLAIN.fullmatch(name)})


def _animals(workspace: Path) -> Iterator[str]:
    for file in (workspace / "animals").glob("*.jsonl"):
        yield from _words(_ANIMAL, _head(file))
    for head in _heads(workspace):
        yield from _words(_MATE, head)


def _columns(workspace: Path) -> Iterator[str]:
    yield from _COLUMNS
    for head in _heads(workspace):
        for found in _CONDITIONS.finditer(head):
            yield from json.loads(found[1])


def _behaviours(workspace: Path) -> Iterator[str]:
    yield from _in_ethograms(workspace, "behaviour", "code")


def _intervals(workspace: Path) -> Iterator[str]:
    yield from _in_ethograms(workspace, "interval", "name")


def _ethograms(workspace: Path) -> Iterator[str]:
    return (file.stem for file in _files(workspace))


def _files(workspace: Path) -> Iterator[Path]:
    for folder in (workspace / "ethograms", shipped_folder("ethograms")):
        yield from folder.glob("*.toml")


def _in_ethograms(workspace: Path, table: str, member: str) -> Iterator[str]:
    member_of = re.compile(rf'^\[\[{table}\]\][^\[]*?^{member} *= *"([^"]*)"', re.MULTILINE)
    for file in _files(workspace):
        if file.is_file():
            yield from member_of.findall(file.read_text(encoding="utf-8", errors="replace"))


def _heads(workspace: Path) -> Iterator[bytes]:
    for file in sorted((workspace / "sessions").glob("*.jsonl"))[-SESSIONS:]:
        yield _head(file)


def _head(file: Path) -> bytes:
    if not file.is_file():  # a pipe would wait for ever
        return b""
    with file.open("rb") as opened:
        return opened.read(HEAD_BYTES).partition(b"\n")[0]


def _words(pattern: re.Pattern[bytes], line: bytes) -> Iterator[str]:
    for found in pattern.finditer(line):
        yield str(json.loads(found[1]))


def _languages(_: Path) -> Iterator[str]:
    from etholog.base.catalogues import languages

    yield from languages()


KINDS: dict[str, Callable[[Path], Iterator[str]]] = {
    "animals": _animals,
    "behaviours": _behaviours,
    "columns": _columns,
    "ethograms": _ethograms,
    "intervals": _intervals,
    "languages": _languages,
}
