"""Two weeks of what is due as a page for whoever looks after the animals meanwhile."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

from etholog.animals.care import Task
from etholog.animals.life import Section
from etholog.base.language import beside, gettext, gettext_noop, unchecked, weekday

# What a sitter does; all else of what is due waits for the keeper.
FOR_A_SITTER = ("meal", "water", "refused", "guard", "quiet", "sac", "incubator", "check")
NEVER = [
    gettext_noop("Never put two animals together, whatever they seem to want."),
    gettext_noop(
        "Never reach in with fingers: long tongs or a brush. Lid back on before you turn away; count the animals."
    ),
    gettext_noop("Never open, shake or move a tub with a sac; look by torch. Never pull or open a sac."),
    gettext_noop(
        "Never feed an animal that lies on its back or has just moulted: it is not ill. Take prey out, leave water."
    ),
    gettext_noop("Never rub your eyes or skin after touching a tub: wash your hands first."),
    gettext_noop("Never release an animal. If one is gone: door shut, note the time, call the keeper."),
]


def sections(tasks: Sequence[Task], today: date, days: int, call: str, cautions: Sequence[str]) -> list[Section]:
    """Return the page: whom to call, what never to do, then each day with its tasks, a box to tick before each; last
    what the keeper does himself. `call`: the keeper's line for the poison centre, or ''."""
    end = today + timedelta(days=days - 1)
    whom = [call or gettext("Poison centre: ____________________"), gettext("The keeper: ____________________")]
    whom += [gettext("A vet who takes spiders: ____________________"), *cautions, *filter(None, [unchecked()])]
    mine = [task for task in tasks if task.kind in FOR_A_SITTER]
    by_day = [today + timedelta(days=n) for n in range(days)]
    shown = [
        (day, [f"[ ] {task.animal}: {task.what}" for task in mine if day in set(_days(task, today, end))])
        for day in by_day
    ]
    later = [
        f"{task.animal}: {task.what} ({max(task.first, today)})"
        for task in tasks
        if task.kind not in FOR_A_SITTER and task.first <= end
    ]
    return [
        (gettext("Whom to call"), whom),
        (gettext("What never to do"), [beside(line) for line in NEVER]),
        *((f"{weekday(day)} {day}", lines or [gettext("nothing")]) for day, lines in shown),
        (gettext("For the keeper, not for you"), later or [gettext("nothing")]),
    ]


def _days(task: Task, today: date, end: date) -> Iterator[date]:
    """Yield the days on which a task is to be done: from its first on, as often as it repeats or comes due again."""
    day, until = max(task.first, today), end if task.again_after else min(task.last, end)
    yield day
    while (apart := task.every or task.again_after) and (day := day + timedelta(days=apart)) <= until:
        yield day
