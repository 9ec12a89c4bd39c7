"""Strips of sessions as lanes in percent of the page's width.

Not drawn by matplotlib: so one drawing fits every width, its words are as large as the page's, and it takes a hundredth
of the time, which counts where a season has hundreds of them.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from etholog.analysis.lanes import lanes_of, total
from etholog.base.clock import round_times, seconds_face
from etholog.base.text import in_words
from etholog.report.content import Lane, Span, Strip, shown

SMALL = ("female", "pair", "male")  # the lanes of a small strip, from the top
TIMES = 4  # steps of the clock under a strip, so that they stand apart on a telephone
SEEN = ("kind", "onset_s", "offset_s", "whole", "confident")  # of a bout
DRAWN = ("actor", "onset_s", "offset_s", "hides")  # of a bout, in a small strip
SIGNS = {"note": "★", "rescue": "✕", "sync": "✚"}


def whole(
    anchor: str,
    name: str,
    end_s: float,
    bouts: pd.DataFrame,
    gaps: pd.DataFrame,
    moments: Sequence[tuple[float, str]],
    named: Mapping[str, str],
) -> Strip:
    """Return the strip of one session: a lane for each behaviour that came, with its number and time in all."""
    end = max(end_s, 1.0)
    # A column at a time: rows as mappings would take most of the time of a page's strips.
    seen = list(zip(*(bouts[name].tolist() for name in SEEN), strict=True))
    actors, kinds, lengths = (bouts[name].tolist() for name in ("actor", "kind", "duration_s"))
    lanes = [
        Lane(
            str(actors[rows[0]]),
            shown(in_words(code, named)),
            [span for row in rows for span in _spans(seen[row], end)],
            total([kinds[row] for row in rows], [lengths[row] for row in rows]),
        )
        for code, rows in lanes_of(bouts, named).items()
    ]
    return Strip(
        anchor,
        name,
        lanes,
        [_span(gap["onset_s"], gap["offset_s"], end, "gap") for gap in gaps.to_dict("records")],
        [(_percent(at, end), seconds_face(at)) for at in round_times(end, TIMES)],
        [(_percent(at, end), SIGNS[kind]) for at, kind in moments if kind in SIGNS],
    )


def small(bouts: pd.DataFrame, end_s: float, reach_s: float) -> list[Lane]:
    """Return the small strip of one session: a lane for her, one for both and one for him, on a scale of `reach_s`."""
    reach = max(reach_s, 1.0)
    spans: dict[str, list[Span]] = {}
    # A column at a time here too: choosing rows of three hundred sessions takes a second.
    for actor, onset, offset, hides in zip(*(bouts[name].tolist() for name in DRAWN), strict=True):
        if not hides:
            spans.setdefault(actor, []).append(_span(onset, offset, reach, "bout"))
    lanes = [Lane(actor, "", spans[actor], "") for actor in SMALL if actor in spans]
    return [*lanes, Lane("", "", [_span(0.0, end_s, reach, "length")], "")]


def _spans(bout: tuple[Any, ...], end: float) -> list[Span]:
    kind, onset, offset, whole, confident = bout
    sure = "" if confident else " unsure"
    if kind == "event":
        return [Span(_percent(onset, end), "", f"event{sure}")]
    found = [_span(onset, offset, end, f"bout{sure}")]
    return found if whole else [*found, Span(_percent(offset, end), "", "cut")]


def _span(onset: float, offset: float, end: float, kind: str) -> Span:
    return Span(_percent(onset, end), _percent(offset - onset, end), kind)


def _percent(at: float, end: float) -> str:
    return f"{100 * at / end:.2f}".rstrip("0").rstrip(".") + "%"
