"""Where the files lie that come with etholog."""

from pathlib import Path

_PACKAGE = Path(__file__).parent.parent


def folder(name: str) -> Path:
    """Return the folder `name`: inside an installed package, or at the top of the repository."""
    inside = _PACKAGE / name
    return inside if inside.is_dir() else _PACKAGE.parent / name
