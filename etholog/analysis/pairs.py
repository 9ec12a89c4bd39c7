"""Each two groups: how much they differ, and how sure that is."""

from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import bootstrap, survival
from etholog.analysis.multiplicity import holm

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Labels = NDArray[np.intp]

COLUMNS = (
    "first",
    "second",
    "p",
    "p_holm",
    "difference_s",
    "difference_low_s",
    "difference_high_s",
    "difference_resampled_low_s",
    "difference_resampled_high_s",
    "first_sooner",
    "first_sooner_low",
    "first_sooner_high",
    "ordered_pairs",
    "unordered_pairs",
)


def none() -> pd.DataFrame:
    """Return the table of no pairs."""
    return pd.DataFrame(columns=list(COLUMNS))


def pairs(
    time: Floats,
    occurred: Bools,
    label: Labels,
    stratum: Labels,
    cluster: Labels,
    names: pd.Index,
    horizon: float,
    resamples: int = bootstrap.RESAMPLES,
    seed: int = 0,
) -> pd.DataFrame:
    """Return one row for each two groups.

    p, p_holm: log-rank within strata, and adjusted (Holm 1979). difference_s: of restricted means, first less
    second, with limits by Greenwood's variance (sessions taken for independent) and by resampling whole clusters.
    first_sooner: of the pairs of sessions that can be ordered, the share in which the first came sooner (Gehan
    1965), with limits by the same resampling. NaN: not known.
    """
    couples = list(combinations(range(len(names)), 2))
    if not couples:
        return none()
    means, shares = _resampled(time, occurred, label, cluster, len(names), couples, horizon, resamples, seed)
    z = survival.normal_quantile(0.975)
    own = [survival.restricted_mean(time[label == g], occurred[label == g], horizon) for g in range(len(names))]
    out = []
    for at, (one, other) in enumerate(couples):
        a, b = label == one, label == other
        both = a | b
        test = survival.log_rank(time[both], occurred[both], (label[both] == other).astype(np.intp), stratum[both])
        apart = own[one][0] - own[other][0]
        half = z * float(np.hypot(own[one][1], own[other][1]))
        sooner, later = sooner_later(time[a], occurred[a], time[b], occurred[b])
        decided = sooner + later
        row = [names[one], names[other], test.p, np.nan, apart, apart - half, apart + half]
        row += bootstrap.limits(means[:, one] - means[:, other])
        row += [sooner / decided if decided else np.nan, *bootstrap.limits(shares[:, at])]
        out.append([*row, decided, int(a.sum() * b.sum()) - decided])
    frame = pd.DataFrame(out, columns=list(COLUMNS))
    frame["p_holm"] = holm(frame["p"].to_numpy(dtype=float))
    return frame


def _resampled(
    time: Floats,
    occurred: Bools,
    label: Labels,
    cluster: Labels,
    groups: int,
    couples: list[tuple[int, int]],
    horizon: float,
    resamples: int,
    seed: int,
) -> tuple[Floats, Floats]:
    """Return (resamples, groups) restricted means and (resamples, couples) shares in which the first came sooner."""
    resamples = min(resamples, bootstrap.enough(len(time)))
    rows = [np.flatnonzero(label == g) for g in range(groups)]
    means, shares = [], []
    for weight in bootstrap.weights(cluster, label, resamples, seed):
        means.append(
            np.stack(
                [bootstrap.restricted_means(time[own], occurred[own], weight[:, own], horizon) for own in rows], axis=1
            )
        )
        some = []
        for one, other in couples:
            a, b = rows[one], rows[other]
            sooner = _sooner(time[a], occurred[a], weight[:, a], time[b], occurred[b], weight[:, b])
            later = _sooner(time[b], occurred[b], weight[:, b], time[a], occurred[a], weight[:, a])
            with np.errstate(invalid="ignore"):
                some.append(sooner / (sooner + later))
        shares.append(np.stack(some, axis=1))
    return np.concatenate(means), np.concatenate(shares)


def _sooner(
    time_a: Floats, occurred_a: Bools, weight_a: Floats, time_b: Floats, occurred_b: Bools, weight_b: Floats
) -> Floats:
    """Return the weight of the pairs in which a came surely sooner, for each row of weights."""
    # At one instant the event comes before the censoring, so a censored b is later than an event of a there.
    order = np.lexsort((~occurred_b, time_b))
    events = np.sort(time_b[occurred_b])
    tied = np.searchsorted(events, time_a, side="right") - np.searchsorted(events, time_a, side="left")
    before = np.searchsorted(time_b[order], time_a, side="left") + tied
    total = np.concatenate([np.zeros((len(weight_b), 1)), np.cumsum(weight_b[:, order], axis=1)], axis=1)
    after = total[:, -1:] - total[:, before]
    return np.asarray((weight_a * occurred_a * after).sum(axis=1), dtype=np.float64)


def sooner_later(time_a: Floats, occurred_a: Bools, time_b: Floats, occurred_b: Bools) -> tuple[int, int]:
    """Return in how many pairs of sessions a came surely sooner, and in how many surely later (Gehan 1965); ties
    are neither."""
    once_a, once_b = np.ones((1, len(time_a))), np.ones((1, len(time_b)))
    sooner = _sooner(time_a, occurred_a, once_a, time_b, occurred_b, once_b)
    later = _sooner(time_b, occurred_b, once_b, time_a, occurred_a, once_a)
    return int(sooner[0]), int(later[0])
