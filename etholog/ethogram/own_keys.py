"""The keys that the screens keep for themselves, each said once: where it lies, where it holds, what it does.

The keys that an ethogram can't have, what a press does, `?`, the line-by-line mode and `etholog help keys` all follow
from this table. Printable keys are named by their place on a QWERTY keyboard, all others by their name.
"""

from collections.abc import Callable
from enum import Enum, Flag, auto
from itertools import groupby
from typing import NamedTuple


class Act(Enum):
    """What a key of the screen's own does."""

    RESCUE = auto()
    UNDO = auto()
    REDO = auto()
    EARLIER = auto()
    OTHER = auto()
    DOUBT = auto()
    AWAY = auto()
    SYNC = auto()
    LINE = auto()
    NOW = auto()
    FOLD = auto()
    KEYS = auto()
    PHONE = auto()
    END = auto()
    SUSPEND = auto()
    HOW_TO_END = auto()
    PLAY = auto()
    SECONDS_BACK = auto()
    SECONDS_ON = auto()
    FASTER = auto()
    SLOWER = auto()
    FRAME_BACK = auto()
    FRAME_ON = auto()
    STRETCH_BACK = auto()
    STRETCH_ON = auto()
    COLUMN_BACK = auto()
    COLUMN_ON = auto()
    MARK_BACK = auto()
    MARK_ON = auto()
    WINDOW_BACK = auto()
    WINDOW_ON = auto()
    FIRST = auto()
    LAST = auto()
    WIDER = auto()
    CLOSER = auto()
    MOVE_BACK = auto()
    MOVE_ON = auto()
    TAKE_OUT = auto()
    ANSWERS = auto()
    LEAVE = auto()


class Where(Flag):
    """Where a key holds: on the strip, line by line, on the strip over a film, on a closed session, on the strip over
    a film that is watched from stretch to stretch."""

    STRIP = auto()
    LINES = auto()
    FILM = auto()
    AMEND = auto()
    STRETCHES = auto()
    LIVE = STRIP | LINES
    FILMS = FILM | STRETCHES
    WATCH = LIVE | FILMS
    ALL = WATCH | AMEND


class OwnKey(NamedTuple):
    """One row: `keys` are places such as "-" or names such as "backspace"; `short` stands in `?`, '' for what is not
    shown there; `long` in `etholog help keys`. Rows of one `short` are shown as one."""

    act: Act
    where: Where
    keys: tuple[str, ...]
    short: str
    long: str = ""

    @property
    def places(self) -> tuple[str, ...]:
        """Those of its keys that print something."""
        return tuple(key for key in self.keys if len(key) == 1)


OWN_KEYS = (
    OwnKey(Act.PLAY, Where.FILMS, (" ",), "play, pause", "plays the film, or pauses it"),
    OwnKey(Act.SECONDS_BACK, Where.FILMS, ("left",), "3 s back", "goes 3 s back"),
    OwnKey(
        Act.SECONDS_ON, Where.FILMS, ("right",), "3 s on, as far as seen", "goes 3 s on, as far as the film was seen"
    ),
    OwnKey(Act.FASTER, Where.FILMS, ("up",), "faster, slower", "plays faster or slower"),
    OwnKey(Act.SLOWER, Where.FILMS, ("down",), "faster, slower", "plays faster or slower"),
    OwnKey(Act.FRAME_BACK, Where.FILM, ("pageup",), "a frame back, on", "goes one frame back or on"),
    OwnKey(Act.FRAME_ON, Where.FILM, ("pagedown",), "a frame back, on", "goes one frame back or on"),
    OwnKey(
        Act.STRETCH_BACK, Where.STRETCHES, ("pageup",), "this stretch again", "goes back to where this stretch begins"
    ),
    OwnKey(
        Act.STRETCH_ON,
        Where.STRETCHES,
        ("pagedown",),
        "the next stretch",
        "goes to the next stretch; what is skipped is a gap, since nobody watched it",
    ),
    OwnKey(
        Act.RESCUE,
        Where.LIVE,
        (" ",),
        "RESCUE",
        "RESCUE: keeps the moment, shows what to do, mutes the prompts",
    ),
    OwnKey(
        Act.FOLD, Where.STRIP, ("`", "\\"), "fold RESCUE away", "folds what to do in a rescue away, or shows it again"
    ),
    OwnKey(Act.UNDO, Where.WATCH, ("backspace", "tab"), "take back", "takes back what was done last; again and again"),
    OwnKey(Act.REDO, Where.WATCH, ("delete",), "bring back", "brings back what was taken back"),
    OwnKey(
        Act.EARLIER,
        Where.ALL,
        ("1", "0"),
        "a second earlier",
        "puts the mark in hand (the last one) a second earlier, once for each press",
    ),
    OwnKey(
        Act.OTHER,
        Where.ALL,
        ("2", "9"),
        "it was another",
        "the mark in hand was the other one: raise and threat, left palp and right, as the ethogram says; where there "
        "is no other one, the next key says what it was",
    ),
    OwnKey(Act.DOUBT, Where.ALL, ("3", "8"), "unsure", "the mark in hand is unsure; again: sure"),
    OwnKey(
        Act.LINE,
        Where.WATCH,
        ("enter",),
        "note, or -12 to move",
        "a note; -12, -90 s or -1:30 puts the mark in hand earlier; while nobody watches, the reason",
    ),
    OwnKey(
        Act.LINE,
        Where.AMEND,
        ("enter",),
        "note, -12 or +3, @2:30",
        "a note; -12, -90 s or +1:30 moves the mark in hand, @2:30 goes to that time",
    ),
    OwnKey(Act.AWAY, Where.WATCH, ("-",), "nobody watches", "nobody watches; any mark, or this key again, ends that"),
    OwnKey(
        Act.AWAY,
        Where.AMEND,
        ("-",),
        "nobody watched, and again",
        "nobody watched from here on; within such a time, somebody watched again from here on",
    ),
    OwnKey(
        Act.SYNC,
        Where.LIVE,
        ("=",),
        "sync with film",
        "a moment that can be seen on the film: a torch flash, a clap",
    ),
    OwnKey(Act.NOW, Where.LINES, ("`", "\\"), "what runs now", "says the time and what runs now"),
    OwnKey(Act.COLUMN_BACK, Where.AMEND, ("left",), "along it", "goes along the session"),
    OwnKey(Act.COLUMN_ON, Where.AMEND, ("right",), "along it", "goes along the session"),
    OwnKey(Act.MARK_BACK, Where.AMEND, ("up",), "from mark to mark", "goes from mark to mark"),
    OwnKey(Act.MARK_ON, Where.AMEND, ("down",), "from mark to mark", "goes from mark to mark"),
    OwnKey(Act.WINDOW_BACK, Where.AMEND, ("pageup",), "a window", "goes a window back or on"),
    OwnKey(Act.WINDOW_ON, Where.AMEND, ("pagedown",), "a window", "goes a window back or on"),
    OwnKey(Act.FIRST, Where.AMEND, ("home",), "to its ends", "goes to the beginning or the end"),
    OwnKey(Act.LAST, Where.AMEND, ("end",), "to its ends", "goes to the beginning or the end"),
    OwnKey(Act.WIDER, Where.AMEND, ("ctrl+up",), "wider, closer", "shows more time at once, or less"),
    OwnKey(Act.CLOSER, Where.AMEND, ("ctrl+down",), "wider, closer", "shows more time at once, or less"),
    OwnKey(Act.MOVE_BACK, Where.AMEND, ("shift+left",), "move it", "moves the mark in hand a second back or on"),
    OwnKey(Act.MOVE_ON, Where.AMEND, ("shift+right",), "move it", "moves the mark in hand a second back or on"),
    OwnKey(Act.TAKE_OUT, Where.AMEND, ("delete",), "take it out", "takes the mark in hand out"),
    OwnKey(Act.UNDO, Where.AMEND, ("backspace", "tab"), "take a change back", "takes the last change back"),
    OwnKey(
        Act.KEYS,
        Where.ALL,
        ("?",),
        "keys; again: meanings",
        "shows these keys; again: the definition of each behaviour, page by page",
    ),
    OwnKey(
        Act.PHONE,
        Where.STRIP,
        ("ctrl+p",),
        "",
        "with --phone: shows the code for the phone, or hides it; lets a second phone in that asks",
    ),
    OwnKey(Act.SUSPEND, Where.STRIP | Where.FILMS, ("ctrl+z",), "", "goes to the shell; fg comes back"),
    OwnKey(Act.HOW_TO_END, Where.STRIP | Where.FILMS, ("ctrl+c", "ctrl+q"), ""),
    OwnKey(Act.END, Where.WATCH, ("escape",), "end, with Enter", "asks whether to end the session; Enter ends it"),
    OwnKey(
        Act.ANSWERS,
        Where.AMEND,
        ("ctrl+e",),
        "how it ended",
        "shows the answers about the session's end, to be changed",
    ),
    OwnKey(Act.LEAVE, Where.AMEND, ("escape",), "leave", "leaves"),
)

# No ethogram can have these.
RESERVED = frozenset(place for own in OWN_KEYS for place in own.places)

_BY_KEY = {(key, where): own.act for own in OWN_KEYS for where in own.where for key in own.keys}
_NAMES = {" ": "Space", "escape": "Esc", "pageup": "Page Up", "pagedown": "Page Down"}


def act_of(key: str, where: Where) -> Act | None:
    """Return what a key does there, given by its place or its name; None for one that is not the screen's own."""
    return _BY_KEY.get((key, where))


def place_of(act: Act, hand: str) -> str:
    """Return where the key lies that does this, of one that each hand has at its own place.

    >>> place_of(Act.OTHER, "left"), place_of(Act.OTHER, "right")
    ('2', '9')
    """
    left, right = next(own.keys for own in OWN_KEYS if own.act is act)
    return right if hand == "right" else left


def rows(where: Where, typed: Callable[[str], str] = lambda place: place) -> list[tuple[str, str, str]]:
    """Return the keys that hold there, as they are called, with what they do, in few words and in full.

    `typed` gives what stands on the key at a place of QWERTY.
    """
    told = []
    for _, same in groupby((own for own in OWN_KEYS if where in own.where), lambda own: (own.short, own.long)):
        group = list(same)
        names = ", ".join(" or ".join(_called(key, typed) for key in own.keys) for own in group)
        told.append((names, group[0].short, group[0].long))
    return told


def _called(key: str, typed: Callable[[str], str]) -> str:
    if key in _NAMES:
        return _NAMES[key]
    return typed(key) if len(key) == 1 else "-".join(_NAMES.get(part, part.title()) for part in key.split("+"))
