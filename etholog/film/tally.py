"""A cut list in tables for people: what each cut shows, and what of each behaviour is kept or falls away. Pure."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import Any

from etholog.base.clock import fine_face
from etholog.ethogram import Ethogram
from etholog.film.cuts import CutList, Stretch
from etholog.session.folding import Bout


def rows(cuts: CutList, bouts: Sequence[Bout]) -> list[dict[str, Any]]:
    """Return a row for each cut; `from` and `to` are times of the film file, `at` is the time in the cut film."""
    onsets = [bout.onset for bout in bouts]
    listed = []
    for number, (cut, start, (a, b)) in enumerate(zip(cuts.cuts, cuts.starts, cuts.stretches, strict=False), 1):
        begun = bouts[bisect_left(onsets, a) : bisect_left(onsets, b)]
        listed.append(
            {
                "cut": number,
                "file": cuts.clips[cut.clip].path.name,
                "from": fine_face(float(cut.first / cuts.rate)),
                "to": fine_face(float(cut.end / cuts.rate)),
                "at": fine_face(float(start / cuts.rate)),
                "frames": cut.frames,
                "speed": cut.speed,
                "shows": ", ".join(
                    dict.fromkeys([*(bout.code for bout in begun), *(named.text for named in cuts.names((a, b)))])
                ),
            }
        )
    return listed


def tally(cuts: CutList, bouts: Sequence[Bout], ethogram: Ethogram) -> list[dict[str, Any]]:
    """Return for each behaviour its bouts and minutes, and how many of them are kept at their own speed."""
    kept = [stretch for cut, stretch in zip(cuts.cuts, cuts.stretches, strict=True) if cut.speed == 1]
    told = []
    for behaviour in ethogram.behaviour:
        own = [bout for bout in bouts if bout.code == behaviour.code]
        if not own:
            continue
        state = behaviour.kind == "state"
        seen = [_overlap(kept, bout.onset, bout.offset) for bout in own]
        total, shown = sum(b.offset - b.onset for b in own), sum(ms for ms, _ in seen)
        told.append(
            {
                "behaviour": behaviour.label,
                "bouts": len(own),
                "kept": sum(touched for _, touched in seen),
                "minutes": total / 60_000 if state else None,
                "kept minutes": shown / 60_000 if state else None,
                "minutes away": max(0.0, total - shown) / 60_000 if state else None,
            }
        )
    return told


def _overlap(kept: Sequence[Stretch], onset: float, offset: float) -> tuple[float, bool]:
    """Return how many milliseconds of a span are kept, and whether any instant of it is."""
    low = bisect_right(kept, onset, key=lambda s: s[1])
    high = bisect_right(kept, offset, key=lambda s: s[0])
    return sum(max(0.0, min(b, offset) - max(a, onset)) for a, b in kept[low:high]), low < high
