"""`etholog card`: an animal's card: read it, add to it, take many entries from a table."""

import argparse
import csv
import io
import math
import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from etholog import animals as animals_
from etholog.animals import Animals, card, life
from etholog.animals.card import KINDS, Card, Entry
from etholog.base import files
from etholog.base.dates import Day
from etholog.base.refusal import Finding, Refusal
from etholog.base.text import nearest, visible
from etholog.commands.output import say

COLUMNS = ("animal", "entry", "on", "words", "number", "unsure", "note")
_DATE = re.compile(r"\d{4}-\d{2}(-\d{2})?", re.ASCII)


def configure(parser: argparse.ArgumentParser) -> None:
    """Give the command its arguments."""
    parser.add_argument("animal", nargs="?", help="whose card; without it, all cards are listed")
    parser.add_argument("entry", nargs="?", help=f"what to add: {', '.join(KINDS)}; or undo")
    parser.add_argument("said", nargs="*", metavar="WORDS", help="what it says: a size, a name, a number")
    parser.add_argument("--on", metavar="DATE", help="2026-05-03, or 2026-05 or 2026 (default: today)")
    parser.add_argument("--unsure", action="store_true", help="mark it as not certain")
    parser.add_argument("--note", default="", help="what else there is to say")
    parser.add_argument("--take", type=Path, metavar="CSV", help=f"take entries from a table: {', '.join(COLUMNS)}")
    parser.add_argument("--write", action="store_true", help="with --take: write them (without it, nothing is written)")
    parser.add_argument("--leaf", action="store_true", help="leaf through the cards on a screen")
    parser.add_argument("--folder", type=Path, default=Path(), help="the workspace (default: here)")
    parser.epilog = (
        "examples:\n  etholog card F-Umbra                              read it\n"
        "  etholog card F-Umbra meal small --on 2026-05-03\n"
        "  etholog card M-Basalt moult last --on 2026-02\n"
        "  etholog card F-Umbra count nymphs 214\n"
        "  etholog card F-Umbra undo 7                       take entry #7 back\n"
        "  etholog card --take old-notebook.csv              what would be written; --write writes it"
    )


def run(args: argparse.Namespace) -> int:
    """Read, list, add or take in; 1 where something on the cards is odd."""
    known = animals_.read(args.folder)
    if args.take:
        return _take(args.take, known, args.folder, args.write)
    if args.leaf:
        from etholog.screens.leaf import Leaf

        Leaf(known, args.animal).run()
        return 0
    if args.animal is None:
        return _list(known)
    if args.entry is None:
        return _show(args.animal, known)
    if args.entry == "undo":
        return _undo(args.animal, args.said, known)
    on = Day.parse(args.on) if args.on else Day.of(date.today())
    stray = next((word for word in args.said if args.entry != "note" and _DATE.fullmatch(word)), None)
    if stray:
        raise Refusal(f"{stray!r} looks like a date; write --on {stray}; nothing was written")
    words, number = _said(args.entry, args.said)
    entry = Entry(0, args.entry, on, not args.unsure, words, number, args.note)
    return _add(args.animal, entry, known, args.folder)


def _show(name: str, known: Animals) -> int:
    if known.id_of(name) not in known.known():
        raise Refusal(f"no card and no session of {name!r}{nearest(name, known.known())}")
    for line in life.lines(known, name):
        print(visible(line))
    one = known.find(name)
    found = [] if one is None else [f for f in (*known.findings, *animals_.questions(known)) if f.path == one.path]
    say(*found)
    return 1 if found else 0


def _list(known: Animals) -> int:
    import pandas as pd

    from etholog.commands.output import table

    rows = []
    for name in known.known():
        one = known.find(name)
        met = known.pairings_of(name)
        last = {kind: found.on.text if one and (found := one.last(kind)) else None for kind in ("moult", "meal")}
        rows.append(
            {
                "animal": name,
                "sex": known.sex_of(name),
                "species": known.species_of(name) or None,
                "last_moult": last["moult"],
                "last_meal": last["meal"],
                "last_session": met[-1].on.text if met else None,
                "card": "no card" if one is None else f"died {one.died.text}" if one.died else "yes",
            }
        )
    if rows:
        table(pd.DataFrame(rows))
    else:
        say(f'{known.folder}: no cards yet; begin one: etholog card F1 species "Brachypelma smithi"')
    odd = [*known.findings, *animals_.questions(known)]
    say(*odd)
    return 1 if odd else 0


def _said(kind: str, words: Sequence[str]) -> tuple[str, float | None]:
    """Return words and number: the last word is the number where the kind takes one."""
    takes = KINDS[kind].takes if kind in KINDS else ""
    if "number" in takes and words:
        number = _number(words[-1])
        if number is not None:
            return " ".join(words[:-1]), number
    return " ".join(words), None


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def _add(name: str, entry: Entry, known: Animals, folder: Path) -> int:
    one = known.find(name) or Card(folder / "animals" / card.file_name(name), name, (), names=(name,))
    card.check(entry)
    why = card.impossible(one, entry)
    if why:
        raise Refusal(f"{entry.said} on {entry.on.text}: {why}; nothing was written")
    if entry.kind == "renamed":
        card.file_name(entry.words)
        if known.id_of(entry.words) in known.known():
            raise Refusal(f"{entry.words!r} is another animal's name; nothing was written")
    odd = [*card.doubtful(one, entry, date.today()), *_elsewhere(one, entry, known)]
    n = _write(one.path, [entry])
    begun = "" if known.find(name) else ", a new card"
    print(visible(f"{one.id}: {entry.said} on {entry.on.text}  [#{n}{begun}]"))
    say(*(f"? {question}; if that is wrong: etholog card {one.id} undo {n}" for question in odd))
    return 1 if odd else 0


def _elsewhere(one: Card, entry: Entry, known: Animals) -> Iterator[str]:
    """Yield questions that need the other cards and the sessions."""
    for other in known.known() if not one.entries else ():
        if other != one.id and other.casefold() == one.id.casefold():
            yield f"{one.id} is new, and {other} is there: they differ in capitals alone"
    if entry.kind == "sac" and not any(not entry.on.before(met.on) for met in known.pairings_of(one.id)):
        yield f"no pairing of {one.id} before {entry.on.text} is known"
    if entry.kind in ("dam", "sire", "paired") and known.id_of(entry.words) not in known.known():
        yield f"{entry.words!r} has no card and no session{nearest(entry.words, known.known())}"
    if entry.kind == "paired" and one.sex == known.sex_of(entry.words) != "unknown":
        yield f"{one.id} and {entry.words} are both told as {one.sex}"
    if entry.kind == "died" and any(entry.on.before(met.on) for met in known.pairings_of(one.id)):
        yield f"{one.id} has a session after {entry.on.text}"


def _write(path: Path, entries: Sequence[Entry]) -> int:
    """Write entries to one card, wait for the disk, and return the last one's number."""
    book = card.open_or_create(path)
    n = 0
    try:
        for entry in entries:
            n = card.append(book, entry, datetime.now().astimezone().isoformat(timespec="seconds"))
    finally:
        safe = book.close()
    if not safe:
        raise Refusal(f"{path}: {book.trouble or 'the disk does not answer'}")
    return n


def _undo(name: str, said: Sequence[str], known: Animals) -> int:
    one = known.find(name)
    if one is None:
        raise Refusal(f"no card of {name!r}{nearest(name, known.known())}")
    numbers = {entry.n: entry for entry in one.entries}
    if len(said) != 1 or not said[0].lstrip("#").isdecimal() or int(said[0].lstrip("#")) not in numbers:
        raise Refusal(f"undo wants the number of an entry, as `etholog card {one.id}` shows it after #")
    entry = numbers[int(said[0].lstrip("#"))]
    book = card.open_or_create(one.path)
    card.take_back(book, entry.n, datetime.now().astimezone().isoformat(timespec="seconds"))
    if not book.close():
        raise Refusal(f"{one.path}: {book.trouble or 'the disk does not answer'}")
    print(visible(f"{one.id}: taken back: {entry.said} on {entry.on.text}"))
    return 0


@dataclass(frozen=True)
class _Row:
    line: int
    animal: str
    entry: Entry


def _take(path: Path, known: Animals, folder: Path, write: bool) -> int:
    """Take entries from a table, all or none; an entry that is on the card already is left alone, so that taking in
    twice makes no doubles."""
    rows, findings = _rows(path)
    cards: dict[str, Card] = {}
    new: dict[str, list[Entry]] = {}
    there = 0
    odd: list[Finding] = []
    for row in sorted(rows, key=lambda row: (row.entry.on.first, row.line)):
        who = known.id_of(row.animal)
        one = cards.get(who) or known.find(who) or Card(folder / "animals" / f"{who}.jsonl", who, (), names=(who,))
        if any(replace(row.entry, n=old.n, note=old.note) == old for old in one.entries):
            there += 1
            continue
        why = card.impossible(one, row.entry)
        if why:
            findings.append(Finding(f"{row.entry.said} on {row.entry.on.text}: {why}", path=path, line=row.line))
            continue
        asked = card.doubtful(one, row.entry, date.today())
        odd += [Finding(f"? {question}", path=path, line=row.line) for question in asked]
        cards[who] = replace(one, entries=(*one.entries, row.entry))
        new.setdefault(who, []).append(row.entry)
        print(visible(f"{who}: {row.entry.said} on {row.entry.on.text}"))
    say(*odd)
    if findings:
        raise Refusal(*findings, Finding("nothing was written", "mend these lines first", path))
    count = sum(map(len, new.values()))
    if write:
        for who, entries in new.items():
            _write(cards[who].path, entries)
    done = "written" if write else "would be written; --write writes them"
    say(f"{count} entries {done}" + (f", {there} are on the cards already" if there else ""))
    return 1 if odd else 0


def _rows(path: Path) -> tuple[list[_Row], list[Finding]]:
    try:
        text = files.read(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Refusal(f"{path}: can't be read (is not UTF-8 text); save the table as CSV in UTF-8") from None
    reader = csv.DictReader(io.StringIO(text, newline=""))
    names = [name.strip().lower() for name in reader.fieldnames or []]
    missing = [name for name in COLUMNS[:3] if name not in names]
    unknown = [name for name in names if name not in COLUMNS]
    if missing or unknown:
        what = f"no column {missing[0]!r}" if missing else f"unknown column {unknown[0]!r}"
        remedy = f"the columns are {', '.join(COLUMNS)} (the first three are needed)"
        raise Refusal(Finding(what, remedy, path, 1))
    reader.fieldnames = names
    rows: list[_Row] = []
    findings: list[Finding] = []
    csv.field_size_limit(sys.maxsize)
    for values in reader:
        try:
            if None in values:
                raise Refusal('more fields than columns; words with a comma stand between quotes: "so, here"')
            rows.append(_row(reader.line_num, {name: (values.get(name) or "").strip() for name in COLUMNS}))
        except Refusal as refusal:
            findings.append(Finding(str(refusal), path=path, line=reader.line_num))
    return rows, findings


def _row(line: int, values: dict[str, str]) -> _Row:
    card.file_name(values["animal"])
    number = _number(values["number"]) if values["number"] else None
    if values["number"] and number is None:
        raise Refusal(f"{values['number']!r} is no number")
    sure = values["unsure"].lower() not in ("yes", "y", "true", "1", "unsure", "?")
    entry = Entry(0, values["entry"], Day.parse(values["on"]), sure, values["words"], number, values["note"])
    card.check(entry)
    if entry.kind == "renamed":
        raise Refusal("a renaming can't be taken from a table; use etholog card OLD renamed NEW")
    return _Row(line, values["animal"], entry)
