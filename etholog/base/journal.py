"""An append-only file of checksummed JSON lines. It knows nothing of animals.

Every line is one JSON object, compact, UTF-8: `n` (0, 1, 2 ... with no hole) first, then `do` (the kind of record),
and last `crc`,
the CRC-32 (ISO 3309, as in zlib) of the line's bytes before that member. A correction is another line: no line ever
changes.
"""

import errno
import json
import os
import re
import threading
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, NewType

from etholog.base import system
from etholog.base.refusal import Finding, Refusal

_TAIL = len(b',"crc":"00000000"}')
_NUMBER = re.compile(rb'\{"n":(0|[1-9][0-9]{0,17}),"do":"')
LEFT_OUT = "left out, the file is as it was"
# A record without its number. What may stand in one is for those to say who make them, each by a typed constructor.
Draft = NewType("Draft", Mapping[str, Any])
_DUE: list[bytes] = []  # how lines 0, 1, 2 ... begin


@dataclass(frozen=True)
class Reading:
    """What a journal holds: the `bodies` of its sound lines in their order, its `findings`, and the `torn` tail.

    A body is a line without its checksum: a JSON object that lacks its last brace.
    """

    path: Path
    bodies: list[bytes]
    findings: list[Finding]
    torn: bytes

    @property
    def next_n(self) -> int:
        """The number that the next line has to carry."""
        return number(self.bodies[-1]) + 1 if self.bodies else 0


def as_array(bodies: Iterable[bytes]) -> bytes:
    """Return the bodies of lines as one JSON array."""
    joined = b"},".join(bodies)
    return b"[" + joined + b"}]" if joined else b"[]"


def encode(record: Mapping[str, Any]) -> bytes:
    """Turn a record, `n` and `do` first, into its line, newline included."""
    # A lone surrogate (a broken key code) has no UTF-8 form; a question mark in its place keeps the rest of the mark.
    text = json.dumps(record, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    body = text[:-1].encode("utf-8", "replace")
    return body + b',"crc":"%08x"}\n' % zlib.crc32(body)


def read(path: Path) -> Reading:
    """Read the lines whose checksum holds. Raises Refusal when there is no file or no first line."""
    with _opened(path) as file:
        *whole, torn = file.read().split(b"\n")
    if _fault(torn) is None:
        whole, torn = [*whole, torn], b""  # only the newline was lost
    _begins(path, whole[0] if whole else b"")
    bodies = _all_sound(whole)
    findings: list[Finding] = []
    if bodies is None:
        bodies, findings = _sound(path, whole)
    if torn:
        what = f"torn off after {len(torn)} bytes"
        findings.append(Finding(what, "the lines before it are whole", path, len(whole) + 1))
    return Reading(path, bodies, findings, torn)


def first(path: Path) -> bytes:
    """Return the body of the first line alone. Raises Refusal when there is none."""
    with _opened(path) as file:
        line = file.readline().rstrip(b"\n")
    _begins(path, line)
    return line[:-_TAIL]


@contextmanager
def _opened(path: Path) -> Iterator[BinaryIO]:
    try:
        with path.open("rb") as file:
            yield file
    except OSError as error:
        raise Refusal(f"{path}: can't be read ({error.strerror}); check the name and who may read it") from error


def _begins(path: Path, line: bytes) -> None:
    if _fault(line) is not None or number(line) != 0:
        raise Refusal(f"{path}: line 1: not a journal of etholog (no sound first line); take it out of this folder")


def _all_sound(lines: list[bytes]) -> list[bytes] | None:
    """Return the bodies of lines that are all sound and in order, as nearly all files' are; else None. All at once is
    twice as fast as one by one."""
    bodies = [line[:-_TAIL] for line in lines]
    tails = b"".join([line[-_TAIL:] for line in lines])
    if tails != b',"crc":"%08x"}' * len(lines) % tuple(map(zlib.crc32, bodies)):
        return None
    _DUE.extend(b'{"n":%d,"do":"' % n for n in range(len(_DUE), len(lines)))
    return bodies if all(map(bytes.startswith, bodies, _DUE)) else None


def _sound(path: Path, lines: list[bytes]) -> tuple[list[bytes], list[Finding]]:
    """Return the bodies of those lines that are sound, and a finding for each of the others."""
    bodies: list[bytes] = []
    findings: list[Finding] = []
    expected = 0
    for at, line in enumerate(lines, 1):
        fault = _fault(line)
        if fault is not None:
            findings.append(Finding(fault, LEFT_OUT, path, at))
            expected += 1
            continue
        n = number(line)
        if n < expected:
            findings.append(Finding(f"number {n} comes again or too late", LEFT_OUT, path, at))
            continue
        if n > expected:
            findings.append(Finding(f"number {n} where {expected} was due", "the lines between are lost", path, at))
        bodies.append(line[:-_TAIL])
        expected = n + 1
    return bodies, findings


def _fault(line: bytes) -> str | None:
    if _NUMBER.match(line) is None or line[-_TAIL:-10] != b',"crc":"':
        return "not a line of a journal"
    if line[-10:] != b'%08x"}' % zlib.crc32(line[:-_TAIL]):
        return "its checksum does not match"
    return None


def number(line: bytes) -> int:
    """Return the number of a sound line."""
    return int(line[5 : line.index(b",")])


class Journal:
    """A journal open for appending, by this process alone.

    `append` writes at once; a thread then waits for the disk. What fails is kept, goes to a rescue file in another
    folder, and is tried
    again with each later line: `trouble` says so in words, and is None as long as all is well.
    """

    def __init__(self, path: Path, descriptor: int, n: int) -> None:
        self.path = path
        self.n = n
        self.rescue: Path | None = None
        self._descriptor = descriptor
        self._pending = b""  # what the file has not taken
        self._unsafe: dict[int, bytes] = {}  # lines that are on no disk yet, by n
        self._unsafe_since: float | None = None
        self._deleted = False
        self._write_trouble: str | None = None
        self._sync_trouble: str | None = None
        self._dirty = False
        self._closing = False
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._sync_until_closed, name="journal", daemon=True)
        self._thread.start()

    @classmethod
    def create(cls, path: Path, header: Mapping[str, Any]) -> "Journal":
        """Make the file with its first line, on the disk before this returns. Raises Refusal when it can't be
        made."""
        try:
            descriptor = os.open(path, system.APPEND | os.O_CREAT | os.O_EXCL, 0o644)
        except FileExistsError as error:
            raise Refusal(f"{path}: is there already; `etholog resume` goes on with it") from error
        except OSError as error:
            raise Refusal(f"{path}: can't be made ({error.strerror}); choose a folder that can be written") from error
        try:
            system.lock(descriptor)
            line = encode({"n": 0, "do": "begin", **header})
            if os.write(descriptor, line) != len(line):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            system.sync(descriptor)
            system.sync_folder(path.parent)
        except OSError as error:
            os.close(descriptor)
            path.unlink(missing_ok=True)
            raise Refusal(f"{path}: can't be written ({error.strerror}); make room or choose another folder") from error
        return cls(path, descriptor, 1)

    @classmethod
    def open(cls, path: Path) -> "tuple[Journal, Reading]":
        """Open an existing journal to go on with it. A torn last line is set aside into `<name>.torn` first."""
        try:
            descriptor = os.open(path, system.APPEND)
        except OSError as error:
            raise Refusal(f"{path}: can't be opened ({error.strerror}); check the name and who may write it") from error
        try:
            if not system.lock(descriptor):
                raise Refusal(f"{path}: another etholog is writing into it; end that one first")
            reading = read(path)
            if reading.torn:
                with path.with_name(path.name + ".torn").open("ab") as aside:
                    aside.write(reading.torn + b"\n")
                    aside.flush()
                    os.fsync(aside.fileno())
                os.ftruncate(descriptor, os.fstat(descriptor).st_size - len(reading.torn))
            elif not _content(descriptor).endswith(b"\n"):
                os.write(descriptor, b"\n")
        except Refusal:
            os.close(descriptor)
            raise
        except OSError as error:
            os.close(descriptor)
            raise Refusal(f"{path}: can't be written ({error.strerror}); make room first") from error
        return cls(path, descriptor, reading.next_n), reading

    def append(self, draft: Draft) -> int:
        """Write one record and return its `n`. A failing disk raises nothing: see `trouble`."""
        with self._changed:
            n = self.n
            line = encode({"n": n, **draft})
            self.n += 1
            self._pending += line
            self._unsafe[n] = line
            self._unsafe_since = self._unsafe_since or system.now()
            self._write()
            self._dirty = True
            self._changed.notify_all()
        return n

    @property
    def trouble(self) -> str | None:
        """What is wrong with the disk, in words for the user; None when all is well."""
        return self._write_trouble or self._sync_trouble

    @property
    def waiting_s(self) -> float:
        """For how many seconds the oldest line has been waiting for a disk; 0 when all is safe."""
        since = self._unsafe_since
        return 0.0 if since is None else system.now() - since

    def close(self, patience_s: float = 10.0) -> bool:
        """Wait for the disk, at most so long, and let the file go; True when every line is in the file and on the
        disk."""
        with self._changed:
            if self._pending:
                self._write()
            self._closing = True
            self._changed.notify_all()
        self._thread.join(patience_s)
        if not self._thread.is_alive() and self._descriptor != -1:
            os.close(self._descriptor)
            self._descriptor = -1
        return not self._unsafe and not self._pending

    def _write(self) -> None:
        try:
            if os.fstat(self._descriptor).st_nlink == 0:
                self._make_again()
            while self._pending:
                self._pending = self._pending[os.write(self._descriptor, self._pending) :]
        except OSError as error:
            self._write_trouble = self._set_aside(error)
        else:
            self._write_trouble = None

    def _make_again(self) -> None:
        """Start the file anew, with all that it held, when it was deleted under us."""
        if not self._deleted:
            self._deleted = True
            self._pending = _content(self._descriptor) + self._pending
            self._unsafe = {self.n - 1: self._pending}
        # The old descriptor stays open: a sync may be under way on it.
        descriptor = os.open(self.path, system.APPEND | os.O_CREAT | os.O_EXCL, 0o644)
        system.lock(descriptor)
        self._descriptor = descriptor
        self._deleted = False

    def _set_aside(self, error: OSError) -> str:
        """Write what is on no disk to the rescue file, and say where that is."""
        reason = error.strerror or str(error)
        for folder in [self.rescue.parent] if self.rescue else system.rescue_folders():
            target = folder / f"{self.path.stem}-{os.getpid()}.rescue"
            try:
                folder.mkdir(parents=True, exist_ok=True)
                with target.open("ab") as file:
                    file.write(b"".join(self._unsafe.values()))
                    file.flush()
                    os.fsync(file.fileno())
            except OSError:
                continue
            self.rescue = target
            self._unsafe.clear()
            self._unsafe_since = None
            return f"NOT SAVED in {self.path} ({reason}). The marks go to {target}"
        return (
            f"NOT SAVED ({reason}), and no other folder takes the marks. Make room, and don't close: they are in memory"
        )

    def _sync_until_closed(self) -> None:
        closing = False
        while not closing:
            with self._changed:
                self._changed.wait_for(lambda: self._dirty or self._closing)
                closing, self._dirty = self._closing, False
                last, descriptor = self.n - 1, self._descriptor
            try:
                system.sync(descriptor)
            except OSError as error:
                with self._changed:
                    self._sync_trouble = self._set_aside(error)
                continue
            with self._changed:
                self._sync_trouble = None
                if not self._pending:
                    self._unsafe = {n: line for n, line in self._unsafe.items() if n > last}
                    self._unsafe_since = system.now() if self._unsafe else None


def _content(descriptor: int) -> bytes:
    size = os.fstat(descriptor).st_size
    os.lseek(descriptor, 0, os.SEEK_SET)
    return os.read(descriptor, size)
