"""A first look at a film by its key frames alone: a fortieth of the work of a search, and blind to what comes back.

A key frame comes every 2 to 10 seconds. What walks stands elsewhere in the next one; what shakes between two does not.
"""

from contextlib import closing

import numpy as np

from etholog.base.refusal import Refusal
from etholog.film.activity import Area, key_changes, key_seconds, pictures
from etholog.film.source import Source
from etholog.film.stretches import LEAST_SPREAD, REASONS, SLOW, Stretch, chance_threshold, less_common, pooled

FEWEST = 20  # key frames that tell a film's own noise
# Told with each preview; `python -m tests.bench.film_search --preview` prints what it rests on.
RECALL = (
    "What moves and comes back between two key frames is not among them: on 24 made films a preview met all of 48 "
    "walks and 2 of 24 shakes. Search the film before you rely on it."
)


def preview(source: Source, area: Area, more: float = 1.0) -> list[Stretch]:
    """Return between which key frames something changed its place. Raises Refusal where there are too few of them."""
    keys = np.sort(key_seconds(source))
    with closing(pictures(source, area, keys=True)) as grey:
        change = np.sqrt(key_changes(grey))
    count = min(len(change), len(keys) - 1)
    if count < FEWEST:
        raise Refusal(f"{source.path}: has {len(keys)} key frames, too few for a preview; search it whole")
    change = change[:count]
    level = np.median(change, axis=0)
    spread = np.median(np.abs(change - level), axis=0)
    ordinary = np.median(spread)
    measure = (change - level) / (1.48 * np.maximum(np.maximum(spread, 0.7 * ordinary), LEAST_SPREAD))
    places = pooled(less_common(measure)).reshape(count, -1)
    best = places.max(axis=1)
    threshold = chance_threshold(best, more)
    columns = change.shape[2] - 1
    found = []
    for at in np.flatnonzero(best >= threshold).tolist():
        row, column = divmod(int(places[at].argmax()), columns)
        x, y = (column + 1) / change.shape[2], (row + 1) / change.shape[1]
        strength = round(float(best[at] / threshold), 2)
        ends = float(keys[at + 1])
        found.append(Stretch(float(keys[at]), ends, strength, round(x, 3), round(y, 3), REASONS[SLOW], ends))
    return found
