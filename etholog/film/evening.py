"""Films of one evening as one film: a camera begins a new file every ten minutes, or every 4 GB. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Any

from etholog.base.refusal import Refusal
from etholog.film.source import Source

# Own choices. A time of creation has whole seconds, so two that follow each other may seem a second apart.
WHOLE_S = 1.0
OVERLAP_S = 5.0  # no camera writes two files at a time: times of creation that say so are those of copies


@dataclass(frozen=True)
class Part:
    """A film that begins `at_s` seconds after the first of its evening; those of one `run` follow without a pause."""

    source: Source
    at_s: float = 0.0
    run: int = 0

    @property
    def ends_s(self) -> float:
        """When it ends, in seconds of the evening."""
        return self.at_s + self.source.seconds


def one_clock(sources: Sequence[Source]) -> list[Part]:
    """Return films of one evening in their order.

    By the times of creation that they hold; where one holds none, or two would overlap, as they were named, one after
    the other.
    """
    if not all(source.made for source in sources):
        return _as_named(sources)
    ordered: list[Any] = sorted(sources, key=lambda source: source.made)
    parts = [Part(ordered[0])]
    for source in ordered[1:]:
        last = parts[-1]
        at_s = (source.made - ordered[0].made).total_seconds()
        if at_s < last.ends_s - OVERLAP_S:
            return _as_named(sources)
        follows = at_s <= last.ends_s + WHOLE_S
        parts.append(Part(source, last.ends_s, last.run) if follows else Part(source, at_s, last.run + 1))
    return parts


def _as_named(sources: Sequence[Source]) -> list[Part]:
    starts = accumulate((source.seconds for source in sources), initial=0.0)
    return [Part(source, at_s) for source, at_s in zip(sources, starts, strict=False)]


def part_at(parts: Sequence[Part], second: float) -> Part:
    """Return the film that shows a second of the evening. Raises Refusal where none does."""
    for part in reversed(parts):
        if part.at_s <= second <= part.ends_s:
            return part
    pause = "; it falls into a pause between two of them" if parts[0].at_s < second < parts[-1].ends_s else ""
    raise Refusal(f"{second:.3f} s is not on the film, which is {parts[-1].ends_s:.3f} s long{pause}")
