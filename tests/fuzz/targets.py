"""What is attacked, and what has to hold afterwards: a Refusal in words, or a reading that can be written again."""

import io
import json
import os
import random
import tempfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import redirect_stderr, redirect_stdout, suppress
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from etholog import animals, ethogram, season, session
from etholog.animals import attempts, card, life
from etholog.base import journal
from etholog.base.refusal import Refusal
from etholog.commands import main
from etholog.film import alignment
from etholog.session import summary
from tests.fuzz.mutations import mutated, resealed

REPOSITORY = Path(__file__).parents[2]
SEASON = REPOSITORY / "examples" / "season"


@cache
def originals(name: str) -> list[bytes]:
    """The sound files from which the mutants are made: short ones, so that each mutation counts."""
    folders = {"session": SEASON / "sessions", "card": SEASON / "animals", "ethogram": REPOSITORY / "ethograms"}
    found = sorted((file.read_bytes() for file in folders[name].iterdir()), key=len)[:4]
    return [_with_film(data) for data in found] if name == "session" else found


def _with_film(data: bytes) -> bytes:
    """A session that knows of a film too, and whose ethogram is left out of harm's way by standing in one line."""
    n = data.count(b"\n")
    clip = {
        "file": "a.mp4", "seconds": 900.0, "rate": "25/1", "begins": 12.5, "ppm": 3.5, "by": "sync marks",
        "anchors": [[1000.0, 1.0], [600_000.0, 600.0]],
    }  # fmt: skip
    return data + journal.encode({"n": n, "do": "film", "clips": [clip]})


def attack(name: str, seed: int) -> bool:
    """Make mutant number `seed` of that kind and try it; True where it was accepted. Raises whatever went wrong."""
    chance = random.Random(f"{name} {seed}")
    try:
        return _arguments(chance) if name == "arguments" else _file(name, chance)
    except Exception as error:
        error.add_note(f"mutant {seed} of {name}")
        raise


def _file(name: str, chance: random.Random) -> bool:
    file = Path(tempfile.gettempdir()) / f"etholog-fuzz-{os.getpid()}{'.toml' if name == 'ethogram' else '.jsonl'}"
    file.write_bytes(_mutant(name, chance))
    try:
        JUDGES[name](file)
    except Refusal as refusal:
        assert all(line.startswith(str(file)) for line in str(refusal).splitlines()), str(refusal)
        return False
    finally:
        file.unlink()
    return True


def _mutant(name: str, chance: random.Random) -> bytes:
    data = chance.choice(originals(name))
    if name == "ethogram":
        return mutated(data, chance)
    # Most journals keep their first line, or nothing behind it would ever be looked at.
    first, rest = data.split(b"\n", 1)
    data = mutated(data, chance) if chance.random() < 0.2 else first + b"\n" + mutated(rest, chance)
    return resealed(data) if chance.random() < 0.7 else data


def _session(file: Path) -> None:
    """What was accepted can be told, tabled, and written again so that it reads the same."""
    read = session.read(file)
    assert all(isinstance(line, str) for line in summary.lines(read))
    season.of(file.parent, [read])
    with suppress(Refusal):
        alignment.clips_of(read)
    said = _without_checksums(read.records)
    file.write_bytes(file.read_bytes().split(b"\n", 1)[0] + b"\n" + b"".join(map(journal.encode, said)))
    again = session.read(file)
    assert _without_checksums(again.records) == said
    assert again.fold.bouts == read.fold.bouts


def _without_checksums(records: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    return [
        {"n": record["n"], "do": record["do"]} | {key: value for key, value in record.items() if key != "crc"}
        for record in records
    ]


def _card(file: Path) -> None:
    """Each entry that was accepted is one that could be told, and written again it reads the same."""
    read = card.read(file)
    herd = animals.Animals(file.parent, {read.id: read})
    assert all(isinstance(line, str) for line in life.lines(herd, read.id))
    attempts.attempts(herd, read.id)
    for entry in read.entries:
        card.check(entry)
    file.unlink()
    book = card.open_or_create(file)
    for entry in read.entries:
        card.append(book, entry, "now")
    book.close()
    again = card.read(file).entries
    assert [replace(entry, n=0) for entry in again] == [replace(entry, n=0) for entry in read.entries]


def _ethogram(file: Path) -> None:
    """What was accepted comes back the same from a session's first line, and has keys."""
    read = ethogram.read(file)
    again = ethogram.from_plain(json.loads(read.plain_json()))
    assert (again, again.hash) == (read, read.hash)
    assert read.layout("left")


WORDS = [
    *[
        "latency",
        "duration",
        "transition",
        "show",
        "check",
        "card",
        "ready",
        "due",
        "label",
        "outcome",
        "agree",
        "film",
        "cuts",
        "captions",
        "align",
    ],
    *[
        "courtship",
        "insertion:left",
        "male",
        "female",
        "species",
        "clasp",
        "F-Umbra",
        "M-Flint",
        "meal",
        "2026-11-20",
        "2026-02-30",
    ],
    *[
        "--by",
        "--within",
        "--since",
        "--to",
        "--json",
        "--today",
        "--on",
        "--signs",
        "--each",
        "--practice",
        "--lag",
        "--ahead",
        "--actor",
        "--folder",
        "--",
    ],
    *["2", "-1", "0", "999999999999", "nan", "*", "/nonexistent", "/etc/passwd"],
    *("cool rest", "", "\x1b[31m", "\u202e", "\ud800", "\udcff", "a" * 3000, str(SEASON)),
    next(str(file) for file in sorted((SEASON / "sessions").iterdir())),
]
READ_ONLY = {"latency", "duration", "transition", "show", "check", "ready", "due", "outcome", "agree"}


def _arguments(chance: random.Random) -> bool:
    """Words in any order: exit code 0, 1 or 2, and no traceback. Only commands that write nothing run in place."""
    verb = chance.choice(sorted(READ_ONLY))
    words = [verb, *(chance.choice(WORDS) for _ in range(chance.randint(0, 5)))]
    if "--folder" not in words:
        words += ["--folder", str(SEASON)] if chance.random() < 0.7 else []
    out = io.StringIO()
    try:
        with redirect_stdout(out), redirect_stderr(out):
            code = main(words)
    except SystemExit as stop:  # argparse's way
        code = int(stop.code or 0)
    assert code in (0, 1, 2), (words, code)
    return code != 2


JUDGES: dict[str, Callable[[Path], None]] = {"session": _session, "card": _card, "ethogram": _ethogram}
TARGETS = (*JUDGES, "arguments")
