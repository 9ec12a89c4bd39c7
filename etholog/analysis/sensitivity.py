"""What the p would be had the sessions gone on otherwise: out of sight, or ended by the keeper."""

from collections.abc import Iterator

import pandas as pd

from etholog.analysis.compare import Comparison, check_columns, test
from etholog.analysis.design import named_rows
from etholog.analysis.ending import by_the_keeper
from etholog.analysis.permutation import SHUFFLES, Permuted
from etholog.base.language import gettext, ngettext, ngettext_noop
from etholog.base.text import p_number
from etholog.session.latency import UNSEEN as OUT_OF_SIGHT

AS_SHOWN = "as shown"
KEPT_UNSEEN, CENSORED_UNSEEN = "kept at risk out of sight", "censored from there"
UNSEEN = {
    CENSORED_UNSEEN: ngettext_noop(
        "{n} session has a gap or an animal out of sight in the time. Kept at risk out of sight, as here: {here}."
        " Censored from there: {otherwise}.",
        "{n} sessions have a gap or an animal out of sight in the time. Kept at risk out of sight, as here: {here}."
        " Censored from there: {otherwise}.",
    ),
    KEPT_UNSEEN: ngettext_noop(
        "{n} session has a gap or an animal out of sight in the time. Censored from there, as here: {here}. Kept at"
        " risk out of sight: {otherwise}.",
        "{n} sessions have a gap or an animal out of sight in the time. Censored from there, as here: {here}. Kept at"
        " risk out of sight: {otherwise}.",
    ),
}
NEVER, AT_ONCE = "it would never have come", "it would have come at once"


def sensitivity(
    times: pd.DataFrame,
    by: str,
    within: str | None = None,
    permutations: int = SHUFFLES,
    seed: int = 0,
    cluster: str | None = None,
    otherwise: pd.DataFrame | None = None,
    shown: Comparison | None = None,
) -> pd.DataFrame:
    """Return a comparison's p in other cases: how much it rests on what nobody saw.

    For sessions that the keeper ended before it came, the worst and the best that could have been: it would never
    have come (the time goes on to the longest of all), or at once.

    Parameters
    ----------
    times, by, within, permutations, seed, cluster: as `compare` takes them.
    otherwise: the same latencies with the other choice of `unseen`.
    shown: what `compare` found in these times with these arguments, so that its test is not made again.

    Returns
    -------
    A row for each case: case, concerned (sessions), occurred (in all), p (missing where the design can't give one of
    .05).

    Raises
    ------
    Refusal: as `compare`.

    >>> import etholog
    >>> times = etholog.latency(etholog.read("examples/season"), "courtship")
    >>> etholog.sensitivity(times, "male", permutations=200)[["case", "concerned"]].to_dict("list")["concerned"]
    [28, 6, 6]
    """
    times = named_rows(check_columns(times, by, within, cluster), by, within)
    if otherwise is not None:
        otherwise = named_rows(check_columns(otherwise, by, within, cluster), by, within)
    rows = []
    for case, concerned, these in _cases(times, otherwise):
        tested = None if shown is None or case != AS_SHOWN else _permuted(shown)
        found = tested or test(these, by, within, permutations, seed, cluster).permuted
        rows.append(
            {
                "case": case,
                "concerned": concerned,
                "occurred": int(these["occurred"].sum()),
                "p": found.p if found.usable else float("nan"),
            }
        )
    return pd.DataFrame(rows)


def _permuted(shown: Comparison) -> Permuted:
    return Permuted(shown.permutation_p, shown.permutations, shown.exact, shown.smallest_p, shown.permutation_error)


def _cases(times: pd.DataFrame, otherwise: pd.DataFrame | None) -> Iterator[tuple[str, int, pd.DataFrame]]:
    yield AS_SHOWN, len(times), times
    kept_on = times.attrs.get("unseen", "keep") == "keep"
    censored = otherwise if kept_on else times
    if otherwise is not None and censored is not None and "ended_by" in censored:
        touched = int(censored["ended_by"].eq(OUT_OF_SIGHT).sum())
        if touched:
            yield CENSORED_UNSEEN if kept_on else KEPT_UNSEEN, touched, otherwise
    ended = by_the_keeper(times)
    if ended.any():
        longest = float(times["latency_s"].max())
        yield NEVER, int(ended.sum()), times.assign(latency_s=times["latency_s"].mask(ended, longest))
        yield AT_ONCE, int(ended.sum()), times.assign(occurred=times["occurred"] | ended)


def sentences(cases: pd.DataFrame) -> Iterator[str]:
    """Yield what a table of `sensitivity` says, each other case in one line beside the one that is shown."""
    by_case = {str(row["case"]): row for row in cases.to_dict("records")}
    of = by_case[AS_SHOWN]["concerned"]

    def told(case: str) -> str:
        p, came = by_case[case]["p"], by_case[case]["occurred"]
        if p != p:
            return gettext("it came in {came} of {all}, no p", came=came, all=of)
        return gettext("it came in {came} of {all}, p = {p}", came=came, all=of, p=p_number(p))

    for other, sentence in UNSEEN.items():
        if other in by_case:
            count = by_case[other]["concerned"]
            yield ngettext(*sentence, count, here=told(AS_SHOWN), otherwise=told(other))
    if NEVER in by_case:
        yield ngettext(
            "The keeper ended {n} session before it came. Had it never come there: {never}. Had it come at once:"
            " {at_once}.",
            "The keeper ended {n} sessions before it came. Had it never come there: {never}. Had it come at once:"
            " {at_once}.",
            by_case[NEVER]["concerned"],
            never=told(NEVER),
            at_once=told(AT_ONCE),
        )
