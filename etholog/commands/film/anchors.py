"""What `--seen [MARK=][FILE@]TIME` says: which moment of the session is at which second of its films."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.commands.film.common import seconds

if TYPE_CHECKING:
    from etholog.film.evening import Part
    from etholog.session import Session


def anchor(read: "Session", words: str, parts: "Sequence[Part]") -> tuple[float, float]:
    """Return (session ms, second of the evening) of `MARK=FILE@TIME`."""
    head, at, time = words.rpartition("@")
    mark, begins_s = _file_named(head, parts, words) if at else (words.rpartition("=")[0], 0.0)
    t = float(_marked(read, mark, words)) if mark and not mark.isdecimal() else _sync(read, mark)
    return t, begins_s + seconds(time if at else words.rpartition("=")[2], "--seen")


def _file_named(head: str, parts: "Sequence[Part]", words: str) -> tuple[str, float]:
    """Return what stands before the file in `MARK=FILE`, and when that file begins in its evening."""
    for part in parts:
        for name in (str(part.source.path), part.source.path.name):
            if head == name or head.endswith(f"={name}"):
                if seconds(words.rpartition("@")[2], "--seen") > part.source.seconds:
                    raise Refusal(f"--seen {words}: {part.source.path.name} is {part.source.seconds:.3f} s long")
                return head.removesuffix(name).removesuffix("="), part.at_s
    names = ", ".join(part.source.path.name for part in parts)
    raise Refusal(f"--seen {words}: names none of these films: {names}")


def _sync(read: "Session", number: str) -> float:
    syncs = [said.t for said in read.fold.said if said.do == "sync"]
    which = int(number or 1) if number.isascii() and len(number) < 9 else 0
    if not 1 <= which <= len(syncs):
        have = many(len(syncs), "sync mark") if syncs else "no sync marks"
        raise Refusal(
            f"{read.path}: has {have}, and no number {number or 1}; the key = makes one while you watch, and a "
            "behaviour that is marked once serves too: --seen introduced=TIME"
        )
    return float(syncs[which - 1])


def _marked(read: "Session", name: str, words: str) -> int:
    """Return when the behaviour began that is marked once, in milliseconds."""
    code, _, qualifier = name.partition(":")
    onsets = [bout.onset for bout in read.fold.bouts if bout.code == code and qualifier in ("", bout.qualifier)]
    if not onsets:
        there = {bout.code for bout in read.fold.bouts}
        once = sorted(code for code in there if sum(bout.code == code for bout in read.fold.bouts) == 1)
        hint = f"marked once are: {', '.join(once)}" if once else "no behaviour is marked once"
        raise Refusal(f"--seen {words}: {name} is not marked in this session; {hint}")
    if len(onsets) > 1:
        raise Refusal(f"--seen {words}: {name} is marked {len(onsets)} times; name one that is there once")
    return onsets[0]
