"""Makes the cards of the invented season from the invented notebook beside this file: `python examples/make_cards.py
[FOLDER]`."""

import csv
import shutil
import sys
from pathlib import Path

from etholog.animals import card
from etholog.animals.card import Entry
from etholog.base.dates import Day

TOLD = "2026-11-20T20:00:00+01:00"


def make(folder: Path, notebook: Path) -> None:
    """Write a card for each animal of the notebook anew."""
    shutil.rmtree(folder, ignore_errors=True)
    books = {}
    with notebook.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["animal"] not in books:
                books[row["animal"]] = card.open_or_create(folder / card.file_name(row["animal"]))
            number = float(row["number"]) if row["number"] else None
            entry = Entry(0, row["entry"], Day.parse(row["on"]), not row["unsure"], row["words"], number, row["note"])
            card.check(entry)
            card.append(books[row["animal"]], entry, TOLD)
    for book in books.values():
        book.close()


if __name__ == "__main__":
    here = Path(__file__).parent
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else here / "season" / "animals", here / "notebook.csv")
