"""Dates as keepers know them: to the day, to the month, or only to the year."""

import calendar
import re
from datetime import date
from functools import lru_cache
from typing import NamedTuple

from etholog.base.refusal import Refusal

FIRST_YEAR, LAST_YEAR = 1900, 2999  # what is reckoned from a day then stays within the calendar
_WRITTEN = re.compile(r"(\d{4})(?:-(\d{2}))?(?:-(\d{2}))?", re.ASCII)


class Day(NamedTuple):
    """A date that may be known only to its month (`2026-03`) or year (`2026`): the days `first` to `last` are
    possible."""

    text: str
    first: date
    last: date

    @classmethod
    @lru_cache(maxsize=4096)  # thousands of cards share the days of a few years
    def parse(cls, text: str) -> "Day":
        """Read `2026-03-05`, `2026-03` or `2026` (ISO 8601). Raises Refusal for anything else."""
        found = _WRITTEN.fullmatch(text)
        if found is None:
            raise Refusal(f"{text!r} is not a date; write 2026-03-05, or 2026-03 or 2026 where no more is known")
        year, month, day = (int(part) if part else None for part in found.groups())
        try:
            first = date(year or 0, month or 1, day or 1)
        except ValueError as error:
            raise Refusal(f"{text!r} is not a date ({error}); look at the calendar again") from None
        if not FIRST_YEAR <= first.year <= LAST_YEAR:
            raise Refusal(f"{text!r} is not a date (the year must be {FIRST_YEAR} to {LAST_YEAR}); look at it again")
        if day:
            return cls(text, first, first)
        end = month or 12
        return cls(text, first, date(first.year, end, calendar.monthrange(first.year, end)[1]))

    @classmethod
    def of(cls, day: date) -> "Day":
        """Return the date known to the day."""
        return cls(day.isoformat(), day, day)

    @property
    def exact(self) -> bool:
        """Whether it is known to the day."""
        return self.first == self.last

    def before(self, other: "Day") -> bool:
        """Return whether this was surely before the other."""
        return self.last < other.first

    def days_until(self, other: "Day") -> tuple[int, int]:
        """Return the least and the most days from this to the other.

        >>> Day.parse("2026-02").days_until(Day.parse("2026-03-10"))
        (10, 37)
        """
        return (other.first - self.last).days, (other.last - self.first).days


def exact_day(text: str) -> date:
    """Read a date that has to be known to the day."""
    day = Day.parse(text)
    if not day.exact:
        raise Refusal(f"{text!r} is not a single day; write 2026-03-05")
    return day.first


def as_of(text: str | None) -> date:
    """Return the day for which something is asked: today, where none is named."""
    return exact_day(text) if text else date.today()


def between(days: tuple[int, int]) -> str:
    """Return a span of days in words.

    >>> between((3, 3)), between((10, 37)), between((1, 1))
    ('3 days', '10 to 37 days', '1 day')
    """
    low, high = days
    if low == high:
        return f"{low} day" if abs(low) == 1 else f"{low} days"
    return f"{low} to {high} days"
