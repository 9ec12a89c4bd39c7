"""etholog: log pairings by single keys against a running clock, and learn from them over a season.

>>> import etholog
>>> season = etholog.read("sessions")
>>> sorted(season.bouts["kind"].unique())
['event', 'state']
"""

TYPE_CHECKING = False  # typing's own is the same to a type checker, and costs a fifth of the time of --help
if TYPE_CHECKING:
    from typing import Any

__version__ = "0.2.0"


# What 0.1 called otherwise: taken for one version.
_RENAMED = {
    "balance": "palp_balance",
    "budget": "time_shares",
    "ended": "first_ends",
    "evening": "evening_measures",
    "pauses": "bout_pauses",
    "practice": "practice_outcomes",
}


# Every public name stands once, in `__init__.pyi`, and is imported when first used, so that `etholog --help` and the
# watch screen load no pandas.
def __getattr__(name: str) -> "Any":
    import lazy_loader

    get, _, public = lazy_loader.attach_stub(__name__, __file__)
    if name == "__all__":
        return public
    if name not in _RENAMED:
        return get(name)
    import warnings

    now = _RENAMED[name]
    warnings.warn(f"etholog.{name} is now etholog.{now}; the old name goes with 0.3", FutureWarning, stacklevel=2)
    return get(now)


def __dir__() -> "list[str]":
    import lazy_loader

    return list(lazy_loader.attach_stub(__name__, __file__)[2])
