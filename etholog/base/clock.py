"""How times within a session are written, and how they are read when typed."""

import re
from fractions import Fraction

_TYPED = re.compile(r"(?:(?:(\d{1,3}):)?(\d{1,4}):)?(\d{1,7}(?:[.,]\d+)?)\s*(?:s|sec|seconds?)?")
_MINUTES = re.compile(r"(\d{1,4}(?:[.,]\d+)?)\s*(?:min|minutes?|m)")


def clock_face(ms: int) -> str:
    """Return milliseconds as h:mm:ss.

    >>> clock_face(3_723_400)
    '1:02:03'
    """
    seconds = ms // 1000
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def length_face(ms: float) -> str:
    """Return a length of time as m:ss, with hours where there are any, to the nearest second; a moment is cut off.

    >>> length_face(65_700), length_face(200), length_face(3_905_000)
    ('1:06', '0:00', '1:05:05')
    """
    whole = 1000 * round(ms / 1000)
    return clock_face(whole) if whole >= 3_600_000 else f"{whole // 60_000}:{whole // 1000 % 60:02d}"


def fine_face(seconds: float | Fraction) -> str:
    """Return seconds as h:mm:ss.ss.

    >>> fine_face(3723.45)
    '1:02:03.45'
    """
    hundredths = round(seconds * 100)
    return f"{clock_face(hundredths * 10)}.{hundredths % 100:02d}"


def seconds_face(seconds: float) -> str:
    """Return seconds before or after something as a clock shows them.

    >>> seconds_face(65), seconds_face(-5), seconds_face(3905)
    ('1:05', '-0:05', '1:05:05')
    """
    shown = length_face(1000 * abs(seconds))
    return f"-{shown}" if round(seconds) < 0 else shown


LONGEST_MS = 10**10  # that a record's time may be: 115 days
LATER_MS = 10 * LONGEST_MS  # later than any session's end

STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14_400, 28_800, 86_400)


def round_step(least: float) -> int:
    """Return the shortest round length of time in seconds that is `least` seconds or more; a day is the longest.

    >>> round_step(23.75), round_step(1e9)
    (30, 86400)
    """
    return next((step for step in STEPS_S if step >= least), STEPS_S[-1])


def round_times(end: float, most: int) -> list[float]:
    """Return round times in seconds from 0 to `end`, at most `most` steps of them.

    >>> round_times(95, 4)
    [0.0, 30.0, 60.0, 90.0]
    """
    return [float(at) for at in range(0, int(end) + 1, round_step(end / most))]


def seconds_typed(text: str) -> float | None:
    """Return how many seconds were typed, as seconds, minutes or a clock's figures; None where it is none of them.

    >>> seconds_typed("90"), seconds_typed("90 s"), seconds_typed("1:30"), seconds_typed("1.5 min")
    (90.0, 90.0, 90.0, 90.0)
    >>> seconds_typed("1:90"), seconds_typed("soon")
    (None, None)
    """
    text = text.strip().lower()
    if found := _MINUTES.fullmatch(text):
        return float(found[1].replace(",", ".")) * 60
    found = _TYPED.fullmatch(text)
    if found is None:
        return None
    hours, minutes, seconds = (float((part or "0").replace(",", ".")) for part in found.groups())
    if (found[2] is not None and seconds >= 60) or (found[1] is not None and minutes >= 60):
        return None
    return (hours * 60 + minutes) * 60 + seconds
