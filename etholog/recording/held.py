"""Tells a key that is held down from one that is pressed again. Pure: keys and the seconds at which they came.

Most terminals send a held key as presses: the first again after a quarter of a second to one second, then one every 25
to 100 ms (10.9 to 40 a second are the usual rates of consoles and desktops). Nobody taps one key twice within 80 ms,
and nobody keeps an even beat faster than 125 ms: people tap as fast as they can at 5 to 7 a second. So such a stamp
is a repeat; and what had been taken for presses before that could be known was none.
"""

from dataclasses import dataclass

REPEAT_S = 0.080
BEAT_S = 0.125  # repeats come at least so often
EVEN_S = 0.030  # and so evenly, on a busy machine
HOLDS_ON_S = 0.140  # once it is known to be held, so long an interval is a late repeat
DELAY_S = (0.2, 1.05)  # from a press to its first repeat


@dataclass
class HeldKey:
    """The key that came last, and how often it came of late."""

    key: str = ""
    at: float = float("-inf")
    interval: float = float("inf")
    held: bool = False

    def again(self, key: str, at: float) -> bool:
        """Take in a key; return whether it came because it is held down."""
        before = self.interval
        self.interval = at - self.at if key == self.key else float("inf")
        self.at = at
        if key != self.key:
            self.key, self.held = key, False
        evenly = self.beats and abs(self.interval - before) < EVEN_S
        self.held = self.interval < REPEAT_S or evenly or (self.held and self.interval < HOLDS_ON_S)
        return self.held

    @property
    def beats(self) -> bool:
        """Whether it came as soon after the one before as repeats do."""
        return self.interval < BEAT_S

    @property
    def is_doubtful(self) -> bool:
        """Whether the key just taken in for a press may turn out to be a repeat."""
        return self.beats or DELAY_S[0] <= self.interval <= DELAY_S[1]

    def forget(self) -> None:
        """Begin anew: something else was done in between."""
        self.key, self.interval, self.held = "", float("inf"), False
