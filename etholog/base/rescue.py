"""Rescue files: lines of a journal that its own file did not take, and the way back into it.

A rescue file begins with the first line of its journal, so it is known by that and not by its name. Those of version
0.1 have no such line; they are known by their name alone, and are taken in only when they are named.
"""

import os
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from etholog.base import files, journal, system
from etholog.base.journal import Journal, Reading
from etholog.base.refusal import Finding, Refusal

ENDING, TAKEN = ".rescue", ".taken"


@dataclass(frozen=True)
class Rescue:
    """The sound lines of one rescue file, by their number."""

    path: Path
    bodies: Mapping[int, bytes]

    @property
    def whole(self) -> bool:
        """Whether it is a journal of its own: every line from the first on."""
        return sorted(self.bodies) == list(range(len(self.bodies)))

    def following(self, reading: Reading) -> list[bytes]:
        """Return the lines that follow on the last line of a journal, one on another."""
        found, n = [], reading.next_n
        while n in self.bodies:
            found.append(self.bodies[n])
            n += 1
        return found

    def loose(self, reading: Reading) -> list[bytes]:
        """Return the lines that the journal lacks and that do not follow on: their number is taken there by another
        line, or lost, or lies behind a hole."""
        there = {journal.number(body): body for body in reading.bodies}
        follow = set(self.following(reading))
        lines = [body for n, body in sorted(self.bodies.items()) if n and there.get(n) != body]
        return [body for body in lines if body not in follow]

    def told(self) -> str:
        """Return which records it holds, in words."""
        numbers = sorted(n for n in self.bodies if n)
        if not numbers:
            return "no record"
        return f"record {numbers[0]}" if len(numbers) == 1 else f"records {numbers[0]} to {numbers[-1]}"

    def put_away(self) -> Path:
        """Rename the file, when what is in it was taken in, and return its new name."""
        return self.path.rename(self.path.with_name(self.path.name + TAKEN))


def read(path: Path) -> Rescue:
    """Read a rescue file. Raises Refusal where no line of a journal is in it."""
    bodies = journal.lines_of(path)
    if not bodies:
        raise Refusal(Finding("is not a rescue file: no sound line is in it", "name another", path))
    return Rescue(path, bodies)


def folders(beside: Iterable[Path] = ()) -> list[Path]:
    """Return where rescue files may lie: beside their journals, and where they are written to, now and by 0.1."""
    known = [place.path for place in system.rescue_folders()]
    return list(dict.fromkeys([*beside, *known, Path(tempfile.gettempdir()) / "etholog"]))


def everywhere(beside: Iterable[Path] = ()) -> list[Rescue]:
    """Return all rescue files that nobody took in."""
    found = []
    for folder in folders(beside):
        with suppress(OSError, Refusal):
            for path in sorted(folder.glob(f"*{ENDING}")):
                with suppress(Refusal):
                    found.append(read(path))
    return found


def of(path: Path) -> tuple[list[Rescue], list[Rescue]]:
    """Return the rescue files of a journal, in the order of their first new record; and those that may be, by their
    name alone."""
    return _of(path, everywhere([path.parent]))


def _of(path: Path, every: Sequence[Rescue]) -> tuple[list[Rescue], list[Rescue]]:
    first = journal.first(path)
    own = [one for one in every if one.bodies.get(0) == first]
    nameless = [one for one in every if 0 not in one.bodies and one.path.name.startswith(f"{files.cut(path.stem)}-")]
    return sorted(own, key=lambda one: min((n for n in one.bodies if n), default=0)), nameless


def waiting(paths: Iterable[Path]) -> Iterator[Finding]:
    """Yield a finding for each rescue file that holds what its journal, one of `paths`, lacks."""
    paths = list(paths)
    every = everywhere({path.parent: None for path in paths})
    for path in paths if every else ():
        try:
            own, nameless = _of(path, every)
            if not own and not nameless:
                continue
            reading = journal.read(path)
        except Refusal:
            continue  # the command tells of it
        for one in [*own, *nameless]:
            if one.following(reading) or one.loose(reading):
                remedy = f"`etholog resume {path}{'' if one in own else f' --rescue {one.path}'}` takes them in"
                yield Finding(f"{one.path} holds {one.told()}, which nobody took in", remedy, path)


def add_behind(book: Journal, bodies: Iterable[bytes]) -> int:
    """Append lines that do not follow on, with new numbers; what points to one of them goes on pointing to it. Returns
    how many they were."""
    renumbered: dict[int, int] = {}
    for body in bodies:
        record = journal.decoded(body)
        n = record.pop("n")
        if record.get("of") in renumbered:
            record["of"] = renumbered[record["of"]]
        renumbered[n] = book.append(journal.Draft(record))
    return len(renumbered)


def put_in_place(one: Rescue, path: Path) -> None:
    """Write a whole rescued journal to `path`; what was there is renamed, with `.changed` behind its name. Raises
    Refusal where that can't be done."""
    aside = path.with_name(path.name + ".changed")
    try:
        if aside.exists():
            raise FileExistsError(17, "is there already", str(aside))
        new = path.with_name(f".{path.name}.{os.getpid()}.part")
        with new.open("xb") as file:
            file.write(b"".join(journal.sealed(body) for _, body in sorted(one.bodies.items())))
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            path.rename(aside)
        new.rename(path)
        system.sync_folder(path.parent)
    except OSError as error:
        raise Refusal(f"{path}: can't be put in place ({error.strerror}); {files.remedy(error)}") from error
