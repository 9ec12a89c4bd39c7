"""How many males and sessions it takes to see a difference, by simulating seasons of the keeper's own kind.

Sessions of one male resemble each other, so ten sessions of two males are not twenty: formulas for independent animals
promise too much, and no library at hand plans for sessions within males with unfinished sessions.
"""

from collections.abc import Callable, Sequence
from math import comb, log

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, logrank, survival
from etholog.analysis.distribution import normal_quantile
from etholog.analysis.permutation import ALPHA
from etholog.base.refusal import Refusal

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Labels = NDArray[np.intp]

SEASONS = 200
SHUFFLES = 199
LABELLINGS_AT_MOST = 300  # of males: more are drawn at random


def schoenfeld(ratio: float, power: float = 0.8, share: float = 0.5, sessions: int = 1, like: float = 0.0) -> float:
    """Return how many sessions in which the behaviour comes it takes to see a hazard ratio at 5 % (Schoenfeld 1981).

    Parameters
    ----------
    ratio: of hazards; 2 is twice as soon at each moment.
    power: the share of seasons in which it is to be seen.
    share: of the sessions, in one of the two groups.
    sessions, like: of each male, and his repeatability, where groups are of males: times 1 + (sessions - 1) * like
        (Kish 1965).

    Returns
    -------
    A number of sessions, not rounded.

    Raises
    ------
    Refusal: for a ratio of 1, and for shares that no season can have.

    >>> import etholog
    >>> round(etholog.schoenfeld(2), 2), round(etholog.schoenfeld(3), 2)
    (65.35, 26.01)
    """
    if not columns.number(ratio, "ratio") > 0 or ratio == 1:
        raise Refusal(f"ratio {ratio:g}: a number above 0 that is not 1")
    columns.number(power, "power", 1e-6, 1 - 1e-6)
    columns.number(share, "share", 1e-6, 1 - 1e-6)
    columns.whole(sessions, "sessions", 1)
    columns.number(like, "like", 0.0, 1.0)
    needed = normal_quantile(0.975) + normal_quantile(power)
    return needed**2 / (share * (1 - share) * log(ratio) ** 2) * (1 + (sessions - 1) * like)


def power(
    times: pd.DataFrame | None = None,
    median_s: float | None = None,
    watch_s: float | None = None,
    ratio: float = 2.0,
    males: Sequence[int] = (4, 6, 8, 10),
    sessions: Sequence[int] = (2, 4, 6),
    like: Sequence[float] = (0.1, 0.4),
    seasons: int = SEASONS,
    seed: int = 0,
) -> pd.DataFrame:
    """Return the power, at 5 %, of `males` males with `sessions` sessions each, for three questions.

    within: something changes from session to session (the light, a warm room), half of each male's sessions with it;
    his sessions are permuted within him. between: half of the males are of another kind; whole males are permuted, by
    Welch's t of their summed log-rank scores. differ: do males differ at all (the F test of a random effect, exact
    without censoring: with unfinished sessions it is less).

    Parameters
    ----------
    males, sessions: how many males, and sessions of each; every pair of the two is tried.
    times: past sessions, `latency_s` (seconds) and `occurred`: their curve is what new sessions are drawn from.
    median_s: instead, the median of an exponential latency.
    watch_s: how long a session is watched (not given: as long as the longest of the past; 3 medians).
    ratio: how many times as long it takes in half of them.
    like: repeatabilities to try: how alike one male's sessions are.
    seasons, seed: of the simulation.

    Returns
    -------
    A row for each design: males, sessions, like, events (expected sessions in which it comes), within, between,
    differ, se (of the two simulated ones, at most), within_smallest_p and between_smallest_p (the least that the design
    can give: above .05 its power is 0).

    Raises
    ------
    Refusal: for numbers that no season can have, and where the behaviour came in under 4 of the past sessions.

    >>> import etholog
    >>> found = etholog.power(median_s=300, males=[6], sessions=[3], like=[0.3], seasons=20)
    >>> found["within_smallest_p"].round(4).tolist()
    [0.0014]
    """
    if (times is None) == (median_s is None):
        raise Refusal("say what to plan from: past sessions, or a median in seconds")
    times = None if times is None else columns.latencies(times)
    for name, value in (("median_s", median_s), ("watch_s", watch_s), ("ratio", ratio)):
        if value is not None:
            columns.number(value, name)
    males, sessions = columns.wholes(males, "males"), columns.wholes(sessions, "sessions")
    like = [columns.number(one, "like") for one in columns.several(like, "like")]
    seasons, seed = columns.whole(seasons, "seasons", 1), columns.whole(seed, "seed", most=2**63)
    for name, values, least in (("males", males, 2), ("sessions", sessions, 2)):
        if any(value < least or value > 100 for value in values):
            raise Refusal(f"{name} {', '.join(map(str, values))}: each from {least} to 100")
    if any(not 0 <= r < 1 for r in like):
        raise Refusal(f"repeatability {', '.join(map(str, like))}: each from 0 to under 1")
    if not ratio > 0 or ratio == 1:
        raise Refusal(f"ratio {ratio:g}: a number above 0 that is not 1")
    draw, longest = _curve(times, median_s)
    watched = longest if watch_s is None else watch_s
    if not watched > 0:
        raise Refusal(f"watching for {watched:g} s: a number of seconds above 0")
    chance = np.random.default_rng(seed)
    rows = [
        {"males": m, "sessions": n, "like": r} | _design(m, n, r, ratio, draw, watched, seasons, chance)
        for m in males
        for n in sessions
        for r in like
    ]
    return pd.DataFrame(rows)


def _curve(times: pd.DataFrame | None, median_s: float | None) -> tuple[Callable[[Floats], Floats], float]:
    """Return the latency that a share 0 to 1 of sessions stays below, and how long sessions were watched."""
    if times is None:
        assert median_s is not None
        if not 0 < median_s < np.inf:
            raise Refusal(f"median {median_s:g} s: a number of seconds above 0")
        return lambda share: -np.log1p(-share) * median_s / log(2), 3 * median_s
    time, occurred = times["latency_s"].to_numpy(dtype=np.float64), times["occurred"].to_numpy(dtype=bool)
    if occurred.sum() < survival.LIMITS_LEAST:
        many = f"under {survival.LIMITS_LEAST}" if occurred.any() else "none"
        raise Refusal(f"the behaviour came in {many} of these sessions: give a median in seconds")
    curve = survival.kaplan_meier(time, occurred)
    came = 1 - curve["share"].to_numpy(dtype=np.float64)
    at = np.append(curve.index.to_numpy(dtype=np.float64), np.inf)
    return lambda share: at[np.searchsorted(came, share)], float(time.max())


def _design(
    males: int, sessions: int, like: float, ratio: float, draw: Callable[[Floats], Floats], watched: float,
    seasons: int, chance: np.random.Generator,
) -> dict[str, float]:  # fmt: skip
    from scipy.special import ndtr

    male = np.repeat(np.arange(males), sessions)
    half = np.tile(np.arange(sessions) < sessions // 2, males)
    group = np.arange(males) < males // 2
    found, events = np.zeros(2), 0.0
    least = _smallest_p(sessions, males), _smallest_p(males)
    for _ in range(seasons):
        own = np.sqrt(like) * chance.normal(size=males)[male] + np.sqrt(1 - like) * chance.normal(size=len(male))
        share = ndtr(own)
        for at, slow in enumerate((half, group[male])):
            time = draw(share) * np.where(slow, ratio, 1.0)
            came = time <= watched
            events += came.sum()
            if came.any() and can_show(least[at]):
                score = logrank.scores(np.minimum(time, watched), came, np.zeros(len(time), dtype=np.intp))
                grid = score.reshape(males, sessions)
                p = _within(grid, sessions // 2, chance) if at == 0 else _between(grid.sum(axis=1), group, chance)
                found[at] += p <= ALPHA
    within, between = found / seasons
    return {
        "events": events / seasons / 2,
        "within": within,
        "between": between,
        "differ": _differ(males, sessions, like),
        "se": float(np.sqrt(max(x * (1 - x) for x in (within, between)) / seasons)),
        "within_smallest_p": least[0],
        "between_smallest_p": least[1],
    }


def can_show(smallest_p: float) -> bool:
    """Return whether a design that gives no smaller p than this can show anything at 5 %."""
    return smallest_p <= ALPHA


def _smallest_p(cut: int, times: int = 1) -> float:
    """Return the least p of a two-sided test over all ways to cut so many in two, so many times. Where the halves are
    as large, the mirror image of a labelling is another one, and as far out; where one is larger, it is none."""
    ways: int = comb(cut, cut // 2) ** times
    return min(1.0, (2 - cut % 2) / ways)


def _within(score: Floats, half: int, chance: np.random.Generator) -> float:
    """Return the p of which sessions of a male (males, sessions) had it, the first half being those that did."""
    away = score - score.mean(axis=1, keepdims=True)
    drawn = chance.permuted(np.broadcast_to(away, (SHUFFLES, *away.shape)), axis=2)
    values = np.abs(drawn[:, :, :half].sum(axis=(1, 2)))
    return float(((values >= abs(away[:, :half].sum()) - 1e-9).sum() + 1) / (SHUFFLES + 1))


def _between(score: Floats, group: Bools, chance: np.random.Generator) -> float:
    from itertools import combinations

    n, first = len(group), int(group.sum())
    exact = comb(n, first) <= LABELLINGS_AT_MOST
    if exact:
        labels = np.zeros((comb(n, first), n), dtype=bool)
        for row, chosen in zip(labels, combinations(range(n), first), strict=True):
            row[list(chosen)] = True
    else:
        labels = chance.permuted(np.broadcast_to(group, (SHUFFLES, n)), axis=1)
    hits = (_welch(score, labels) >= _welch(score, group[None, :])[0] - 1e-9).sum()
    return float(hits / len(labels) if exact else (hits + 1) / (SHUFFLES + 1))


def _welch(score: Floats, labels: Bools) -> Floats:
    """Return |t| of Welch 1947 for each row of labels (m, n)."""
    parts = []
    for own in (labels, ~labels):
        n = own.sum(axis=1)
        mean = (own @ score) / n
        spread = np.maximum(own @ score**2 - n * mean**2, 0.0) / np.maximum(n - 1, 1) / n
        parts.append((mean, spread))
    spread = parts[0][1] + parts[1][1]
    away = np.abs(parts[0][0] - parts[1][0])
    return np.asarray(np.divide(away, np.sqrt(spread), out=np.full(len(away), np.inf), where=spread > 1e-18))


def _differ(males: int, sessions: int, like: float) -> float:
    """Return the power of the F test of a random effect: F / (1 + n v / (1 - v)) is an F (Searle 1971)."""
    from scipy.special import fdtrc, fdtri

    above, below = males - 1, males * (sessions - 1)
    return float(fdtrc(above, below, fdtri(above, below, 0.95) / (1 + sessions * like / (1 - like))))
