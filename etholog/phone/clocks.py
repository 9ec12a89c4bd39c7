"""What the recorder's clock showed when the phone was touched. Pure: milliseconds in, milliseconds out.

As in NTP (RFC 5905, section 8) the recorder asks, the phone answers with what its clock shows, and the answer lies
between the asking and its coming. Each round trip so bounds the offset of the two clocks on both sides; all of them
hold at once, so the quickest way there and the quickest way back decide, though they belong to different round trips
(Marzullo and Owicki 1983, "Maintaining the time in a distributed system", intersect clocks in this way).
"""

from collections.abc import Iterable
from typing import NamedTuple

# How far two clocks may drift apart in a millisecond. Crystals of phones keep within 50 parts in a million (from
# memory, no source); RFC 5905 takes 15 for the clocks of computers.
DRIFT = 100e-6


class Comparison(NamedTuple):
    """One round trip: the phone's clock showed `phone` at some moment from `asked` to `came` of the session (ms)."""

    asked: float
    phone: float
    came: float


class Placed(NamedTuple):
    """A moment of the session (ms): the middle of what is possible, and the bounds of that."""

    t: float
    earliest: float
    latest: float


def place(phone: float, compared: Iterable[Comparison]) -> Placed | None:
    """Return when the phone's clock showed `phone`; None where the clocks were never compared.

    Comparisons far from that moment count for less, since the clocks drift. Of those that contradict each other (one
    of the clocks was set) the nearest hold.

    >>> round(place(4300, [Comparison(100, 4100, 140), Comparison(300, 4270, 330)]).t)
    335
    """
    low, high = float("-inf"), float("inf")
    for one in sorted(compared, key=lambda one: abs(phone - one.phone)):
        drift = abs(phone - one.phone) * DRIFT
        least, most = max(low, one.asked - one.phone - drift), min(high, one.came - one.phone + drift)
        if least > most:
            break
        low, high = least, most
    if low == float("-inf"):
        return None
    return Placed(phone + (low + high) / 2, phone + low, phone + high)


def summed_up(phone: float, compared: Iterable[Comparison]) -> Comparison | None:
    """Return all comparisons as one at that moment of the phone's clock, for the phone to keep with its taps."""
    placed = place(phone, compared)
    return None if placed is None else Comparison(placed.earliest, phone, placed.latest)


def between(guess: float, earliest: float, latest: float) -> Placed:
    """Return where a tap of a clock that was never compared is put: as guessed by the wall clocks, if that is possible,
    else in the middle.

    >>> between(40, 10, 60).t, between(99, 10, 60).t
    (40, 35.0)
    """
    latest = max(earliest, latest)
    return Placed(guess if earliest <= guess <= latest else (earliest + latest) / 2, earliest, latest)
