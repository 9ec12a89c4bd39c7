"""What a report is made of, before it is a page."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import pandas as pd

from etholog.base.language import gettext, number
from etholog.base.text import readable, short_number

LONGEST_TEXT = 1000


class HasHTML(Protocol):
    """What says itself how it stands in a page, as templates ask."""

    def __html__(self) -> str: ...


def shown(text: str) -> str:
    """Return what somebody typed as the page shows it: nothing that turns or hides text, and not without end."""
    return readable(text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - 1] + "…")


@dataclass(frozen=True)
class Cell:
    """What a cell shows, and by what it is sorted; both empty where nothing is known."""

    text: str
    sort: str


@dataclass(frozen=True)
class Column:
    """A column's head; numbers stand at the right."""

    head: str
    number: bool


@dataclass(frozen=True)
class Table:
    """A table that readers can sort."""

    caption: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Cell]]

    @property
    def wide(self) -> bool:
        """Whether a telephone shows only a part of it at a time."""
        return len(self.columns) > 4


@dataclass(frozen=True)
class Picture:
    """A figure as SVG, drawn for a wide and for a narrow page, and the words under it."""

    wide: HasHTML
    narrow: HasHTML
    caption: str


@dataclass(frozen=True)
class Span:
    """Where something lies in a lane, in percent of the lane's width; `kind` is how it is drawn."""

    left: str
    width: str
    kind: str


@dataclass(frozen=True)
class Lane:
    """A lane of a strip: whose it is, what it is called, what lies in it, and what that comes to."""

    actor: str
    name: str
    spans: Sequence[Span]
    total: str


@dataclass(frozen=True)
class Strip:
    """A session against time. `times`: where the clock's figures stand, in percent; `moments`: (percent, sign)."""

    anchor: str
    name: str
    lanes: Sequence[Lane]
    gaps: Sequence[Span]
    times: Sequence[tuple[str, str]]
    moments: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class Step:
    """A rung of the ladder of evidence; `reached`: it is the one that the session reached."""

    words: str
    reached: bool


@dataclass(frozen=True)
class Section:
    """One question of the job: the answer in a sentence, what shows it, how it was found, and what it can't say."""

    anchor: str
    question: str
    answer: str
    pictures: Sequence[Picture] = ()
    tables: Sequence[Table] = ()
    method: str = ""
    source: str = ""
    cautions: Sequence[str] = ()
    unsaid: str = ""


@dataclass(frozen=True)
class Note:
    """One session: its summary line by line, its small strip and, where it is to be shown, its whole one.

    The small strips of a page are on one scale: a lane for her, one for both, one for him.
    """

    anchor: str
    title: str
    lines: Sequence[str]
    small: Sequence[Lane]
    strip: Strip | None


@dataclass(frozen=True)
class Summary:
    """What happened, on one screen: three figures with their words, and sentences."""

    figures: Sequence[tuple[str, str]]
    sentences: Sequence[str]


@dataclass(frozen=True)
class Evening:
    """What only a page on a single session has: how far it came, all that was marked, and what is to be done next."""

    ladder: Sequence[Step]
    log: Table
    tasks: Table | None
    tasks_word: str


@dataclass(frozen=True)
class Report:
    """All that the page says."""

    title: str
    lede: str
    invented: bool
    summary: Summary
    sections: Sequence[Section]
    notes: Sequence[Note]
    evening: Evening | None = None
    faults: Sequence[str] = field(default_factory=list)


MOST_ROWS = 100


def table(frame: pd.DataFrame, caption: str, heads: Mapping[str, str], most: int = MOST_ROWS, rest: str = "") -> Table:
    """Return the columns named in `heads`, in that order and under those heads.

    Of more than `most` rows the first stand there, and the caption says so; `rest`: which command prints them all.

    >>> [one.text for row in table(pd.DataFrame({"pairs": [5.0, None]}), "", {"pairs": "pairs"}).rows for one in row]
    ['5', '']
    """
    if len(frame) > most:
        of = {"some": most, "all": number(len(frame), ","), "command": rest}
        shown_ = gettext("Shown: the first {some} of {all} rows; all of them: {command}.", **of) if rest else ""
        caption += " " + (shown_ or gettext("Shown: the first {some} of {all} rows.", **of))
    kept = frame[list(heads)].head(most)
    # A column of counts with an empty cell is one of floats in pandas.
    whole = [name for name in heads if kept[name].dtype.kind == "f" and (kept[name].dropna() % 1 == 0).all()]
    kept = kept.astype(dict.fromkeys(whole, "Int64"))
    columns = [Column(gettext(head), kept[name].dtype.kind in "iuf") for name, head in heads.items()]
    rows = [[cell(value) for value in row] for row in kept.itertuples(index=False, name=None)]
    return Table(caption, columns, rows)


def cell(value: Any) -> Cell:
    """Return a value as people read it; missing ones are empty, and sorted last."""
    if isinstance(value, Cell):
        return value
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return Cell("", "")
    if isinstance(value, str):
        return Cell(value, value)
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, bool):
        return Cell(gettext("yes") if value else gettext("no"), str(int(value)))
    if isinstance(value, int):
        return Cell(number(value, ","), str(value))
    if isinstance(value, float):
        return Cell(short_number(value) if math.isfinite(value) else "", repr(value))
    return Cell(str(value), str(value))
