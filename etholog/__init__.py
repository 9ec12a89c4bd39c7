"""etholog: log pairings by single keys against a running clock, and learn from them over a season.

>>> import etholog
>>> season = etholog.read("sessions")
>>> sorted(season.bouts["kind"].unique())
['event', 'state']
"""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from etholog.analysis.compare import Comparison as Comparison
    from etholog.analysis.compare import compare as compare
    from etholog.analysis.latency import latency as latency
    from etholog.season import Season as Season
    from etholog.season import read as read

__version__ = "0.1.0"

# Where each public name lives. They are imported when first used, so that `etholog --help` and the watch screen
# load no pandas.
_HOMES = {
    "Comparison": "etholog.analysis.compare",
    "compare": "etholog.analysis.compare",
    "latency": "etholog.analysis.latency",
    "Season": "etholog.season",
    "read": "etholog.season",
}

__all__ = ["Comparison", "Season", "compare", "latency", "read"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'etholog' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
