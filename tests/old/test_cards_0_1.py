"""Cards that version 0.1 wrote are read with no loss and no question, and take new entries.

They were written by that version itself; `told-cards.json` is what its own reader made of them.
"""

import json
import shutil
from datetime import date
from pathlib import Path
from typing import Any

from etholog import animals
from etholog.animals import entering
from etholog.animals.entering import NewEntry

OLD = Path(__file__).parent / "0.1"
TOLD: dict[str, dict[str, Any]] = json.loads((OLD / "told-cards.json").read_text(encoding="utf-8"))


def test_cards_are_read_with_no_loss_and_no_question(tmp_path: Path) -> None:
    shutil.copytree(OLD / "animals", tmp_path / "animals")
    known = animals.read(tmp_path)
    assert known.findings == []
    assert list(animals.questions(known)) == []
    assert sorted(known.cards) == sorted(TOLD)
    for name, told in TOLD.items():
        one = known.cards[name]
        entries = [[e.n, e.kind, e.on.text, e.sure, e.words, e.number, e.note] for e in one.entries]
        assert entries == told["entries"]
        assert (list(one.names), one.sex) == (told["names"], told["sex"])


def test_cards_go_on_with_new_kinds_of_entries(tmp_path: Path) -> None:
    shutil.copytree(OLD / "animals", tmp_path / "animals")
    before = (tmp_path / "animals" / "F-Larch.jsonl").read_bytes()
    known = animals.read(tmp_path)
    new_entry = NewEntry("F-Larch", entering.typed("lent", ["Anna", "until", "2026-12-01"], "2026-09-01"))
    entering.write(entering.propose(known, [new_entry], date(2026, 9, 1)))
    assert (tmp_path / "animals" / "F-Larch.jsonl").read_bytes().startswith(before)
    after = animals.read(tmp_path).cards["F-Larch 1"]
    assert after.findings == ()
    assert after.entries[-1].said == "lent to Anna until 2026-12-01"
