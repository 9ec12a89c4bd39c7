"""Pictures of the tables: each function takes tables and returns a matplotlib Figure, as wide as a column or a page.

>>> import etholog
>>> times = etholog.latency(etholog.read("sessions"), "courtship")
>>> etholog.figures.survival(times, by="male").savefig("latency.svg")  # doctest: +SKIP
"""

from typing import Any

from etholog.figures.activity import activity, contact_sheet
from etholog.figures.agreement import agreement
from etholog.figures.aligned import aligned
from etholog.figures.differences import differences
from etholog.figures.drift import drift
from etholog.figures.ends import ends
from etholog.figures.flow import flow
from etholog.figures.funnel import funnel
from etholog.figures.palps import palps
from etholog.figures.pedigree import pedigree
from etholog.figures.plan import plan
from etholog.figures.power import power
from etholog.figures.repeatability import repeatability
from etholog.figures.signs import signs
from etholog.figures.strip import strip
from etholog.figures.style import ReproducibleFigure, names, stages
from etholog.figures.survival import survival
from etholog.figures.time_shares import time_shares
from etholog.figures.transitions import transitions

__all__ = [
    "ReproducibleFigure",
    "activity",
    "agreement",
    "aligned",
    "contact_sheet",
    "differences",
    "drift",
    "ends",
    "flow",
    "funnel",
    "names",
    "palps",
    "pedigree",
    "plan",
    "power",
    "repeatability",
    "signs",
    "stages",
    "strip",
    "style",
    "survival",
    "time_shares",
    "transitions",
]


def __getattr__(name: str) -> Any:
    if name != "budget":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    import warnings

    old, now = "etholog.figures.budget", "etholog.figures.time_shares"
    warnings.warn(f"{old} is now {now}; the old name goes with 0.3", FutureWarning, stacklevel=2)
    return time_shares
