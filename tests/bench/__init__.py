"""What costs what."""

import os


def keep_bytecode() -> None:
    """Have every process that is started from here on keep Python's bytecode, as an install does: without it
    (`PYTHONDONTWRITEBYTECODE`) each start reads all source anew, which takes longer than what is measured."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
