"""Libraries that only some need."""

from importlib.util import find_spec

from etholog.base.refusal import Refusal


def needed(library: str, what: str) -> None:
    """Refuse, with what to do, where a library that only some need is not there.

    >>> needed("no_such_library", "XLSX")
    Traceback (most recent call last):
    etholog.base.refusal.Refusal: XLSX needs no_such_library, which is not installed: pip install no_such_library
    """
    if find_spec(library) is None:
        raise Refusal(f"{what} needs {library}, which is not installed: pip install {library}")
