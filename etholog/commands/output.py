"""How tables and words leave the program: a table for people on a terminal, CSV in a pipe, JSON on request."""

import argparse
import contextlib
import json
import math
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from etholog.base import files
from etholog.base.refusal import Finding, Refusal
from etholog.base.text import many, p_number, percent, portable, short_number, unsafe, visible

if TYPE_CHECKING:
    import pandas as pd

    from etholog.animals import Animals
    from etholog.animals.care import Task
    from etholog.figures import ReproducibleFigure

WIDEST = 110  # columns of words: longer lines are hard to read


def add_json(parser: argparse.ArgumentParser) -> None:
    """Give a command its `--json`."""
    parser.add_argument("--json", action="store_true", help="print every number at full precision, as JSON")


SHUFFLES = 10_000  # as `analysis.permutation` has it, which --help need not load


def add_permutations(parser: argparse.ArgumentParser) -> None:
    """Give a command its `--permutations` and `--seed`."""
    parser.add_argument("--permutations", type=int, default=SHUFFLES, metavar="N", help="shuffles, where not exact")
    parser.add_argument("--seed", type=int, default=0)


def check_permutations(args: argparse.Namespace) -> None:
    """Refuse a `--permutations` of none, before the work."""
    if args.permutations < 1:
        raise Refusal(f"--permutations {args.permutations}: must be 1 or more")


THE_WORKSPACE, SESSIONS_TOO = "the workspace", "workspace or folder of sessions"


def add_folder(parser: argparse.ArgumentParser, what: str = THE_WORKSPACE) -> None:
    """Give a command its `--folder`."""
    parser.add_argument("--folder", type=Path, default=Path(), help=f"{what} (default: here)")


def add_today(parser: argparse.ArgumentParser, what: str = "as if it were that day") -> None:
    """Give a command its `--today`, which `dates.as_of` reads."""
    parser.add_argument("--today", metavar="DATE", help=what)


def add_language(parser: argparse.ArgumentParser) -> None:
    """Give a command its `--language`."""
    parser.add_argument(
        "--language",
        metavar="LANGUAGE",
        help="of what is written, such as de, es, pl (default: as your environment says)",
    )


def add_more(parser: argparse.ArgumentParser) -> None:
    """Give a command its `--more`."""
    parser.add_argument("--more", action="store_true", help="the full tables and every note on them")


def goes_with(needed: str, given: object, **options: object) -> None:
    """Refuse options that would do nothing, since what they belong to was not given.

    >>> goes_with("--signs", None, draw="signs.pdf")
    Traceback (most recent call last):
    etholog.base.refusal.Refusal: --draw goes with --signs: add that, or leave --draw out
    """
    alone = [f"--{name}" for name, value in options.items() if value]
    if alone and not given:
        names = " and ".join(alone)
        raise Refusal(f"{names} {'go' if alone[1:] else 'goes'} with {needed}: add that, or leave {names} out")


def lead(sentences: Iterable[str]) -> None:
    """Print the plain sentences with which a command begins: over the table on a terminal, to stderr in a pipe."""
    if sys.stdout.isatty():
        print()
        tell(*sentences)
    else:
        say(*sentences)


def say(*lines: object) -> None:
    """Print words for the user to stderr, so that a pipe holds nothing but the table."""
    for line in lines:
        print(_wrapped(str(line), sys.stderr), file=sys.stderr)


def tell(*lines: str) -> None:
    """Print words to stdout, where they are what was asked for."""
    for line in lines:
        print(_wrapped(line, sys.stdout))


def wrapped(line: str, width: int) -> str:
    """Return a line made safe and broken between words; what goes on stands behind a list's sign, or deeper than an
    indented line began.

    >>> print(wrapped("  * she has not eaten for weeks", 20))
      * she has not
        eaten for weeks
    """
    import textwrap

    safe = visible(line)
    head = safe[: len(safe) - len(safe.lstrip(" *?"))]
    return textwrap.fill(
        safe[len(head) :],
        width,
        initial_indent=head,
        subsequent_indent=" " * (len(head) if head.strip() or not head else len(head) + 2),
        break_long_words=False,
        break_on_hyphens=False,
    )


def _wrapped(line: str, to: TextIO) -> str:
    """Return a line for a stream: on a terminal broken between words, else as it is."""
    return wrapped(line, min(WIDEST, columns_of(to))) if to.isatty() else visible(line)


def columns_of(to: TextIO) -> int:
    """Return how wide a stream's terminal is; one that does not tell (0) counts as an ordinary one."""
    import os
    import shutil

    try:
        told = int(os.environ.get("COLUMNS") or os.get_terminal_size(to.fileno()).columns)
    except (OSError, ValueError):
        told = 0
    return told if told > 0 else shutil.get_terminal_size().columns


def as_json(value: object) -> str:
    """Return the value as JSON; what is not a number (NaN, missing, infinite) becomes null."""
    text = json.dumps(_plain(value), ensure_ascii=False, indent=2)
    # Whatever is not ASCII stands within a string, where JSON lets an escape stand for it.
    return re.sub(r"[^\n -~]", lambda odd: json.dumps(odd[0])[1:-1] if unsafe(odd[0]) else odd[0], text)


def finding_data(found: Finding) -> dict[str, Any]:
    """Return a finding for JSON: what, remedy, and where: path, line, record."""
    return {**found._asdict(), "path": None if found.path is None else str(found.path)}


def _plain(value: Any) -> Any:
    if hasattr(value, "to_dict") and hasattr(value, "columns"):
        return [{str(name): _plain(cell) for name, cell in row.items()} for row in value.to_dict("records")]
    if isinstance(value, dict):
        return {str(name): _plain(cell) for name, cell in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(cell) for cell in value]
    if hasattr(value, "item"):
        value = value.item()
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return None if value != value else str(value)


def table(frame: "pd.DataFrame", title: str = "", missing: str = "-") -> None:
    """Print a table: for people on a terminal, as CSV where stdout is a pipe or a file."""
    if not sys.stdout.isatty():
        portable_table(frame).to_csv(sys.stdout, index=False, lineterminator="\n")
        return
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    if frame.empty:
        tell(": ".join(filter(None, (title, "none"))))
        return
    if title:
        tell(title)
    console = Console()
    heads = [visible(head_in_words(str(name))) for name in frame.columns]
    rows = [list(_cells(row, missing)) for row in frame.itertuples(index=False)]
    numbers = [kind.kind in "iuf" for kind in frame.dtypes]
    columns = [[head, *(row[at] for row in rows)] for at, head in enumerate(heads)]
    for part in _parts(columns, numbers, console.width):
        pretty = Table(box=SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
        own = [columns[at] for at in part], [numbers[at] for at in part]
        for at, width in zip(part, _widths(*own, console.width), strict=True):
            head, justify = heads[at], "right" if numbers[at] else "left"
            pretty.add_column(Text(head), justify=justify, width=width, overflow="fold")  # type: ignore[arg-type]
        for row in rows:
            pretty.add_row(*(Text(row[at]) for at in part))
        console.print(pretty)


UNITS = {"s": "s", "c": "C", "percent": "%", "min": "min", "mm": "mm", "g": "g"}


def head_in_words(name: str) -> str:
    """Return a column's name as people read it, with its unit.

    >>> head_in_words("length_s"), head_in_words("mean_kinship"), head_in_words("p after Holm")
    ('length, s', 'mean kinship', 'p after Holm')
    """
    *words, last = name.split("_")
    return f"{' '.join(words)}, {UNITS[last]}" if words and last in UNITS else " ".join([*words, last])


def _parts(columns: list[list[str]], numbers: list[bool], room: int) -> list[list[int]]:
    """Return which columns stand in one table: all, or, where that would break words, some in each, the first column
    in all of them."""
    from rich.cells import cell_len

    least = [
        2 + max((cell_len(text) for cell in column for text in ([cell] if number else cell.split())), default=1)
        for column, number in zip(columns, numbers, strict=True)
    ]
    parts: list[list[int]] = []
    for at in range(len(columns)):
        if parts and sum(least[own] for own in parts[-1]) + least[at] <= room:
            parts[-1].append(at)
        else:
            parts.append([0, at] if parts and least[0] + least[at] <= room else [at])
    return parts


def _widths(columns: list[list[str]], numbers: list[bool], room: int) -> list[int]:
    """Return how wide each column is to be. On a narrow terminal words go into a second line, and long ones are broken
    if need be; but a number that is broken or cut off would be another.

    rich would shrink the widest columns even where one word fills them, and cut off what then does not fit.
    """
    from rich.cells import cell_len

    wide = [max(map(cell_len, column)) for column in columns]
    words = [max(map(cell_len, " ".join(column).split()), default=1) for column in columns]
    room -= 2 * len(columns)  # what stands between and beside the columns
    for least in (words, [1] * len(columns)):
        while sum(wide) > room:
            told = zip(numbers, wide, least, strict=True)
            slack = [0 if number or width <= floor else width for number, width, floor in told]
            if not any(slack):
                break
            wide[slack.index(max(slack))] -= 1
    return wide


@contextlib.contextmanager
def working(what: str) -> Iterator[None]:
    """Show on a terminal that work goes on; nothing in a pipe."""
    from rich.console import Console

    with Console(stderr=True).status(visible(what)):
        yield


def picture_file(name: str) -> Path:
    """Return the path of a picture, as the type of an option: a name of another form is refused before the work."""
    try:
        _form(path := Path(name))
    except Refusal as error:
        raise argparse.ArgumentTypeError(visible(str(error))) from None
    return path


def _form(path: Path) -> str:
    """Return the form that a picture's name asks for. Raises Refusal for one that none is drawn in."""
    if (form := path.suffix.lower()) not in files.PICTURES:
        raise Refusal(f"{path}: a figure is written as one of {', '.join(files.PICTURES)}")
    return form[1:]


def draw(figure: "ReproducibleFigure", path: Path) -> None:
    """Write a figure, whole or not at all, in the form that its file's name asks for. Raises Refusal for another."""
    from etholog.base.atomic import replacing

    form = _form(path)
    with replacing(path) as file:
        file.write(figure.content(form))
    say(f"drawn: {path}")


def write_calendar(path: Path, tasks: "Sequence[Task]", animals: "Animals", of: Iterable[str] = ()) -> None:
    """Write tasks (`of`: of these animals alone) as a calendar, and say so."""
    from etholog.export import calendar

    lasting = {name: animals.lasting_id(name) for name in {task.animal for task in tasks}}
    calendar.write(path, tasks, set(of), lasting)
    events = many(sum(task.has_days for task in tasks), "event")
    say(f"{events} written to {path}; importing it again updates them, without duplicates")


Part = tuple[str, str]  # text, and its colour as #rrggbb, or ""


def picture(lines: Iterable[Iterable[Part]]) -> None:
    """Print lines of parts: in colour on a terminal unless NO_COLOR is set (no-color.org), in plain text elsewhere."""
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False, emoji=False)
    for line in lines:
        console.print(Text.assemble(*line), soft_wrap=True)


def portable_table(frame: "pd.DataFrame") -> "pd.DataFrame":
    """Return a table for a file: without characters that a reader of CSV would stumble over and digits that nobody
    measured."""
    from etholog.export.plain import BOOLEANS, measured

    def cell(value: object) -> object:
        return portable(value) if isinstance(value, str) else BOOLEANS[value] if isinstance(value, bool) else value

    out = frame.copy(deep=False)
    for at, (name, kind) in enumerate(zip(frame.columns, frame.dtypes, strict=True)):
        column = frame.iloc[:, at]
        if kind.kind == "f":
            out.isetitem(at, measured(str(name), column).array)
        elif kind.kind not in "iuM":
            out.isetitem(at, column.astype(object).map(cell).array)
    out.columns = [portable(str(name)) for name in frame.columns]
    return out


def p_value(p: float) -> str:
    """Return a p as people read it: `p = 0.0123`, or that there is none."""
    return "no p" if math.isnan(p) else f"p = {p_number(p)}"


def limits(low: float, high: float, missing: str = "not reached") -> str:
    """Return an interval as people read it: `4.0 to 12.5`; a limit that is not a number in words."""
    if math.isnan(low) and math.isnan(high):
        return missing
    return " to ".join(f"{value:,.1f}" if math.isfinite(value) else missing for value in (low, high))


def shares(share: float, low: float = math.nan, high: float = math.nan) -> str:
    """Return a share as people read it: `55 % (20 % to 90 %)`, or `-`."""
    if math.isnan(share):
        return "-"
    return percent(share) if math.isnan(low) else f"{percent(share)} ({percent(low)} to {percent(high)})"


def _cells(row: Iterable[Any], missing: str) -> Iterable[str]:
    for value in row:
        if isinstance(value, float):
            yield short_number(value) if math.isfinite(value) else missing
        elif value is None or value != value:
            yield missing
        elif isinstance(value, bool):
            yield "yes" if value else "no"
        else:
            yield visible(str(value))
