"""What the p would be had the sessions gone on otherwise: out of sight, or ended by the keeper."""

from collections.abc import Iterator

import pandas as pd

from etholog.analysis.compare import check_columns, test
from etholog.analysis.ending import by_the_keeper

AS_SHOWN = "as shown"
KEPT, CENSORED = "kept at risk out of sight", "censored from there"
NEVER, AT_ONCE = "it would never have come", "it would have come at once"


def sensitivity(
    times: pd.DataFrame,
    by: str,
    within: str | None = None,
    permutations: int = 10_000,
    seed: int = 0,
    cluster: str | None = None,
    otherwise: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return a comparison's p in other cases: how much it rests on what nobody saw.

    For sessions that the keeper ended before it came, the worst and the best that could have been: it would never
    have come (the time goes on to the longest of all), or at once.

    Parameters
    ----------
    times, by, within, permutations, seed, cluster: as `compare` takes them.
    otherwise: the same latencies with the other choice of `unseen`.

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
    times = check_columns(times, by, within, cluster)
    otherwise = None if otherwise is None else check_columns(otherwise, by, within, cluster)
    rows = []
    for case, concerned, these in _cases(times, otherwise):
        found = test(these, by, within, permutations, seed, cluster).permuted
        rows.append(
            {
                "case": case,
                "concerned": concerned,
                "occurred": int(these["occurred"].sum()),
                "p": found.p if found.usable else float("nan"),
            }
        )
    return pd.DataFrame(rows)


def _cases(times: pd.DataFrame, otherwise: pd.DataFrame | None) -> Iterator[tuple[str, int, pd.DataFrame]]:
    kept_on = times.attrs.get("unseen", "keep") == "keep"
    touched = int(times.attrs.get("touched", 0))
    yield AS_SHOWN, len(times), times
    if otherwise is not None and touched:
        yield CENSORED if kept_on else KEPT, touched, otherwise
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
        return f"it came in {came} of {of}, no p" if p != p else f"it came in {came} of {of}, p = {p:.4f}"

    def sessions(case: str, has: str = "", have: str = "") -> str:
        count = by_case[case]["concerned"]
        return f"{count} session{has if count == 1 else 's' + have}"

    for mine, other in ((KEPT, CENSORED), (CENSORED, KEPT)):
        if other in by_case:
            yield (
                f"{sessions(other, ' has', ' have')} a gap or an animal out of sight in the time."
                f" {mine.capitalize()}, as here: {told(AS_SHOWN)}. {other.capitalize()}: {told(other)}."
            )
    if NEVER in by_case:
        yield (
            f"The keeper ended {sessions(NEVER)} before it came. Had it never come there: {told(NEVER)}. Had it come at"
            f" once: {told(AT_ONCE)}."
        )
