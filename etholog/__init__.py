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


# Every public name stands once, in `__init__.pyi`, and is imported when first used, so that `etholog --help` and the
# watch screen load no pandas. lazy_loader is loaded only then, and takes over.
def __getattr__(name: str) -> "Any":
    _open()
    return globals()[name] if name in globals() else globals()["__getattr__"](name)


def __dir__() -> "list[str]":
    _open()
    return list(globals()["__all__"])


def _open() -> None:
    import lazy_loader

    get, names, every = lazy_loader.attach_stub(__name__, __file__)
    globals().update(__getattr__=get, __dir__=names, __all__=every)
