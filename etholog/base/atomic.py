"""Files that are there whole, or not at all."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from etholog.base import files
from etholog.base.refusal import Refusal


@contextmanager
def replacing(path: Path) -> Iterator[BinaryIO]:
    """Give a file to write to beside `path`, and put it in its place when all is written and on the disk.

    Raises Refusal where that can't be done; what was there before then stays as it was, and a device or a pipe always.
    """
    with suppress(OSError):
        if odd := files.no_file(path.stat()):
            raise Refusal(f"{path}: {odd}; choose another place")
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with beside.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as error:
        raise Refusal(f"{path}: can't be written ({error.strerror}); {files.remedy(error)}") from error
    finally:
        beside.unlink(missing_ok=True)
