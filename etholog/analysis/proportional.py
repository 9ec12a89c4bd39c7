"""Whether a ratio of hazards stays the same while the time goes on, as Cox's model takes for granted."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from etholog.analysis import cox
from etholog.analysis.columns import latencies, words
from etholog.analysis.design import named_rows
from etholog.analysis.hazard import data_of, design_of


def proportional(times: pd.DataFrame, by: str | Sequence[str], within: str | None = None) -> pd.DataFrame:
    """Return for each term of `hazards(times, by, within)` how its ratio of hazards changes with time.

    No p: males come again, and few of them make any such p too small.

    Parameters
    ----------
    times: one row a session: `latency_s` (seconds), `occurred` (bool), and the columns named.
    by: columns, as `hazards` takes them.
    within: the column of strata.

    Returns
    -------
    Index: term. early and late: the ratio up to the median time of the events, and after it. chi_squared: the score
    test of a coefficient that goes with the rank of the time (Grambsch & Therneau 1994, as R's cox.zph has it; 1
    degree of freedom). Missing where it is not estimable.

    Raises
    ------
    Refusal: for a column that is not there or holds what is no time, no flag or no number.

    >>> import etholog
    >>> times = etholog.latency(etholog.read("examples/season"), "courtship")
    >>> etholog.proportional(times, "temperature_c").round(2).to_dict("records")
    [{'early': 0.82, 'late': 0.91, 'chi_squared': 0.11}]
    """
    columns = list(words(by, "by"))
    times = latencies(times, columns, [within])
    rows = named_rows(times, *columns, within)
    design, _ = design_of(rows, columns)
    found = pd.DataFrame(np.nan, pd.Index(design.columns, name="term"), ["early", "late", "chi_squared"])
    data = data_of(rows, design, within)
    if not data.event.any() or design.empty:
        return found
    coef = cox.fit(data).coef
    known = np.isfinite(coef)
    middle = float(np.median(data.stop[data.event]))
    late = data.stop > middle
    before = replace(data, stop=np.minimum(data.stop, middle), event=data.event & ~late)
    after = cox.Data(
        np.full(int(late.sum()), middle), data.stop[late], data.event[late], data.stratum[late], data.terms[late]
    )
    for name, part in (("early", before), ("late", after)):
        if part.event.any():
            found[name] = np.exp(cox.fit(part).coef)
    if known.any():
        found.loc[known, "chi_squared"] = _score_test(data, coef, known)
    return found


def _score_test(data: cox.Data, coef: cox.Floats, known: cox.Bools) -> cox.Floats:
    x = data.terms[:, known] - data.terms[:, known].mean(axis=0)
    weight = np.exp(x @ coef[known])
    rank = pd.Series(data.stop).rank().to_numpy()[data.event]
    rank -= rank.mean()
    p = x.shape[1]
    score, whole, mixed, squared = np.zeros(p), np.zeros((p, p)), np.zeros((p, p)), np.zeros((p, p))
    for row, g in zip(np.flatnonzero(data.event), rank, strict=True):
        risk = (data.stratum == data.stratum[row]) & (data.stop >= data.stop[row])
        share = weight[risk] / weight[risk].sum()
        mean = share @ x[risk]
        variance = (x[risk] * share[:, None]).T @ x[risk] - np.outer(mean, mean)
        score += g * (x[row] - mean)
        whole, mixed, squared = whole + variance, mixed + g * variance, squared + g**2 * variance
    left = np.diag(squared - mixed @ np.linalg.pinv(whole) @ mixed)
    return np.asarray(np.divide(score**2, left, out=np.full(p, np.nan), where=left > 1e-12), dtype=np.float64)
