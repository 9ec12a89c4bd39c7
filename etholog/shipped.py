"""Where the files lie that come with etholog."""

from pathlib import Path


def folder(name: str) -> Path:
    """Return the folder `name`: inside an installed package, or at the top of the repository."""
    inside = Path(__file__).parent / name
    return inside if inside.is_dir() else Path(__file__).parent.parent / name
