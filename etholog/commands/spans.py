"""`etholog latency --spans`: onsets that nobody saw, taken as spans of time and not as the moment they were noticed."""

import argparse
import sys
from typing import TYPE_CHECKING

from etholog.base.text import many
from etholog.commands.output import as_json, say, table, tell

if TYPE_CHECKING:
    import pandas as pd

    from etholog.analysis.interval_censored import Weibull
    from etholog.season import Season


def spans_of(season: "Season", times: "pd.DataFrame", args: argparse.Namespace) -> int:
    """Print the estimates from spans; 1 where a file could not be read."""
    from etholog.analysis.interval_censored import turnbull, unseen_onsets, weibull
    from etholog.analysis.survival import LIMITS_LEAST

    spans = unseen_onsets(season, times)
    curve = turnbull(spans)
    fitted = weibull(spans) if spans["occurred"].sum() >= LIMITS_LEAST else None
    words = _sentence(spans, fitted)
    if args.json:
        print(as_json({"turnbull": curve, "sessions": spans, "sentence": words}))
    elif sys.stdout.isatty():
        tell(f"Latency {times.attrs['label']}, onsets that nobody saw as spans")
        table(curve)
        tell(words)
    else:
        table(curve)
        say(words)
    say(*season.findings)
    return 1 if season.findings else 0


def _sentence(spans: "pd.DataFrame", fitted: "Weibull | None") -> str:
    from etholog.analysis.interval_censored import SOON_S

    said = (
        f"In {int(spans['unseen'].sum())} of {len(spans)} sessions the onset was seen by nobody: its mark came within"
        f" {SOON_S:g} s (time to look and to press) after watching resumed or the animal came into sight. It may have"
        " begun at any moment since it was lost; gaps count as time."
    )
    if fitted is not None:
        said += f" Weibull model: median {fitted.median:,.1f} s, log likelihood {fitted.log_likelihood:.2f}."
    return said


def offered(season: "Season", times: "pd.DataFrame") -> str:
    """Return a line that names how many onsets nobody saw; nothing where all were seen."""
    from etholog.analysis.interval_censored import unseen_onsets

    some = int(unseen_onsets(season, times)["unseen"].sum())
    if not some:
        return ""
    return f"{many(some, 'onset was', 'onsets were')} seen by nobody (keyed just after a gap): see --spans."
