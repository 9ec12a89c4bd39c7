"""Files that are there whole, or not at all."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from etholog.base import files, system
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
        with suppress(OSError):  # of a disk that takes nothing: what it said first is told
            beside.unlink(missing_ok=True)


_LOCK = "etholog.lock"


@contextmanager
def workroom(beside: Path) -> Iterator[Path]:
    """Give a hidden folder beside `beside` for what is half made, and remove it in the end.

    A process that is killed leaves its own behind, with gigabytes of a film: the next one removes it. Nobody holds its
    lock any more. Raises OSError where none can be made.
    """
    for lock in beside.absolute().parent.glob(f".*/{_LOCK}"):
        with suppress(OSError):
            with lock.open("rb+") as file:
                abandoned = system.lock(file.fileno())
            if abandoned:
                shutil.rmtree(lock.parent)
    folder = Path(tempfile.mkdtemp(dir=beside.absolute().parent, prefix=f".{beside.stem[:40]}-"))
    try:
        with (folder / _LOCK).open("wb") as held:
            system.lock(held.fileno())
            yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
