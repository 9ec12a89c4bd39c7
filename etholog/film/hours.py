"""A film's hours as lines of text, and its stretches as rows of a table. Pure."""

from collections.abc import Sequence
from typing import Any

from etholog.base.clock import fine_face
from etholog.film.stretches import DISTURBED, REASONS, Stretch

CELLS = 60  # in a line
STEPS_S = (1, 5, 10, 30, 60)  # that a cell may last
NOTHING, SHARES, SPOILT = "·", "▂▄▆█", "░"


def lines(stretches: Sequence[Stretch], seconds: float) -> list[str]:
    """Return the film as lines of 60 cells: the higher a cell, the more of its time is in stretches.

    >>> lines([Stretch(6.0, 8.0, 2.0, 0.5, 0.5, "quick movement")], 20.0)
    ['0:00:00  ······██············']
    """
    step = next((s for s in STEPS_S if seconds <= s * CELLS), STEPS_S[-1])
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
