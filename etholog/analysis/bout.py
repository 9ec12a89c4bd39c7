"""How near two onsets make one bout: the pauses between bouts, a criterion found from them, and bouts so joined."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns
from etholog.analysis.latency import check_names, named
from etholog.analysis.sequence import breaks
from etholog.base import notebook
from etholog.base.refusal import Refusal
from etholog.base.text import many
from etholog.season import Season

Floats = NDArray[np.float64]

PAUSES_AT_LEAST = 30
_PAUSE_LEAST_S = 1e-6  # sessions count in milliseconds: what is shorter is an error of arithmetic, and no pause
_IN_A_CLASS = 5


@dataclass(frozen=True)
class Criterion:
    """Two processes found in pauses: short ones within bouts, long ones between them.

    `criterion_s`: pauses up to it lie within a bout; NaN where one process explains them as well. `within_rate`,
    `between_rate`: 1/s; `within`, `between`: how many pauses are of each. `misassigned`: how many are expected on
    the wrong side. `classes`: pauses by classes of length: low_s, high_s, count, log_frequency (of the count by
    second) and what was fitted, for the plot of log frequencies.
    """

    criterion_s: float
    within: float
    within_rate: float
    between: float
    between_rate: float
    misassigned: float
    classes: pd.DataFrame
    sentence: str

    def _repr_html_(self) -> str:
        return notebook.html(self.sentence, self.classes)


def bout_pauses(season: Season, behaviour: str) -> Floats:
    """Return the seconds from each offset of a behaviour to its next onset, in order of length.

    Parameters
    ----------
    season: as `etholog.read` returned it.
    behaviour: a code, with its qualifier where it has one ('drumming', 'insertion:left').

    Returns
    -------
    An array of seconds, each above 0. Pauses that reach over a gap, or over time out of sight, are left out.

    Raises
    ------
    Refusal: for a behaviour that no ethogram of the season knows, with the nearest.

    >>> import etholog
    >>> etholog.bout_pauses(etholog.read("examples/season"), "drumming")[:3]
    array([1.196, 1.517, 2.229])
    """
    columns.season(season)
    check_names(season, [columns.word(behaviour, "behaviour")])
    which = named(season.bouts, [behaviour])
    bouts = season.bouts[which]
    place, onset = bouts["session"].cat.codes.to_numpy(), bouts["onset_s"].to_numpy(dtype=float)
    stretch = breaks(season, None)
    together = place[1:] == place[:-1]
    if stretch is not None:
        together &= stretch[which][1:] == stretch[which][:-1]
    apart = onset[1:] - bouts["offset_s"].to_numpy(dtype=float)[:-1]
    return np.sort(apart[together & (apart > 0)])


def between(within: float, within_rate: float, between_: float, between_rate: float) -> float:
    """Return the pause (s) that misassigns the fewest: ln(Nw lw / (Nb lb)) / (lw - lb) (Slater & Lester 1982; the
    formula from memory)."""
    return float(np.log(within * within_rate / (between_ * between_rate)) / (within_rate - between_rate))


def misassigned(criterion_s: float, within: float, within_rate: float, between_: float, between_rate: float) -> Floats:
    """Return how many pauses within bouts are expected beyond the criterion, and how many between them before it."""
    return np.array([within * np.exp(-within_rate * criterion_s), between_ * (1 - np.exp(-between_rate * criterion_s))])


def criterion(seconds: Floats) -> Criterion:
    """Return a bout criterion found from pauses, by the log frequencies of their lengths (Sibly, Nott & Fletcher 1990).

    Two exponential processes are fitted to the logarithm of the count by second, in classes that hold equally many
    pauses, so that each class weighs the same. Two are believed in only where they fit better than one by Akaike's
    criterion, and the criterion lies among the pauses.

    Parameters
    ----------
    seconds: the pauses, as `bout_pauses` returns them.

    Returns
    -------
    Criterion: `.criterion_s` (seconds; NaN where one process explains the pauses as well), the two processes, how
    many pauses are on the wrong side, and the classes.

    Raises
    ------
    Refusal: for what is no row of seconds.

    >>> import etholog
    >>> pauses = etholog.bout_pauses(etholog.read("examples/season"), "drumming")
    >>> etholog.criterion(pauses).sentence
    '20 pauses: fewer than 30 are too few to tell two processes apart.'
    """
    known = np.sort(columns.seconds(pd.DataFrame({"seconds": _row(seconds)}), "seconds"))
    known = known[known >= _PAUSE_LEAST_S]
    if len(known) < PAUSES_AT_LEAST:
        return _none(
            _classes(known),
            f"{many(len(known), 'pause')}: fewer than {PAUSES_AT_LEAST} are too few to tell two processes apart.",
        )
    table = _classes(known)
    one, two = _fitted(table, len(known))
    table["fitted"] = _log_sum(table, two)
    n = len(table)
    errors = [float(((_log_sum(table, model) - table["log_frequency"]) ** 2).sum()) for model in (one, two)]
    better = n * np.log(errors[0] / errors[1]) - 4 if errors[1] > 0 else np.inf
    (within, within_rate), (between_, between_rate) = sorted(zip(two[::2], two[1::2], strict=True), key=lambda p: -p[1])
    at = between(within, within_rate, between_, between_rate) if within_rate > between_rate else np.nan
    if not (better > 0 and known[0] < at < known[-1]):
        return _none(table, f"{len(known)} pauses: one process explains them as well as two; there is no criterion.")
    wrong = float(misassigned(at, within, within_rate, between_, between_rate).sum())
    said = (
        f"Pauses up to {at:.3g} s lie within a bout (two processes in {len(known)} pauses); about {wrong:.0f} of them"
        " are on the wrong side. It depends on the question, too: look at the classes."
    )
    return Criterion(at, within, within_rate, between_, between_rate, wrong, table, said)


def join(bouts: pd.DataFrame, join_s: float) -> pd.DataFrame:
    """Return the bouts with each run of one behaviour, of one session and qualifier, made one bout where the pauses
    are at most `join_s`. Its duration is from the first onset to the last offset; bouts whose end nobody saw end a
    run."""
    keys = [bouts[name].cat.codes.to_numpy() for name in ("session", "behaviour", "qualifier")]
    order = np.lexsort((np.arange(len(bouts)), *reversed(keys)))
    sorted_ = bouts.iloc[order]
    onset, offset = sorted_["onset_s"].to_numpy(dtype=float), sorted_["offset_s"].to_numpy(dtype=float)
    apart = np.any([key[order][1:] != key[order][:-1] for key in keys], axis=0)
    apart |= (onset[1:] - offset[:-1] > join_s + 1e-9) | ~sorted_["whole"].to_numpy()[:-1]
    starts = np.flatnonzero(np.concatenate([[True], apart])) if len(bouts) else np.zeros(0, dtype=np.intp)
    last = np.concatenate([starts[1:] - 1, [len(bouts) - 1]])[: len(starts)]
    joined = sorted_.iloc[starts].copy()
    joined["offset_s"] = offset[last]
    joined["duration_s"] = joined["offset_s"] - joined["onset_s"]
    joined["whole"] = sorted_["whole"].to_numpy()[last]
    return joined.sort_values(["session", "onset_s", "n"], ignore_index=True)


def _row(seconds: object) -> object:
    """Return the pauses as one row of numbers, or raise Refusal."""
    if isinstance(seconds, pd.Series):
        seconds = seconds.to_numpy()
    if not isinstance(seconds, list | tuple | np.ndarray) or (isinstance(seconds, np.ndarray) and seconds.ndim != 1):
        raise Refusal("pauses: a row of seconds is needed; give what etholog.bout_pauses returned")
    row = np.empty(len(seconds), dtype=object)
    for at, one in enumerate(seconds):
        row[at] = one
    return row


def _none(table: pd.DataFrame, why: str) -> Criterion:
    return Criterion(np.nan, np.nan, np.nan, np.nan, np.nan, np.nan, table, why)


def _classes(known: Floats) -> pd.DataFrame:
    """Return classes of pauses that hold as many each, and at least five."""
    wanted = max(1, min(30, len(known) // _IN_A_CLASS))
    edges = np.zeros(1)
    if len(known):
        edges = np.unique(np.concatenate([edges, np.quantile(known, np.arange(1, wanted + 1) / wanted)]))
    # A quantile between two values far apart may end a class that holds no pause: it is part of the next one.
    upto = np.searchsorted(known, edges, side="right")
    edges = edges[np.concatenate([[True], np.diff(upto) > 0])]
    low, high, count = edges[:-1], edges[1:], np.diff(np.unique(upto))
    frequency = np.log(count / (high - low))
    return pd.DataFrame({"low_s": low, "high_s": high, "count": count, "log_frequency": frequency})


def _log_sum(table: pd.DataFrame, model: Floats) -> Floats:
    """Return the log of the mean frequency that the processes (number, rate, number, rate ...) give in each class."""
    low, high = table["low_s"].to_numpy(), table["high_s"].to_numpy()
    total = sum(
        count * (np.exp(-rate * low) - np.exp(-rate * high))
        for count, rate in zip(model[::2], model[1::2], strict=True)
    )
    return np.asarray(np.log(np.maximum(total, 1e-300) / (high - low)), dtype=np.float64)


def _fitted(table: pd.DataFrame, n: int) -> tuple[Floats, Floats]:
    """Return the best single process and the best two, fitted in the logarithms of all their numbers and rates."""
    from scipy.optimize import least_squares

    def fit(start: list[float]) -> tuple[float, Floats]:
        found = least_squares(
            lambda log: _log_sum(table, np.exp(log)) - table["log_frequency"].to_numpy(),
            np.log(start), bounds=(-40, 40), max_nfev=400,
        )  # fmt: skip
        return float(found.cost), np.exp(found.x)

    middle = np.sqrt(
        np.maximum(table["low_s"].to_numpy(), table["high_s"].to_numpy()[0] / 2) * table["high_s"].to_numpy()
    )
    one = fit([n, 1 / float(middle.mean())])[1]
    starts = []
    for split in (0.3, 0.5, 0.7, 0.85):
        short, long_ = np.quantile(middle, [split / 2, (1 + split) / 2])
        starts.append([n * split, 1 / short, n * (1 - split), 1 / long_])
    two = min((fit(start) for start in starts), key=lambda found: found[0])[1]
    return one, two
