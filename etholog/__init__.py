"""etholog: log pairings by single keys against a running clock, and learn from them over a season.

>>> import etholog
>>> season = etholog.read("sessions")
>>> sorted(season.bouts["kind"].unique())
['event', 'state']
"""

import importlib

TYPE_CHECKING = False  # typing's own is the same to a type checker, and costs a fifth of the time of --help
if TYPE_CHECKING:
    from typing import Any

    from etholog import figures as figures
    from etholog.analysis.agreement import Agreement as Agreement
    from etholog.analysis.agreement import agreement as agreement
    from etholog.analysis.balance import balance as balance
    from etholog.analysis.bout import Criterion as Criterion
    from etholog.analysis.bout import criterion as criterion
    from etholog.analysis.bout import pauses as pauses
    from etholog.analysis.chain import chain_homogeneity as chain_homogeneity
    from etholog.analysis.chain import chain_order as chain_order
    from etholog.analysis.compare import Comparison as Comparison
    from etholog.analysis.compare import compare as compare
    from etholog.analysis.duration import budget as budget
    from etholog.analysis.duration import duration as duration
    from etholog.analysis.hazard import Hazards as Hazards
    from etholog.analysis.hazard import hazards as hazards
    from etholog.analysis.incidence import ended as ended
    from etholog.analysis.incidence import incidence as incidence
    from etholog.analysis.latency import latency as latency
    from etholog.analysis.outcome import evening as evening
    from etholog.analysis.outcome import funnel as funnel
    from etholog.analysis.outcome import outcomes as outcomes
    from etholog.analysis.outcome import time_to_sac as time_to_sac
    from etholog.analysis.practice import Practice as Practice
    from etholog.analysis.practice import practice as practice
    from etholog.analysis.sign import signs as signs
    from etholog.analysis.sign import signs_seen as signs_seen
    from etholog.analysis.transition import Transitions as Transitions
    from etholog.analysis.transition import transition as transition
    from etholog.analysis.transition import transition_each as transition_each
    from etholog.analysis.transition import transitions as transitions
    from etholog.season import Season as Season
    from etholog.season import read as read

__version__ = "0.1.0"

# Where each public name lives. They are imported when first used, so that `etholog --help` and the watch screen
# load no pandas.
_HOMES = {
    "Agreement": "etholog.analysis.agreement",
    "agreement": "etholog.analysis.agreement",
    "Comparison": "etholog.analysis.compare",
    "balance": "etholog.analysis.balance",
    "Criterion": "etholog.analysis.bout",
    "criterion": "etholog.analysis.bout",
    "pauses": "etholog.analysis.bout",
    "chain_homogeneity": "etholog.analysis.chain",
    "chain_order": "etholog.analysis.chain",
    "compare": "etholog.analysis.compare",
    "budget": "etholog.analysis.duration",
    "duration": "etholog.analysis.duration",
    "ended": "etholog.analysis.incidence",
    "Hazards": "etholog.analysis.hazard",
    "hazards": "etholog.analysis.hazard",
    "incidence": "etholog.analysis.incidence",
    "latency": "etholog.analysis.latency",
    "Practice": "etholog.analysis.practice",
    "evening": "etholog.analysis.outcome",
    "funnel": "etholog.analysis.outcome",
    "outcomes": "etholog.analysis.outcome",
    "practice": "etholog.analysis.practice",
    "signs": "etholog.analysis.sign",
    "signs_seen": "etholog.analysis.sign",
    "time_to_sac": "etholog.analysis.outcome",
    "Season": "etholog.season.folder",
    "Transitions": "etholog.analysis.transition",
    "read": "etholog.season.folder",
    "transition": "etholog.analysis.transition",
    "transition_each": "etholog.analysis.transition",
    "transitions": "etholog.analysis.transition",
}

__all__ = [
    "Agreement",
    "Comparison",
    "Criterion",
    "Hazards",
    "Practice",
    "Season",
    "Transitions",
    "agreement",
    "balance",
    "budget",
    "chain_homogeneity",
    "chain_order",
    "compare",
    "criterion",
    "duration",
    "ended",
    "evening",
    "figures",
    "funnel",
    "hazards",
    "incidence",
    "latency",
    "outcomes",
    "pauses",
    "practice",
    "read",
    "signs",
    "signs_seen",
    "time_to_sac",
    "transition",
    "transition_each",
    "transitions",
]


def __getattr__(name: str) -> "Any":
    if name == "figures":
        return importlib.import_module("etholog.figures")
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'etholog' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES, "figures"])
