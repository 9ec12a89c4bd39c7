"""What came of the pairings, as the cards know it."""

from collections.abc import Iterator
from datetime import date
from functools import partial

import pandas as pd

from etholog.analysis.outcome import evidence_words, funnel, time_to_sac
from etholog.analysis.sentences.outcome import answer, by_then
from etholog.base.language import gettext, gettext_noop
from etholog.report import drawing
from etholog.report.content import Section, table
from etholog.report.svg import Drawings

ENDED = {
    "sac": gettext_noop("sac"),
    "moult": gettext_noop("moult"),
    "died": gettext_noop("died"),
    "open": gettext_noop("open"),
}


def section(attempts: pd.DataFrame, drawings: Drawings, today: date) -> Iterator[Section]:
    """Yield the section on outcomes, where a card or a session knows of any pairing; `attempts`: of `outcomes`."""
    if not len(attempts):
        return
    question = gettext("What came of the pairings?")
    steps, first = funnel(attempts), time_to_sac(attempts)
    pictures = [drawings.picture(partial(drawing.funnel, steps), gettext(FUNNEL), question)]
    if len(first):
        pictures.append(
            drawings.picture(partial(drawing.ends, first), gettext(ENDS), question + " " + gettext("By days."))
        )
    heads = {
        "female": gettext_noop("female"),
        "males": gettext_noop("sire, as far as known"),
        "first_on": gettext_noop("first pairing"),
        "last_on": gettext_noop("last pairing"),
        "pairings": gettext_noop("pairings"),
        "evidence": gettext_noop("evidence"),
        "insertion_s": gettext_noop("insertions, s"),
        "end": gettext_noop("end"),
        "days": gettext_noop("days"),
        "young": gettext_noop("young counted"),
        "doubts": gettext_noop("doubts"),
    }
    caption = gettext("Every attempt: all pairings of one female in one intermoult, up to a sac, a moult or her death.")
    yield Section(
        "outcomes",
        question,
        " ".join([answer(attempts, today), *by_then(attempts, steps)]),
        pictures,
        [
            table(
                attempts.assign(
                    evidence=evidence_words(attempts),
                    end=[_end(str(end)) for end in attempts["end"]],
                ),
                caption,
                heads,
                rest="etholog outcome --more",
            )
        ],
        gettext(
            "Shares of the evening with Wilson's limits; what takes time by the day that is"
            " named, by Aalen and Johansen: what still waits counts for as long as it has waited."
        ),
        "Wilson 1927; Aalen & Johansen 1978.",
        [gettext("Days run from the last pairing in which sperm may have been transferred.")],
        gettext("Whether sperm was transferred: a sac does not prove it, and its absence does not rule it out."),
    )


FUNNEL = gettext_noop(
    "How many came how far. Dots: of those that reached the step before, the share that reached this one."
)
ENDS = gettext_noop("What ended the waiting, and by when.")


def _end(end: str) -> str:
    return gettext(ENDED.get(end, end))
