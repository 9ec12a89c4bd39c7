"""What is due, as a calendar file (iCalendar, RFC 5545)."""

from collections.abc import Collection, Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import MappingProxyType
from uuid import UUID, uuid5

from icalendar import Alarm, Calendar, Component, Event

from etholog.animals.care import Task
from etholog.base.atomic import replacing
from etholog.base.language import gettext, unchecked
from etholog.base.text import visible

# Any fixed name space does; this one was drawn once, so that a task has the same id on every machine.
_SPACE = UUID("7f0a4b1c-8f53-4d1e-9a0b-3c1f5f2a6d10")
# A bar of months across a calendar hides everything else, so a longer window shows as its first day.
LONGEST_BAR_DAYS = 31
OURS = "-//etholog//due//EN"
MORNING = timedelta(hours=9)
SAID = ("summary", "description", "dtstart", "dtend", "rrule", "status")  # what makes an event another one
_MOST = 2**31 - 1  # the largest whole number of RFC 5545


def calendar(
    tasks: Sequence[Task],
    now: datetime,
    before: bytes = b"",
    of: Collection[str] = (),
    lasting: Mapping[str, str] = MappingProxyType({}),
) -> bytes:
    """Return the tasks that have days of their own as one calendar of all-day events, each with a stable UID.

    `before`: the calendar that an earlier export wrote there. What has changed since has a higher number (SEQUENCE).
    What it had and what is no longer due is marked as cancelled, since somebody's calendar may still hold it; `of`:
    only of these animals (none given: of all). `lasting`: the animals' lasting ids, since two keepers may each have an
    F-1, and one calendar may take in what both are to do.
    """
    book = Calendar()
    book.add("prodid", OURS)
    book.add("version", "2.0")
    old = {str(event["uid"]): event for event in _events(before)}
    due: set[str] = set()
    for task in tasks:
        if task.has_days:
            event = _event(task, now, lasting.get(task.animal, ""))
            due.add(uid := str(event["uid"]))
            event.add("sequence", _number(event, old.get(uid), now))
            book.add_component(event)
    for uid, earlier in old.items():
        whose = str(earlier.get("summary", "")).partition(":")[0]
        if uid not in due:
            book.add_component(_cancelled(earlier, now) if not of or whose in of else earlier)
    text: bytes = book.to_ical()
    return text


def write(
    path: Path, tasks: Sequence[Task], of: Collection[str] = (), lasting: Mapping[str, str] = MappingProxyType({})
) -> None:
    """Write the calendar whole, or not at all. Raises Refusal where the folder takes no file.

    What an earlier export to the same file had and is no longer due is cancelled in it.
    """
    try:
        before = path.read_bytes() if path.is_file() else b""
    except OSError:
        before = b""  # that it can't be written either is said below
    data = calendar(tasks, datetime.now(UTC), before, of, lasting)
    with replacing(path) as file:
        file.write(data)


def _events(before: bytes) -> list[Component]:
    """Return the events of an earlier export of ours; nothing of another program's calendar, or of any other file."""
    try:
        book = Calendar.from_ical(before) if before else Calendar()
    except ValueError:
        return []
    if str(book.get("prodid", "")) != OURS:
        return []
    return [event for event in book.walk("VEVENT") if "uid" in event]


def _cancelled(event: Component, now: datetime) -> Event:
    """Return an event as no longer due (RFC 5545, 3.8.1.11), without an alarm."""
    told = Event()
    for name in ("uid", "summary", "description", "dtstart", "dtend", "rrule", "transp"):
        if name in event:
            told[name] = event[name]
    told.add("dtstamp", now)
    told.add("status", "CANCELLED")
    told.add("sequence", _number(told, event, now))
    return told


def _number(event: Component, before: Component | None, now: datetime) -> int:
    """Return an event's SEQUENCE (RFC 5545, 3.8.7.4): as it was where it says the same, else higher."""
    if before is None:
        return _sequence(now)
    same = all(_told(event, name) == _told(before, name) for name in SAID)
    return _sequence_of(before) if same else max(_sequence_of(before) + 1, _sequence(now))


def _told(event: Component, name: str) -> object:
    return event[name].to_ical() if name in event else None


def _sequence_of(event: Component) -> int:
    """Return an event's number; 0 where somebody has made it one that no calendar reads."""
    try:
        told = int(event.get("sequence", 0))
    except (TypeError, ValueError):
        return 0
    return told if 0 <= told < _MOST else 0


def _sequence(now: datetime) -> int:
    """The same date told later stands above the one told before."""
    return (now.date() - date(2026, 1, 1)).days


def _event(task: Task, now: datetime, lasting: str) -> Event:
    event = Event()
    key = f"{lasting}/{task.key.removeprefix(f'{task.animal}/')}" if lasting else task.key
    event.add("uid", f"{uuid5(_SPACE, key)}@etholog")
    event.add("dtstamp", now)
    event.add("summary", visible(f"{task.animal}: {task.what}"))
    told = gettext(
        "{why}. From {first} to {last} ({source}).",
        why=task.why, first=task.first, last=task.last, source=task.source,
    )  # fmt: skip
    event.add("description", visible(" ".join(filter(None, (told, unchecked())))))
    bar = (task.last - task.first).days
    event.add("dtstart", task.first)
    event.add("dtend", task.first + timedelta(days=1 if task.every or bar > LONGEST_BAR_DAYS else bar + 1))
    if task.every:
        event.add("rrule", {"freq": "daily", "interval": task.every, "until": task.last})
    event.add("transp", "TRANSPARENT")
    if task.last < now.date() or (task.first < now.date() and not task.every):
        return event  # its morning is past: it would ring late, and at once
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", visible(f"{task.animal}: {task.what}"))
    alarm.add("trigger", MORNING)
    event.add_component(alarm)
    return event
