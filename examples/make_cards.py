"""Makes the cards of the invented season from the invented notebook beside this file: `python examples/make_cards.py
[WORKSPACE]`."""

import shutil
import sys
from datetime import date
from pathlib import Path

from etholog import animals
from etholog.animals import entering, notebook

TOLD = "2026-11-20T20:00:00+01:00"


def make(workspace: Path, book: Path) -> None:
    """Write a card for each animal of the notebook anew."""
    shutil.rmtree(workspace / "animals", ignore_errors=True)
    entries, findings = notebook.read(book)
    assert not findings, findings
    proposal = entering.propose(animals.read(workspace), entries, date.fromisoformat(TOLD[:10]))
    for found in proposal.asked:
        print(found, file=sys.stderr)
    entering.write(proposal, TOLD)


if __name__ == "__main__":
    here = Path(__file__).parent
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else here / "season", here / "notebook.csv")
