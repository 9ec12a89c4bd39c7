"""A film's hours as lines of text, its stretches as rows of a table, and both as what a figure draws. Pure."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from etholog.base.clock import fine_face, round_step
from etholog.film.activity import PER_S
from etholog.film.stretches import DISTURBED, REASONS, Stretch, Trace, strength

CELLS = 60  # in a line
LONGEST_S = 60  # that a cell may last
NOTHING, SHARES, SPOILT = "·", "▂▄▆█", "░"


def lines(stretches: Sequence[Stretch], seconds: float) -> list[str]:
    """Return the film as lines of 60 cells: the higher a cell, the more of its time is in stretches.

    >>> lines([Stretch(6.0, 8.0, 2.0, 0.5, 0.5, "quick movement")], 20.0)
    ['0:00:00  ······██············']
    """
    step = min(round_step(seconds / CELLS), LONGEST_S)
    count = max(1, -(-int(seconds) // step))
    cells = [NOTHING] * count
    for disturbed in (True, False):  # what moves is drawn over what only spoilt the picture
        share = [0.0] * count
        for stretch in stretches:
            if (stretch.why == REASONS[DISTURBED]) != disturbed:
                continue
            for cell in range(int(stretch.onset_s // step), min(count, int(stretch.offset_s // step) + 1)):
                shared = min(stretch.offset_s, (cell + 1) * step) - max(stretch.onset_s, cell * step)
                share[cell] += max(0.0, shared) / step
        for cell, part in enumerate(share):
            if part > 0:
                cells[cell] = SPOILT if disturbed else SHARES[min(3, int(part * 4))]
    return [f"{fine_face(at * step)[:-3]}  {''.join(cells[at : at + CELLS])}" for at in range(0, count, CELLS)]


def place(stretch: Stretch) -> str:
    """Return where in the picture a stretch is, in words.

    >>> place(Stretch(0.0, 1.0, 2.0, 0.1, 0.5, "quick movement"))
    'left'
    """
    across = ("left", "", "right")[min(2, int(stretch.x * 3))]
    down = ("top", "", "bottom")[min(2, int(stretch.y * 3))]
    return " ".join(filter(None, (down, across))) or "middle"


def rows(film: str, stretches: Sequence[Stretch], begins_s: float = 0.0) -> list[dict[str, Any]]:
    """Return a row for each stretch; `from` and `to` are times of the film file, `at` is the time on the clock that
    several films share."""
    return [
        {
            "film": film,
            "from": fine_face(stretch.onset_s),
            "to": fine_face(stretch.offset_s),
            "at": fine_face(begins_s + stretch.onset_s),
            "seconds": round(stretch.offset_s - stretch.onset_s, 2),
            "strength": stretch.strength,
            "where": place(stretch),
            "x": stretch.x,
            "y": stretch.y,
            "why": stretch.why,
        }
        for stretch in stretches
    ]


def curve(films: Sequence[tuple[float, Trace]], more: float = 1.0) -> dict[str, Any]:
    """Return `film_s` and `strength` of films, each with the second at which it begins; nothing moves between two."""
    times, strengths = [], []
    for begins_s, trace in films:
        times.append(begins_s + np.arange(len(trace) + 1) / PER_S)
        strengths.append(np.append(strength(trace, more), 0.0))
    return {"film_s": np.concatenate(times), "strength": np.concatenate(strengths)}


def bars(films: Sequence[tuple[float, Sequence[Stretch]]]) -> dict[str, Any]:
    """Return `onset_s`, `offset_s` and `disturbed` of stretches, each film with the second at which it begins."""
    every = [(begins_s, stretch) for begins_s, own in films for stretch in own]
    return {
        "onset_s": [begins_s + stretch.onset_s for begins_s, stretch in every],
        "offset_s": [begins_s + stretch.offset_s for begins_s, stretch in every],
        "disturbed": [stretch.why == REASONS[DISTURBED] for _, stretch in every],
    }
