"""What is due, as a calendar file (iCalendar, RFC 5545)."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid5

from icalendar import Alarm, Calendar, Event

from etholog.animals.care import Task
from etholog.base.atomic import replacing
from etholog.base.text import visible

# Any fixed name space does; this one was drawn once, so that a task has the same id on every machine.
_SPACE = UUID("7f0a4b1c-8f53-4d1e-9a0b-3c1f5f2a6d10")
# A bar of months across a calendar hides everything else, so a longer window shows as its first day.
LONGEST_BAR_DAYS = 31
MORNING = timedelta(hours=9)


def calendar(tasks: Sequence[Task], now: datetime) -> bytes:
    """Return the tasks as one calendar of all-day events, each with a stable UID."""
    book = Calendar()
    book.add("prodid", "-//etholog//due//EN")
    book.add("version", "2.0")
    for task in tasks:
        book.add_component(_event(task, now))
    text: bytes = book.to_ical()
    return text


def write(path: Path, tasks: Sequence[Task]) -> None:
    """Write the calendar whole, or not at all. Raises Refusal where the folder takes no file."""
    with replacing(path) as file:
        file.write(calendar(tasks, datetime.now(UTC)))


def _event(task: Task, now: datetime) -> Event:
    event = Event()
    event.add("uid", f"{uuid5(_SPACE, task.key)}@etholog")
    event.add("dtstamp", now)
    # The same date told later stands above the one told before.
    event.add("sequence", (now.date() - date(2026, 1, 1)).days)
    event.add("summary", visible(f"{task.animal}: {task.what}"))
    event.add("description", visible(f"{task.why}. From {task.first} to {task.last} ({task.source})."))
    bar = (task.last - task.first).days
    event.add("dtstart", task.first)
    event.add("dtend", task.first + timedelta(days=1 if task.every or bar > LONGEST_BAR_DAYS else bar + 1))
    if task.every:
        event.add("rrule", {"freq": "daily", "interval": task.every, "until": task.last})
    event.add("transp", "TRANSPARENT")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", visible(f"{task.animal}: {task.what}"))
    alarm.add("trigger", MORNING)
    event.add_component(alarm)
    return event
