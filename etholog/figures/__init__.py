"""Pictures of the tables: each function takes tables and returns a matplotlib Figure, as wide as a column or a page.

>>> import etholog
>>> times = etholog.latency(etholog.read("sessions"), "courtship")
>>> etholog.figures.survival(times, by="male").savefig("latency.svg")  # doctest: +SKIP
"""

from etholog.figures.activity import activity, contact_sheet
from etholog.figures.agreement import agreement
from etholog.figures.aligned import aligned
from etholog.figures.budget import budget
from etholog.figures.drift import drift
from etholog.figures.ends import ends
from etholog.figures.flow import flow
from etholog.figures.funnel import funnel
from etholog.figures.palps import palps
from etholog.figures.power import power
from etholog.figures.repeatability import repeatability
from etholog.figures.signs import signs
from etholog.figures.strip import strip
from etholog.figures.style import ReproducibleFigure, names
from etholog.figures.survival import survival
from etholog.figures.transitions import transitions

__all__ = [
    "ReproducibleFigure",
    "activity",
    "agreement",
    "aligned",
    "budget",
    "contact_sheet",
    "drift",
    "ends",
    "flow",
    "funnel",
    "names",
    "palps",
    "power",
    "repeatability",
    "signs",
    "strip",
    "style",
    "survival",
    "transitions",
]
