"""What came of the pairings, as the cards know it."""

from collections.abc import Iterator
from datetime import date
from functools import partial

import pandas as pd

from etholog import figures
from etholog.analysis.outcome import evidence_words, funnel, time_to_sac
from etholog.analysis.sentences.outcome import answer
from etholog.report.content import Section, table
from etholog.report.svg import Drawings


def section(attempts: pd.DataFrame, drawings: Drawings, today: date) -> Iterator[Section]:
    """Yield the section on outcomes, where a card or a session knows of any pairing; `attempts`: of `outcomes`."""
    if not len(attempts):
        return
    question = "What came of the pairings?"
    steps, first = funnel(attempts), time_to_sac(attempts)
    pictures = [drawings.picture(partial(figures.funnel, steps), FUNNEL, question)]
    if len(first):
        pictures.append(drawings.picture(partial(figures.ends, first), ENDS, f"{question} By days."))
    heads = {
        "female": "female", "males": "sire, as far as known", "first_on": "first pairing", "last_on": "last pairing",
        "pairings": "pairings", "evidence": "evidence", "insertion_s": "insertions, s", "end": "end", "days": "days",
        "young": "young counted", "doubts": "doubts",
    }  # fmt: skip
    caption = "Every attempt: all pairings of one female in one intermoult, up to a sac, a moult or her death."
    yield Section(
        "outcomes",
        question,
        answer(attempts, today),
        pictures,
        [table(attempts.assign(evidence=evidence_words(attempts)), caption, heads, rest="etholog outcome --more")],
        "Shares of the evening with Wilson's limits; what takes time by the day that is named, by Aalen and Johansen:"
        " what still waits counts for as long as it has waited.",
        "Wilson 1927; Aalen & Johansen 1978.",
        ["Days run from the last pairing in which sperm may have been transferred."],
        "Whether sperm was transferred: a sac does not prove it, and its absence does not rule it out.",
    )


FUNNEL = "How many came how far. Dots: of those that reached the step before, the share that reached this one."
ENDS = "What ended the waiting, and by when."
