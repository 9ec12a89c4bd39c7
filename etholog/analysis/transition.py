"""Transitions: what follows what, and what follows more often than chance.

No Python library has tables with structural zeros ready-made; the fit is the textbook's iterative proportional one,
and a Poisson model of statsmodels is the reference in the tests.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from etholog.analysis import columns, sequence, shuffle
from etholog.analysis.chain import FEW_EXPECTED
from etholog.analysis.design import how_many
from etholog.analysis.distribution import chi_squared_tail, normal_tails
from etholog.analysis.multiplicity import holm
from etholog.analysis.permutation import ALPHA
from etholog.base import notebook
from etholog.base.language import gettext, gettext_noop, number
from etholog.base.refusal import Refusal
from etholog.ethogram import ACTORS
from etholog.season import Season

SEEN = 3  # what came once or twice is no pattern
Edge = tuple[str, str, float]  # first, next, how often the one is followed by the other
OF_MALES = gettext_noop(
    "Pooled from {sessions} sessions of {males} males: animals repeat themselves, so p comes out too small (Machlis,"
    " Dodd & Fentress 1985). Look at each male, or shuffle within sessions."
)
OF_ONE_MALE = gettext_noop(
    "Pooled from {sessions} sessions of one male: animals repeat themselves, so p comes out too small (Machlis, Dodd &"
    " Fentress 1985). Shuffle within sessions."
)
# Why a table has no p: it would be under .05 in 20 to 100 of 100 seasons in which nothing depends on anything.
ANSWERED = "No p: one act can answer several, and those of one session belong together."
LATER = "No p: what comes so much later depends on what can come between, and sessions are unlike each other."
REPEATED = "No p but by shuffles: where sessions are unlike each other, acts seem to follow themselves."
POOLED = gettext_noop("If the same animals come again and again, pooling them makes p too small.")


@dataclass(frozen=True)
class Transitions:
    """A table of transitions, first behaviours down, next ones across, and its tests. What can't be is NaN in every
    table.

    `p`: of `x2` by chi-squared, for sessions that are alike; where they are very unlike it is under .05 in 20 of 100
    seasons in which nothing depends on what came before, and no page prints it.
    `p_holm`: two-sided p of each adjusted residual, by Holm 1979; `transition` leaves it out where no such p holds
    (across actors, at a lag of 2 or more, and where a behaviour may follow itself). `small`: cells whose expected count
    is under 5, where p is not to be trusted. `p_shuffled`, `p_shuffled_holm`, `p_whole` (of the table): by `shuffles`
    within sequences, where asked for.
    """

    counts: pd.DataFrame
    probabilities: pd.DataFrame
    expected: pd.DataFrame
    residuals: pd.DataFrame
    p_holm: pd.DataFrame
    small: pd.DataFrame
    x2: float
    g2: float
    df: int
    p: float
    sentence: str
    p_shuffled: pd.DataFrame | None = None
    p_shuffled_holm: pd.DataFrame | None = None
    p_whole: float = np.nan
    shuffles: int = 0

    def _repr_html_(self) -> str:
        return notebook.html(self.sentence, self.counts, self.long())

    @property
    def certain(self) -> pd.DataFrame:
        """Which cells differ from chance for sure: p after Holm under .05, of the shuffles where there are some, else
        of the residual where at least 5 were expected."""
        if self.p_shuffled_holm is not None:
            return self.p_shuffled_holm < ALPHA
        return (self.p_holm < ALPHA) & ~self.small

    @property
    def holding(self) -> list[Edge]:
        """(first, next, probability) of what surely comes more often than by chance, and came three times or more."""
        long, certain = self.long(), self.certain
        kept = long[(long["residual"] > 0) & (long["count"] >= SEEN)]
        told = ((row["first"], row["next"], float(row["probability"])) for row in kept.to_dict("records"))
        return [edge for edge in told if bool(certain.at[edge[0], edge[1]])]

    def long(self) -> pd.DataFrame:
        """Return one row for each transition that was seen: first, next, count, probability, expected, residual,
        p_holm (NaN where `few`, since it means little there), few (expected under 5), and p_shuffled and
        p_shuffled_holm where there are shuffles."""
        parts = {
            "count": self.counts,
            "probability": self.probabilities,
            "expected": self.expected,
            "residual": self.residuals,
            "p_holm": self.p_holm.mask(self.small),
            "few": self.small,
        }
        if self.p_shuffled is not None and self.p_shuffled_holm is not None:
            parts |= {"p_shuffled": self.p_shuffled, "p_shuffled_holm": self.p_shuffled_holm}
        where = np.argwhere(np.nan_to_num(self.counts.to_numpy(dtype=float)) > 0)
        rows = {name: frame.to_numpy()[where[:, 0], where[:, 1]] for name, frame in parts.items()}
        rows["count"] = rows["count"].astype(np.int64)
        return pd.DataFrame(
            {"first": self.counts.index[where[:, 0]], "next": self.counts.columns[where[:, 1]], **rows}
        ).sort_values(["count"], ascending=False, kind="stable", ignore_index=True)


def transitions(
    counts: pd.DataFrame | NDArray[Any], impossible: pd.DataFrame | NDArray[np.bool_] | None = None
) -> Transitions:
    """Return a square table of counts, tested against independence, or quasi-independence where cells are impossible.

    Parameters
    ----------
    counts
        Whole counts, first behaviours down and next ones across, the same in the same order; or a square array.
    impossible
        Which transitions cannot be: True or False. A table goes by its names, an array by its places.

    Returns
    -------
    Transitions
        See its fields. Expected counts are fitted by iterative proportional fitting from the mask. Adjusted residuals
        are (o - e) / sqrt(e (1 - h)), h being the leverage in the Poisson model. df = possible cells - rows used -
        columns used + parts, that hang together by no cell (one, as a rule).

    Raises
    ------
    Refusal
        Where the table is not square, or holds what is no count, or a transition was counted that cannot be.

    References
    ----------
    Goodman 1968, J. Am. Stat. Assoc. 63:1091; Haberman 1973, Biometrics 29:205.

    Examples
    --------
    >>> import etholog
    >>> etholog.transitions([[0, 10, 5], [4, 0, 12], [9, 7, 0]], [[1, 0, 0], [0, 1, 0], [0, 0, 1]]).df
    1
    """
    named = columns.square(counts, "counts")
    counts = pd.DataFrame(columns.counts(named), named.index, named.columns)
    possible = np.ones(counts.shape, dtype=bool) if impossible is None else ~_mask(impossible, counts)
    if (counts.to_numpy()[~possible] > 0).any():
        raise Refusal("an impossible transition was counted; correct the mask or the counts")
    return _tested(counts, possible)


def _mask(impossible: pd.DataFrame | NDArray[np.bool_], counts: pd.DataFrame) -> NDArray[np.bool_]:
    """Return the mask in the order of the counts: a table goes by its names, an array by its places."""
    mask = columns.square(impossible, "impossible", ordered=False)
    if isinstance(impossible, pd.DataFrame):
        if set(mask.index) != set(counts.index):
            raise Refusal("impossible: its behaviours are not those of the counts")
        mask = mask.loc[counts.index, counts.columns]
    if mask.shape != counts.shape:
        raise Refusal(f"impossible: {len(mask)} rows, but the counts have {len(counts)}")
    flags = [columns.flags(mask, name) for name in mask.columns]
    return np.stack(flags, axis=1) if flags else np.zeros((0, 0), dtype=bool)


def _tested(counts: pd.DataFrame, possible: NDArray[np.bool_]) -> Transitions:
    observed = counts.to_numpy(dtype=float)
    observed = np.where(possible, observed, 0.0)
    rows, columns = observed.sum(axis=1) > 0, observed.sum(axis=0) > 0
    used = possible & rows[:, None] & columns[None, :]
    expected = _fit(observed, used)
    sizes = _together(used).sum(axis=1)[np.concatenate([rows, columns])]
    parts = round(float((1 / sizes).sum()))
    df = max(0, int(used.sum() - rows.sum() - columns.sum()) + parts)
    x2, g2, p = np.nan, np.nan, np.nan
    residual = np.full_like(observed, np.nan)
    if df > 0:
        inside = used & (expected > 0)
        x2 = float((((observed - expected) ** 2)[inside] / expected[inside]).sum())
        filled = inside & (observed > 0)
        g2 = float(2 * (observed[filled] * np.log(observed[filled] / expected[filled])).sum())
        p = chi_squared_tail(x2, df)
        residual = _residuals(observed, expected, inside)
    with np.errstate(divide="ignore", invalid="ignore"):
        probability = observed / observed.sum(axis=1, keepdims=True)
    small = used & (expected < FEW_EXPECTED)

    def frame(values: NDArray[np.float64], where: NDArray[np.bool_]) -> pd.DataFrame:
        return pd.DataFrame(np.where(where, values, np.nan), counts.index, counts.columns)

    return Transitions(
        frame(observed, possible),
        frame(probability, possible & rows[:, None]),
        frame(expected, used),
        frame(residual, used),
        frame(_two_sided_holm(residual), used),
        pd.DataFrame(small, counts.index, counts.columns),
        x2,
        g2,
        df,
        p,
        _sentence(observed, used, small, df, p),
    )


def _fit(observed: NDArray[np.float64], used: NDArray[np.bool_]) -> NDArray[np.float64]:
    expected = used.astype(float)
    down, across = observed.sum(axis=1), observed.sum(axis=0)
    enough = 1e-12 * max(1.0, float(observed.max(initial=0.0)))
    for _ in range(10_000):
        before = expected
        for axis, margin in ((1, down), (0, across)):
            total = expected.sum(axis=axis)
            ratio = np.divide(margin, total, out=np.zeros_like(total), where=total > 0)
            expected = expected * np.expand_dims(ratio, axis)
        if np.abs(expected - before).max(initial=0.0) < enough:
            break
    return expected


def _residuals(
    observed: NDArray[np.float64], expected: NDArray[np.float64], inside: NDArray[np.bool_]
) -> NDArray[np.float64]:
    e = np.where(inside, expected, 0.0)
    down, across = e.shape
    information = np.block([[np.diag(e.sum(axis=1)), e], [e.T, np.diag(e.sum(axis=0))]])
    # It is singular: what is added to all rows that hang together and taken from all their columns changes nothing.
    # No leverage depends on those directions; filled in, they leave a matrix that can be inverted. (`pinv` would do
    # the same, but leaves threads of BLAS spinning on every processor for a tenth of a second.)
    together = _together(inside)
    sign = np.repeat([1.0, -1.0], [down, across])
    idle = np.outer(sign, sign) * together / together.sum(axis=1)
    inverse = np.linalg.inv(information + information.max(initial=1.0) * idle)
    own = np.diag(inverse)
    leverage = e * (own[:down, None] + own[None, down:] + 2 * inverse[:down, down:])
    free = 1 - leverage
    with np.errstate(divide="ignore", invalid="ignore"):
        # A cell that the margins fix has no freedom to deviate, and so no residual.
        return np.where(inside & (free > 1e-9), (observed - e) / np.sqrt(e * free), np.nan)


def _together(cells: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which rows and columns (rows first, both ways) hang together by a chain of cells."""
    nothing = [np.eye(size, dtype=bool) for size in cells.shape]
    together = np.block([[nothing[0], cells], [cells.T, nothing[1]]])
    for _ in range(len(together).bit_length()):
        together = together @ together
    return together


def _two_sided_holm(residual: NDArray[np.float64]) -> NDArray[np.float64]:
    return holm(normal_tails(residual).reshape(-1)).reshape(residual.shape)


def _sentence(
    observed: NDArray[np.float64], used: NDArray[np.bool_], small: NDArray[np.bool_], df: int, p: float
) -> str:
    total = int(observed.sum())
    if df <= 0:
        return gettext("{count} transitions between too few behaviours: nothing can be tested.", count=total)
    said = [gettext("{count} transitions.", count=total)]
    if small.sum() > used.sum() / 5:
        said.append(
            gettext(
                "{some} of {all} cells expect fewer than {least}: take p as a rough guide (Cochran's rule, from"
                " memory).",
                some=int(small.sum()),
                all=int(used.sum()),
                least=number(FEW_EXPECTED, "g"),
            )
        )
    return " ".join([*said, gettext(POOLED)])


def transition(
    season: Season,
    *,
    actor: str | None = None,
    answer: str | None = None,
    within_s: float | None = None,
    lag: int = 1,
    repeats: bool = False,
    longest_pause_s: float | None = None,
    sessions: Sequence[str] | None = None,
    shuffles: int = 0,
    seed: int = 0,
) -> Transitions:
    """Return what follows what within sessions, counted and tested by `transitions`.

    Parameters
    ----------
    season: as `etholog.read` returned it.
    actor: only behaviours of this one ('male', 'female', 'pair').
    answer, within_s: instead, across actors: what this other one begins first within so many seconds after each
        onset of `actor`, '(nothing)' being one of the answers.
    lag: how many onsets later.
    repeats: whether a behaviour that comes again at once counts each time; without, as one (Slater 1973), and then
        the cells that `analysis.sequence.impossible` names are structural zeros, unless they were counted.
    longest_pause_s: sequences break where the next onset comes later (seconds). They always break at gaps, and when
        an animal (with `actor`: that one) goes out of sight.
    sessions: only these.
    shuffles, seed: so many shuffles within sequences besides (see `analysis.shuffle`; not across actors).

    Returns
    -------
    Transitions: `.counts`, `.probabilities`, `.expected`, `.residuals`, `.x2`, `.g2`, `.df`, `.p`, and with shuffles
    `.p_shuffled` and `.p_whole`. Across actors, at a lag of 2 or more and with repeats there is no `.p` and no
    `.p_holm`: none holds.

    Raises
    ------
    Refusal: for an actor or a session that is not there, and for numbers that mean nothing.

    >>> import etholog
    >>> etholog.transition(etholog.read("examples/season"), actor="male").df
    30
    """
    columns.season(season)
    lag = columns.whole(lag, "a lag of onsets", 1)
    shuffles, seed = columns.whole(shuffles, "shuffles"), columns.whole(seed, "seed", most=2**63)
    if longest_pause_s is not None:
        columns.number(longest_pause_s, "longest_pause_s", 0.0)
    for who in (actor, answer):
        if who is not None:
            columns.one_of(who, "actor", ACTORS)
    sessions = None if sessions is None else columns.words(sessions, "sessions")
    if answer is not None:
        if actor is None or actor == answer or within_s is None or not columns.number(within_s, "within_s") > 0:
            raise Refusal("across actors needs two different actors, and within how many seconds")
        part = season if sessions is None else replace(season, bouts=_of_sessions(season, sessions))
        counts = sequence.answers(part, actor, answer, within_s)
        return pooled(season, _tested(counts, np.ones(counts.shape, dtype=bool)), sessions, ANSWERED)
    found = sequence.of(season, actor=actor, repeats=repeats, longest_pause_s=longest_pause_s, sessions=sessions)
    names = found.names
    counts = pd.DataFrame(found.counts(lag), index=names, columns=names)
    possible = np.ones(counts.shape, dtype=bool)
    if not repeats and lag == 1:
        possible = ~sequence.impossible(season, names) | (counts.to_numpy() > 0)
    tested = pooled(season, _tested(counts, possible), sessions, LATER if lag > 1 else REPEATED if repeats else "")
    if not shuffles or lag > 1 or len(names) < 2:
        return tested
    drawn = shuffle.within(found.runs(), len(names), ~possible, shuffles, seed)
    p = np.where(possible & (drawn.mean > 0), drawn.p, np.nan)
    return replace(
        tested,
        p_shuffled=pd.DataFrame(p, names, names),
        p_shuffled_holm=pd.DataFrame(holm(p.reshape(-1)).reshape(p.shape), names, names),
        p_whole=drawn.p_whole,
        shuffles=shuffles,
    )


def transition_each(season: Season, by: str, **how: Any) -> dict[Any, Transitions]:
    """Return `transition` for each value of a column of the sessions: each male, or each session.

    Parameters
    ----------
    season: as `etholog.read` returned it.
    by: a column of `season.sessions`.
    how: the other arguments of `transition`, but `sessions`.

    Returns
    -------
    A dict from each value to its Transitions; values in whose sessions nothing followed anything have an empty
    table.

    Raises
    ------
    Refusal: for a column that is not there, and as `transition`.

    >>> import etholog
    >>> sorted(etholog.transition_each(etholog.read("examples/season"), "male", actor="male"))[:2]
    ['M-Amber', 'M-Basalt']
    """
    values, group = sequence.groups(season, by)
    ids = season.sessions["session"].astype(object).to_numpy()
    return {value: transition(season, **how, sessions=list(ids[group == at])) for at, value in enumerate(values)}


def _of_sessions(season: Season, sessions: Sequence[str]) -> pd.DataFrame:
    return season.bouts[season.bouts["session"].isin(list(sessions))]


def pooled(season: Season, tested: Transitions, sessions: Sequence[str] | None = None, no_p: str = "") -> Transitions:
    """Warn of pooling where more than one session went into the table; `no_p`: why it has no p."""
    kept = season.sessions
    if sessions is not None:
        kept = kept[kept["session"].isin(list(sessions))]
    alone = tested.sentence.removesuffix(gettext(POOLED)).rstrip()
    if no_p and tested.df > 0:
        counted = gettext("{count} transitions.", count=int(np.nansum(tested.counts.to_numpy())))
        return replace(tested, p=np.nan, p_holm=tested.p_holm * np.nan, sentence=f"{counted} {no_p}")
    if len(kept) < 2 or tested.df <= 0:
        return replace(tested, sentence=alone)
    males = how_many(kept["male"])
    if not males:
        return tested
    warning = gettext(OF_MALES if males > 1 else OF_ONE_MALE, sessions=len(kept), males=males)
    return replace(tested, sentence=f"{alone} {warning}")
