"""What the p would be had the sessions gone on otherwise: out of sight, or ended by the keeper."""

from collections.abc import Iterator

import pandas as pd

from etholog.analysis.compare import test
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
    """Return a comparison's p in other cases, one row each: case, concerned (sessions), occurred (in all), p.

    `otherwise`: the same latencies with the other choice of `unseen`. For sessions that the keeper ended before it
    came, the worst and the best that could have been: it would never have come (the time goes on to the longest of
    all), or at once. p is missing where the design can't give one of .05.
    """
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
