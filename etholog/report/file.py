"""The page's file: written whole under another name, then renamed; never over a file that is no report of ours."""

import secrets
from pathlib import Path

from etholog.refusal import Refusal

OURS = b'<meta name="generator" content="etholog '


def check(to: Path) -> None:
    """Raise Refusal where something is there that is no report of ours."""
    try:
        if to.exists() and OURS not in to.read_bytes()[:4096]:
            raise Refusal(f"{to}: is there already and is no report of etholog; give another name with --out")
    except OSError as error:
        raise Refusal(f"{to}: can't be written over ({error.strerror or error}); give another name") from error


def write(page: str, to: Path) -> None:
    """Write the page. Raises Refusal where that can't be done, or something else of that name is there."""
    check(to)
    new = to.with_name(f".{to.name}.{secrets.token_hex(4)}")
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        new.write_text(page, encoding="utf-8", newline="\n")
        new.replace(to)
    except OSError as error:
        raise Refusal(f"{to}: can't be written ({error.strerror or error}); nothing was changed") from error
    finally:
        new.unlink(missing_ok=True)
