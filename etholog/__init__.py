"""etholog: log pairings by single keys against a running clock, and learn from them over a season.

>>> import etholog
>>> season = etholog.read("sessions")
>>> sorted(season.bouts["kind"].unique())
['event', 'state']
"""

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from etholog.season import Season as Season
    from etholog.season import read as read

__version__ = "0.1.0"

# Where each public name lives. They are imported when first used, so that `etholog --help` and the watch screen
# load no pandas.
_HOMES = {
    "Season": "etholog.season",
    "read": "etholog.season",
}

__all__ = ["Season", "read"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'etholog' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
