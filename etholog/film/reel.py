"""Films of one session played one after the other, as one film: its seconds, and what they are of the session. Pure."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate, pairwise

from etholog.base.refusal import Refusal
from etholog.film.alignment import Clip, angles


@dataclass(frozen=True)
class Reel:
    """Clips in the order in which they began. Raises Refusal where two show the same minutes."""

    clips: tuple[Clip, ...]

    def __post_init__(self) -> None:
        for first, second in angles(self.clips):
            raise Refusal(f"{first.path.name} and {second.path.name} show the same minutes; name one of them")

    @cached_property
    def starts(self) -> list[float]:
        """The second at which each clip begins, and at last the end of all."""
        return [0.0, *accumulate(clip.seconds for clip in self.clips)]

    @property
    def seconds(self) -> float:
        """How long it is."""
        return self.starts[-1]

    @property
    def pauses(self) -> list[tuple[float, float]]:
        """What was not filmed between two clips, in milliseconds of the session."""
        return [(a.ends, b.begins) for a, b in pairwise(self.clips) if b.begins > a.ends + 1]

    def session_ms(self, reel_s: float) -> float:
        """Return the session's time, in milliseconds, of one of its seconds."""
        at = min(max(bisect_right(self.starts, reel_s) - 1, 0), len(self.clips) - 1)
        return self.clips[at].session_ms(reel_s - self.starts[at])

    def reel_s(self, session_ms: float) -> float:
        """Return the second at which a millisecond of the session is shown, or what is shown next after it."""
        for clip, start in zip(self.clips, self.starts, strict=False):
            if session_ms < clip.ends:
                return start + max(0.0, clip.film_s(session_ms))
        return self.seconds


def reel(clips: Sequence[Clip]) -> Reel:
    """Return clips as one film, in the order in which they began."""
    return Reel(tuple(sorted(clips, key=lambda clip: clip.begins)))
