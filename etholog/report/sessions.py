"""Each session of the page: its summary in words, its small strip, and its whole one where there is room for it."""

from collections.abc import Sequence

import pandas as pd

from etholog.animals.care import Task
from etholog.base.clock import clock_face
from etholog.base.language import gettext, gettext_noop
from etholog.report import strips
from etholog.report.content import Evening, Note, Step, table
from etholog.season import Season
from etholog.session import Session, log, summary
from etholog.session.evidence import OF_A_SESSION, evidence

WHOLE = 40  # sessions whose strips are drawn whole unasked; of more, only small ones, all on one scale
MOST_ENTRIES = 500
NO_TASKS = gettext_noop("Nothing is due for these two in what the cards and the windows of the ethogram know.")


def notes(season: Season, read: Sequence[Session], whole: bool | None = None) -> list[Note]:
    """Return a note on each session. `whole`: whether with its whole strip (not given: where there are at most 40)."""
    whole = len(season.sessions) <= WHOLE if whole is None else whole
    by_id = {one.id: one for one in read}
    named = season.labels
    bouts, gaps = (
        {str(name): rows for name, rows in frame.groupby("session", observed=True)}
        for frame in (season.bouts, season.gaps)
    )
    reach = float(season.sessions["length_s"].max())
    made = []
    for number, row in enumerate(season.sessions.to_dict("records"), 1):
        one, name = by_id[str(row["session"])], str(row["session"])
        heading, *lines = (line.strip() for line in summary.lines(one))
        own = bouts.get(name, season.bouts.iloc[:0])
        moments = [(t / 1000, kind) for t, kind in log.signs(one)]
        end, anchor = float(row["length_s"]), f"session-{number}"
        own_gaps = gaps.get(name, season.gaps.iloc[:0])
        strip = strips.whole(anchor, heading, end, own, own_gaps, moments, named) if whole else None
        made.append(Note(anchor, heading, lines, strips.small(own, end, reach), strip))
    return made


def evening(one: Session, tasks: Sequence[Task]) -> Evening:
    """Return what only the page of a single session has."""
    rung = evidence(one.ethogram, one.fold.bouts)
    entries = [(clock_face(entry.t), entry.text) for entry in log.entries(one)]
    frame = pd.DataFrame(entries, columns=["time", "what"])
    todo = pd.DataFrame(
        [(task.animal, task.what, task.first.isoformat(), task.last.isoformat(), task.why) for task in tasks],
        columns=["animal", "what", "first", "last", "why"],
    )
    told = gettext("As the cards were on {day}; what is due today: etholog due.", day=one.began.date())
    heads = {
        "animal": gettext_noop("animal"),
        "what": gettext_noop("what"),
        "first": gettext_noop("from"),
        "last": gettext_noop("to"),
        "why": gettext_noop("why"),
    }
    return Evening(
        [Step(step.words, step == rung) for step in OF_A_SESSION] if rung.known else [],
        table(
            frame,
            gettext("Marks, notes and gaps, as corrected."),
            {"time": gettext_noop("time"), "what": gettext_noop("what")},
            MOST_ENTRIES,
            "etholog show --log",
        ),
        table(todo, told, heads) if tasks else None,
        gettext(NO_TASKS) if not tasks else "",
    )
