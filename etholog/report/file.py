"""The page's file: whole or not at all, and never over a file that is no page of ours."""

from pathlib import Path

from etholog import __version__
from etholog.base import files
from etholog.base.atomic import replacing
from etholog.base.refusal import Refusal

HEAD_BYTES = 4096
OURS = b'<meta name="generator" content="etholog '
GENERATOR = f'<meta name="generator" content="etholog {__version__}">'


def check(to: Path) -> None:
    """Raise Refusal for a name that no browser takes for a page, or where etholog did not write what is there."""
    if to.suffix.lower() not in (".html", ".htm"):
        raise Refusal(f"{to}: a page is written as .html")
    try:
        there = to.exists()
    except OSError as error:
        raise Refusal(f"{to}: can't be written over ({error.strerror or error}); give another name") from error
    if not there:
        return
    try:
        with files.opened(to) as file:
            ours = OURS in file.read(HEAD_BYTES)
    except Refusal as odd:
        raise Refusal(f"{to}: {odd.findings[0].what}; give another name") from odd
    if not ours:
        raise Refusal(f"{to}: is there already and is not a page of etholog; give another name")


def write(page: str, to: Path) -> None:
    """Write the page. Raises Refusal where that can't be done, or something else of that name is there."""
    check(to)
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Refusal(f"{to}: can't be written ({error.strerror or error}); give another name") from error
    with replacing(to) as file:
        file.write(page.encode())
