"""Measure `etholog due` over many cards, against json.loads of their lines: `python -m tests.bench.cards [CARDS]`."""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from etholog.animals.card import FORMAT
from etholog.base.journal import encode
from tests.bench.load import median_s, plain

LIFE = [
    ("sex", "2020", "female"),
    ("species", "2020", "Brachypelma smithi"),
    ("moult", "2025-10-01", ""),
    *(("meal", f"2026-0{month}-01", "small") for month in range(1, 9)),
    ("water", "2026-09-01", ""),
]


def cards(folder: Path, count: int) -> None:
    """Write `count` cards of a dozen entries, each female paired by one of fifty males."""
    folder.mkdir()
    for number in range(count):
        lines = [{"n": 0, "do": "begin", "format": FORMAT, "id": f"F-{number}"}]
        for n, (kind, on, words) in enumerate([*LIFE, ("paired", "2026-03-01", f"M-{number % 50}")], 1):
            lines.append({"n": n, "do": kind, "on": on, "sure": True} | ({"words": words} if words else {}))
        (folder / f"F-{number}.jsonl").write_bytes(b"".join(map(encode, lines)))


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    with tempfile.TemporaryDirectory() as name:
        cards(Path(name) / "animals", count)
        command = [sys.executable, "-m", "etholog", "due", "--today", "2026-09-10", "--folder", name]
        due = median_s(lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL), 3)
        base = median_s(lambda: plain(Path(name) / "animals"), 3)
        shown = subprocess.run([*command, "--json"], check=True, capture_output=True, text=True).stdout
        assert len({task["animal"] for task in json.loads(shown)}) == count
    print(f"etholog due, whole process, {count:,} cards: {due:.2f} s, x{due / base:.1f} of json.loads of their lines")


if __name__ == "__main__":
    main()
