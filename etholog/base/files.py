"""Which files of a folder are read, how one is read in bounded time, and names that every system can hold.

What stands in a folder may be anything: a link that leads in a circle, a pipe that nobody writes to, a device without
an end. Such things are named and skipped.
"""

import errno
import os
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import partial
from itertools import islice
from pathlib import Path
from typing import BinaryIO

from etholog.base.language import gettext, gettext_noop
from etholog.base.refusal import Finding, Refusal

LARGEST = 256 * 2**20  # bytes; a night of marks has less than one hundredth of that
PIECE = 2**18  # bytes read at once: most sessions take one
PICTURES = (".svg", ".pdf", ".png")  # the forms in which figures and labels are written
NAME_BYTES = 120  # what a name may take, so that endings still fit: most systems take 255 bytes, or 143 encrypted

# Files beside journals that are not journals: what was torn off, what was rescued, what was taken in.
BESIDE = (".torn", ".rescue", ".taken", ".changed")

# Names that Windows keeps for devices, whatever their ending (Microsoft, "Naming Files, Paths, and Namespaces").
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in "123456789¹²³")}

_KINDS = {
    stat.S_IFIFO: gettext_noop("is a pipe"),
    stat.S_IFSOCK: gettext_noop("is a socket"),
    stat.S_IFCHR: gettext_noop("is a device"),
    stat.S_IFBLK: gettext_noop("is a device"),
    stat.S_IFDIR: gettext_noop("is a folder"),
}


def remedy(error: OSError) -> str:
    """Return what the user can do about an error of the file system."""
    match error.errno:
        case errno.ENOSPC | errno.EDQUOT | errno.EFBIG:
            return "make room or choose another folder"
        case errno.ENAMETOOLONG:
            return "choose a shorter name"
        case errno.EROFS:
            return "nothing can be written there; choose another folder"
        case errno.EACCES | errno.EPERM:
            return "check who may read and write it, or choose another folder"
        case errno.ELOOP:
            return "this link leads in a circle; remove it"
        case errno.EIO:
            return "the disk fails; copy what is on it to another"
    return "check the name and the folder"


def read(path: Path) -> bytes:
    """Return all that is in a file. Raises Refusal where it is not there, no file, or larger than `LARGEST`."""
    with opened(path) as file:
        # In pieces: room for the largest file, asked for at once, takes longer to get and give back than to fill.
        return b"".join(islice(iter(partial(file.read, PIECE), b""), LARGEST // PIECE + 1))


def read_line(path: Path) -> bytes:
    """Return the first line of a file, its end too. Raises Refusal as `read` does."""
    with opened(path) as file:
        return file.readline()


@contextmanager
def opened(path: Path) -> Iterator[BinaryIO]:
    """Give a file to read from, which waits for nobody. Raises Refusal as `read` does."""
    try:
        # Without O_NONBLOCK, opening a pipe would wait for somebody to write to it.
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        with os.fdopen(descriptor, "rb") as file:
            odd = _odd(os.fstat(descriptor))
            if odd is not None:
                raise Refusal(Finding(odd, "it is not read", path))
            yield file
    except OSError as error:
        if error.errno == errno.ENXIO:  # so the system says of a socket
            raise Refusal(Finding("is a socket", "it is not read", path)) from error
        what = f"can't be read ({error.strerror})"
        there = "check the name and who may read it"
        raise Refusal(Finding(what, remedy(error) if error.errno == errno.ELOOP else there, path)) from error


def listed(folder: Path, suffix: str = "") -> tuple[dict[str, os.stat_result], list[Finding]]:
    """Return the files of a folder that are read, by name and in that order, and a finding for each odd thing there.

    Hidden files, folders, and what lies beside journals are passed over; so are, where `suffix` is given, all files
    with another one. A folder that is not there holds nothing. Raises Refusal where it can't be read.
    """
    found: dict[str, os.stat_result] = {}
    findings: list[Finding] = []
    try:
        with os.scandir(folder) as entries:
            meant = [
                entry
                for entry in entries
                if not entry.name.startswith(".") and not entry.name.endswith(BESIDE) and entry.name.endswith(suffix)
            ]
    except (FileNotFoundError, NotADirectoryError):
        return {}, []
    except OSError as error:
        raise Refusal(Finding(f"can't be read ({error.strerror})", remedy(error), folder)) from error
    for entry in sorted(meant, key=lambda entry: entry.name):
        try:
            seen = entry.stat()
        except OSError as error:
            findings.append(Finding(f"can't be read ({error.strerror})", remedy(error), Path(entry.path)))
            continue
        odd = _odd(seen)
        if odd is None:
            found[entry.name] = seen
        elif not stat.S_ISDIR(seen.st_mode):
            findings.append(Finding(gettext(odd), gettext("left out"), Path(entry.path)))
    return found, findings


def no_file(seen: os.stat_result) -> str | None:
    """Say what something is that is no file; None where it is one."""
    return _KINDS.get(stat.S_IFMT(seen.st_mode))


def _odd(seen: os.stat_result) -> str | None:
    if seen.st_size > LARGEST and stat.S_ISREG(seen.st_mode):
        return f"is larger than {LARGEST // 2**20} MiB"
    return no_file(seen)


def cut(name: str, size: int = NAME_BYTES) -> str:
    """Return as much of a name as takes `size` bytes of UTF-8, no character cut in two.

    >>> cut("蜘蛛蜘蛛", 7)
    '蜘蛛'
    """
    return name.encode("utf-8", "replace")[:size].decode("utf-8", "ignore")


def write_anew(path: Path, text: str) -> None:
    """Write a small file in place of whatever had its name: no link is followed, and no pipe waited for."""
    path.unlink(missing_ok=True)
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(text)


def is_device(name: str) -> bool:
    """Tell whether Windows keeps a name for a device.

    >>> is_device("Aux.old"), is_device("auxiliary")
    (True, False)
    """
    return name.split(".")[0].rstrip(" ").casefold() in _DEVICES


def alike(name: str, names: Iterable[str]) -> str | None:
    """Return the one of the names that differs from `name` in capitals alone: many systems take both for one."""
    return next((one for one in names if one != name and one.casefold() == name.casefold()), None)
