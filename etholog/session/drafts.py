"""One constructor for each kind of record that a session's journal takes, so that no misspelt member gets into one.

A draft is a record without its number, which the journal gives it. Times `t` are milliseconds since the session began.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

from etholog.base.journal import Draft, Scalar

if TYPE_CHECKING:
    from etholog.session.record import FilmClip

Edge = Literal["onset", "offset"]
# A random UUID (RFC 9562), as the phone makes it.
TAP_ID = r"^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$"


def mark(t: int, code: str, edge: Edge | None = None, qualifier: str | None = None) -> Draft:
    """Return a mark; `edge` for states alone."""
    return _draft("mark", t=t, code=code, edge=edge, qualifier=qualifier)


def undo(of: int) -> Draft:
    """Return what takes record `of` back."""
    return _draft("undo", of=of)


def move(of: int, t: int) -> Draft:
    """Return what puts record `of` at `t`."""
    return _draft("move", of=of, t=t)


def recode(of: int, code: str, qualifier: str | None = None) -> Draft:
    """Return what gives mark or stray key `of` another code."""
    return _draft("recode", of=of, code=code, qualifier=qualifier)


def doubt(of: int, sure: bool) -> Draft:
    """Return what says whether the observer is sure of mark `of`."""
    return _draft("doubt", of=of, sure=sure)


def note(t: int, text: str, of: int | None = None) -> Draft:
    """Return a note; `of` where it belongs to a record, such as the gap that it explains."""
    return _draft("note", t=t, text=text, of=of)


def stray(t: int, key: str) -> Draft:
    """Return a key that means nothing."""
    return _draft("stray", t=t, key=key)


def repeat(t: int, key: str) -> Draft:
    """Return a key that came again because it was held down."""
    return _draft("repeat", t=t, key=key)


def tap(t: int, name: str, key: str, earliest: int, latest: int, made: Sequence[int]) -> Draft:
    """Return a tap on the phone, called `name`, and the records that it made."""
    return _draft("tap", t=t, id=name, key=key, earliest=earliest, latest=latest, made=list(made))


def gap(t: int, why: str = "") -> Draft:
    """Return the beginning of a time in which nobody watches."""
    return _draft("gap", t=t, why=why)


def back(t: int) -> Draft:
    """Return the end of a gap."""
    return _draft("back", t=t)


def sync(t: int) -> Draft:
    """Return a moment that can be seen on the film."""
    return _draft("sync", t=t)


def rescue(t: int) -> Draft:
    """Return the moment at which the keeper had to step in."""
    return _draft("rescue", t=t)


def prompt(t: int, name: str) -> Draft:
    """Return that a prompt of the ethogram was shown."""
    return _draft("prompt", t=t, name=name)


def clock(t: int, what: str) -> Draft:
    """Return what happened to a clock."""
    return _draft("clock", t=t, what=what)


def film(clips: "Sequence[FilmClip]") -> Draft:
    """Return all the film that there is of the session."""
    return _draft("film", clips=list(clips))


def sound(clips: "Sequence[FilmClip]") -> Draft:
    """Return all the recordings of sound that there are beside the session."""
    return _draft("sound", clips=list(clips))


def close(t: int, outcome: Mapping[str, Scalar] | None = None, wall: datetime | None = None) -> Draft:
    """Return the session's end, with the answers about it."""
    return _draft("close", t=t, wall=None if wall is None else _iso(wall), outcome=dict(outcome or {}))


def at_wall(draft: Draft, wall: datetime) -> Draft:
    """Return a draft with the wall clock's time beside its own, so that a change of that clock can be seen."""
    return Draft({**draft, "wall": _iso(wall)})


def _iso(wall: datetime) -> str:
    return wall.isoformat(timespec="milliseconds")


def _draft(do: str, **members: Any) -> Draft:
    return Draft({"do": do} | {name: value for name, value in members.items() if value is not None})
