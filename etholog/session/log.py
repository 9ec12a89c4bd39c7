"""A session from its first moment to its last: marks, notes, gaps and rescues side by side, each in words."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from etholog.base.clock import clock_face
from etholog.base.language import gettext
from etholog.ethogram import Ethogram
from etholog.session.file import Session
from etholog.session.folding import corrected

SIGNED = ("sync", "note", "rescue")  # what has a sign beside the lanes of a strip; at one place the later hides others


class Entry(NamedTuple):
    """One thing at one instant, in milliseconds since the session began; `kind` is that of its record, `words` are the
    observer's own."""

    t: int
    kind: str
    text: str
    words: str = ""


def mark_words(ethogram: Ethogram, mark: Mapping[str, Any]) -> str:
    """Return what a mark says: the behaviour, its qualifier, and whether it began or ended."""
    behaviour = ethogram.by_code.get(mark["code"])
    label = behaviour.words if behaviour else mark["code"]
    side = f" {gettext(mark['qualifier'])}" if mark.get("qualifier") else ""
    state = behaviour is not None and behaviour.kind == "state"
    if not state:
        return f"{label}{side}"
    ended = mark.get("edge") == "offset"
    what = f"{label}{side}"
    return gettext("{what} ended", what=what) if ended else gettext("{what} began", what=what)


def entries(session: Session) -> Iterator[Entry]:
    """Yield all that an observer put there, as corrected, in the order of its time."""
    for record in corrected(session.records)[0]:
        words = ""
        match record["do"]:
            case "mark":
                unsure = "" if record.get("sure", True) else " " + gettext("(unsure)")
                text = mark_words(session.ethogram, record) + unsure
            case "note":
                words = record["text"]
                text = gettext("note: {words}", words=words)
            case "gap":
                words = record["why"]
                text = gettext("nobody watches: {words}", words=words) if words else gettext("nobody watches")
            case "back":
                text = gettext("watched again")
            case "rescue":
                text = gettext("RESCUE: the keeper stepped in")
            case "sync":
                text = gettext("sync with the film")
            case "stray":
                text = gettext("key {key!r}, without a meaning", key=record["key"])
            case _:
                continue
        yield Entry(record["t"], record["do"], text, words)


def moments(session: Session) -> Iterator[Entry]:
    """Yield what is said in words: notes, rescues, and why nobody watched."""
    for entry in entries(session):
        if entry.kind in ("note", "rescue") or (entry.kind == "gap" and entry.words):
            yield entry


def signs(session: Session) -> list[tuple[int, str]]:
    """Return what a strip shows by a sign beside its lanes: when, in milliseconds, and which of `SIGNED`."""
    return [(entry.t, entry.kind) for entry in entries(session) if entry.kind in SIGNED]


def strikes(session: Session) -> list[int]:
    """Return when she struck or lunged at him, in milliseconds."""
    codes = session.ethogram.codes_of("strike")
    return [bout.onset for bout in session.fold.bouts if bout.code in codes]


def line(entry: Entry) -> str:
    """Return an entry as a line of a log.

    >>> line(Entry(192_000, "note", "note: his left palp is lame"))
    '0:03:12  note: his left palp is lame'
    """
    return f"{clock_face(entry.t)}  {entry.text}"
