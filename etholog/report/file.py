"""The page's file: whole or not at all, and never over a file that is no page of ours."""

from pathlib import Path

from etholog import __version__
from etholog.base.atomic import replacing
from etholog.base.refusal import Refusal

OURS = b'<meta name="generator" content="etholog '
GENERATOR = f'<meta name="generator" content="etholog {__version__}">'


def check(to: Path) -> None:
    """Raise Refusal for a name that no browser takes for a page, and where something is there that is none of ours."""
    if to.suffix.lower() not in (".html", ".htm"):
        raise Refusal(f"{to}: a page is written as .html")
    try:
        if to.exists() and OURS not in to.read_bytes()[:4096]:
            raise Refusal(f"{to}: is there already and is not a page of etholog; give another name")
    except OSError as error:
        raise Refusal(f"{to}: can't be written over ({error.strerror or error}); give another name") from error


def write(page: str, to: Path) -> None:
    """Write the page. Raises Refusal where that can't be done, or something else of that name is there."""
    check(to)
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refusal(f"{to}: can't be written ({error.strerror or error}); give another name") from error
    with replacing(to) as file:
        file.write(page.encode())
