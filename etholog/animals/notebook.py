"""A keeper's own table (CSV) of entries, read row by row for the door."""

import csv
import io
import sys
from pathlib import Path

from etholog.animals.entering import NewEntry, Slashes, read_row
from etholog.base import files
from etholog.base.refusal import Finding, Refusal

COLUMNS = ("animal", "entry", "on", "words", "number", "unsure", "note")


def read(path: Path, slashes: Slashes | None = None) -> tuple[list[NewEntry], list[Finding]]:
    """Return the entries of a table, and what can't be read of it.

    Fields are parted by commas, semicolons or tabs, whichever the first line has most of. Raises Refusal for a file
    that is no table or lacks a column.
    """
    try:
        text = files.read(path).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Refusal(Finding("can't be read (is not UTF-8 text)", "save the table as CSV in UTF-8", path)) from None
    head = text.partition("\n")[0]
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=head.count))
    names = [name.strip().lower() for name in reader.fieldnames or []]
    missing = [name for name in COLUMNS[:3] if name not in names]
    unknown = [name for name in names if name not in COLUMNS]
    if missing or unknown:
        what = f"no column {missing[0]!r}" if missing else f"unknown column {unknown[0]!r}"
        remedy = f"the columns are {', '.join(COLUMNS)} (the first three are needed)"
        raise Refusal(Finding(what, remedy, path, 1))
    reader.fieldnames = names
    new_entries: list[NewEntry] = []
    findings: list[Finding] = []
    csv.field_size_limit(sys.maxsize)
    for row in reader:
        if None in row:
            what = 'more fields than columns; words with a comma stand between quotes: "so, here"'
            findings.append(Finding(what, path=path, line=reader.line_num))
            continue
        values = {name: (row.get(name) or "").strip() for name in COLUMNS}
        try:
            animal, entry = read_row(values, slashes)
        except Refusal as refusal:
            findings += [Finding(found.what, found.remedy, path, reader.line_num) for found in refusal.findings]
            continue
        new_entries.append(NewEntry(animal, entry, path, reader.line_num, values["on"]))
    return new_entries, findings
