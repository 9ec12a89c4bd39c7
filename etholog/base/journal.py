"""An append-only file of checksummed JSON lines. It knows nothing of animals.

Every line is one JSON object, compact, UTF-8: `n` (0, 1, 2 ... with no hole) first, then `do` (the kind of record),
and last `crc`,
the CRC-32 (ISO 3309, as in zlib) of the line's bytes before that member. A correction is another line: no line ever
changes.

A line ends with a line feed. Tools that change text files may have put a carriage return before each (git on Windows
does), and editors a byte order mark before the first: such a file is read, told of, and written on as it is.
"""

import codecs
import errno
import json
import os
import re
import threading
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NewType

from etholog.base import files, system
from etholog.base.language import gettext, gettext_noop, ngettext
from etholog.base.refusal import Finding, Refusal

_TAIL = len(b',"crc":"00000000"}')
_NUMBER = re.compile(rb'\{"n":(0|[1-9][0-9]{0,17}),"do":"')
LEFT_OUT = gettext_noop("left out, the file is as it was")
# A record without its number. What may stand in one is for those to say who make them, each by a typed constructor.
Draft = NewType("Draft", Mapping[str, Any])
Scalar = str | int | float | bool | None
MARK_REMEDY = gettext_noop("nothing is lost; look at it in that editor, but don't save it there")
UTF_16 = codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE, b"{\0", b"\0{"  # what such a file begins with
CRLF_REMEDY = gettext_noop("nothing is lost; see .gitattributes in `etholog help files`")
_DUE: list[bytes] = []  # how lines 0, 1, 2 ... begin


@dataclass(frozen=True)
class Reading:
    """What a journal holds: the `bodies` of its sound lines in their order, its `findings`, and the `torn` tail.

    A body is a line without its checksum: a JSON object that lacks its last brace. `ending` ends each line.
    """

    path: Path
    bodies: list[bytes]
    findings: list[Finding]
    torn: bytes
    ending: bytes = b"\n"

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
    return sealed(text[:-1].encode("utf-8", "replace"))


def sealed(body: bytes) -> bytes:
    """Return a body as the line that it was, newline included."""
    return body + b',"crc":"%08x"}\n' % zlib.crc32(body)


def read(path: Path) -> Reading:
    """Read the lines whose checksum holds. Raises Refusal when there is no file or no first line."""
    content = files.read(path)
    *whole, torn = content.removeprefix(codecs.BOM_UTF8).split(b"\n")
    ending = b"\n"
    if whole and whole[0].endswith(b"\r"):
        ending = b"\r\n"
    if ending == b"\r\n" or any(line.endswith(b"\r") for line in whole[-1:]):
        whole = [line.removesuffix(b"\r") for line in whole]
    if _fault(torn.removesuffix(b"\r")) is None:
        whole, torn = [*whole, torn.removesuffix(b"\r")], b""  # only the newline was lost
    _begins(path, whole[0] if whole else torn)
    bodies = _all_sound(whole)
    findings: list[Finding] = []
    if bodies is None:
        bodies, findings = _sound(path, whole)
    if ending == b"\r\n":
        what = gettext("its lines end with CR LF, as git on Windows makes them")
        findings.insert(0, Finding(what, gettext(CRLF_REMEDY), path))
    if content.startswith(codecs.BOM_UTF8):
        what = gettext("an editor has put a byte order mark before its first line")
        findings.insert(0, Finding(what, gettext(MARK_REMEDY), path))
    if torn:
        what = ngettext("torn off after {n} byte", "torn off after {n} bytes", len(torn))
        findings.append(Finding(what, gettext("the lines before it are whole"), path, len(whole) + 1))
    return Reading(path, bodies, findings, torn, ending)


def fullest(told: Iterable[tuple[str, int]]) -> dict[str, int]:
    """Return the place of the file that counts of each journal, of (its name, how many records the file has): the one
    with the most records, or the first of several such.

    A program that keeps two machines alike leaves copies behind, and some of them were made early.

    >>> fullest([("a", 3), ("b", 1), ("a", 5)])
    {'a': 2, 'b': 1}
    """
    found: dict[str, tuple[int, int]] = {}
    for at, (name, records) in enumerate(told):
        if name not in found or records > found[name][0]:
            found[name] = records, at
    return {name: at for name, (_, at) in found.items()}


def lines_of(path: Path) -> dict[int, bytes]:
    """Return the bodies of all sound lines of a file by their number, whatever order they stand in and whatever is
    missing: so a rescue file is read."""
    lines = [line.removesuffix(b"\r") for line in files.read(path).removeprefix(codecs.BOM_UTF8).split(b"\n")]
    return {number(line): line[:-_TAIL] for line in lines if _fault(line) is None}


def decoded(body: bytes) -> dict[str, Any]:
    """Return a body as the record that it is."""
    record: dict[str, Any] = json.loads(body + b"}")
    return record


def first(path: Path) -> bytes:
    """Return the body of the first line alone. Raises Refusal when there is none."""
    line = files.read_line(path).removeprefix(codecs.BOM_UTF8).rstrip(b"\r\n")
    _begins(path, line)
    return line[:-_TAIL]


def is_held(path: Path) -> bool:
    """Tell whether somebody writes into a journal right now."""
    try:
        descriptor = os.open(path, system.APPEND | getattr(os, "O_NONBLOCK", 0))
    except OSError:
        return False
    try:
        return not system.lock(descriptor)
    finally:
        os.close(descriptor)


def repeated(body: bytes) -> str | None:
    """Return the name of a member that stands twice in one object of a body; None where each is there once.

    Readers of JSON differ in which of the two they take (RFC 8259, section 4).

    >>> repeated(b'{"n":1,"do":"note","t":5,"t":6')
    't'
    """
    twice: list[str] = []

    def check(pairs: list[tuple[str, Any]]) -> None:
        names = [name for name, _ in pairs]
        twice.extend(name for name in names if names.count(name) > 1)

    with suppress(ValueError, RecursionError):  # what is no JSON, others refuse
        json.loads(body + b"}", object_pairs_hook=check)
    return twice[0] if twice else None


def may_repeat(bodies: Iterable[bytes], members: int) -> bool:
    """Tell whether some of the bodies may hold a member twice, when readers found so many members in all of them.

    In compact JSON each member has one `":`, and no other does but within a string, after a backslash; so a look at
    the bytes tells, and only what looks odd needs `repeated`, which is slow.
    """
    every = b"".join(bodies)
    return every.count(b'":') != members or any(blank in every for blank in (b'" ', b'"\t', b'"\r'))


def _begins(path: Path, line: bytes) -> None:
    if line.startswith(UTF_16):
        what = gettext("an editor has saved it as UTF-16, which is not read")
        raise Refusal(Finding(what, gettext("save it there as UTF-8: nothing of it is lost"), path, 1))
    before, alone, after = line.partition(b"\r")
    if alone and after and _fault(before) is None:
        what = gettext("its lines end with CR alone, as on old Macs, which is not read")
        raise Refusal(Finding(what, gettext("save it with LF line ends (Unix): nothing of it is lost"), path, 1))
    if _fault(line) is not None or number(line) != 0:
        what = gettext("not a journal of etholog (no sound first line)")
        raise Refusal(Finding(what, gettext("take it out of this folder"), path, 1))


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
            findings.append(Finding(gettext(fault), gettext(LEFT_OUT), path, at))
            expected += 1
            continue
        n = number(line)
        if n < expected:
            what = gettext("number {number} comes again or too late", number=n)
            findings.append(Finding(what, gettext(LEFT_OUT), path, at))
            continue
        if n > expected:
            what = gettext("number {number} where {due} was due", number=n, due=expected)
            findings.append(Finding(what, gettext("the lines between are lost"), path, at))
        bodies.append(line[:-_TAIL])
        expected = n + 1
    return bodies, findings


def _fault(line: bytes) -> str | None:
    if _NUMBER.match(line) is None or line[-_TAIL:-10] != b',"crc":"':
        return gettext_noop("not a line of a journal")
    if line[-10:] != b'%08x"}' % zlib.crc32(line[:-_TAIL]):
        return gettext_noop("its checksum does not match")
    return None


def number(line: bytes) -> int:
    """Return the number of a sound line."""
    return int(line[5 : line.index(b",")])


class Journal:
    """A journal open for appending, by this process alone.

    `append` writes at once; a thread then waits for the disk. What fails is kept, goes to a rescue file in another
    folder, and is tried again with each later line: `trouble` says so in words, and is None as long as all is well.
    Where another program has changed the file, nothing more is written into it: the whole journal, which is in memory
    too, goes to the rescue file, and `damage` says what happened.
    """

    def __init__(self, path: Path, descriptor: int, reading: Reading, content: bytes) -> None:
        self.path = path
        self.n = reading.next_n
        self.rescue: Path | None = None
        self.damage: str | None = None
        self._descriptor = descriptor
        self._ending = reading.ending
        self._content = bytearray(content)  # all that the file is to hold
        self._written = len(content)  # how much of it the file has taken
        self._synced = len(content)  # how much of that is on the disk for sure
        self._seen = system.stamp(os.fstat(descriptor))
        self._unsafe: dict[int, bytes] = {}  # lines that are on no disk yet, by n
        self._unsafe_since: float | None = None
        self._rescued: set[Path] = set()
        self._write_trouble: str | None = None
        self._sync_trouble: str | None = None
        self._dirty = False
        self._gathers = False
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
            raise Refusal(f"{path}: is there already, perhaps since a moment ago; try again") from error
        except OSError as error:
            raise Refusal(f"{path}: can't be made ({error.strerror}); {files.remedy(error)}") from error
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
            raise Refusal(f"{path}: can't be written ({error.strerror}); {files.remedy(error)}") from error
        return cls(path, descriptor, Reading(path, [line[:-_TAIL]], [], b""), line)

    @classmethod
    def open(cls, path: Path) -> "tuple[Journal, Reading]":
        """Open an existing journal to go on with it. A torn last line is set aside into `<name>.torn` first."""
        try:
            descriptor = os.open(path, system.APPEND | getattr(os, "O_NONBLOCK", 0))
        except OSError as error:
            raise Refusal(f"{path}: can't be opened ({error.strerror}); {files.remedy(error)}") from error
        try:
            if not system.lock(descriptor):
                raise Refusal(f"{path}: another etholog is writing into it; end that one first")
            reading = read(path)
            if reading.torn:
                add_whole(path.with_name(path.name + ".torn"), reading.torn + b"\n")
                os.ftruncate(descriptor, os.fstat(descriptor).st_size - len(reading.torn))
            content = _content(descriptor)
            missing = _missing_end(content, reading.ending)
            if missing:
                os.write(descriptor, missing)
        except Refusal:
            os.close(descriptor)
            raise
        except OSError as error:
            os.close(descriptor)
            raise Refusal(
                f"{error.filename or path}: can't be written ({error.strerror}); {files.remedy(error)}"
            ) from error
        return cls(path, descriptor, reading, content + missing), reading

    def append(self, draft: Draft) -> int:
        """Write one record and return its `n`. A failing disk raises nothing: see `trouble`."""
        with self._changed:
            n = self.n
            self._add(n, encode({"n": n, **draft}))
        return n

    @contextmanager
    def at_once(self) -> Iterator[None]:
        """Write what is appended within in one write, at its end: a crash keeps all of it or nothing."""
        with self._changed:
            outermost, first = not self._gathers, self.n
            self._gathers = True
            try:
                yield
            finally:
                if outermost:
                    self._gathers = False
                    if self.n > first:
                        self._write()

    def take_in(self, bodies: Iterable[bytes]) -> None:
        """Write lines of this journal that were kept elsewhere, as they are. Raises ValueError where a number does not
        follow on."""
        with self._changed:
            for body in bodies:
                if number(body) != self.n:
                    raise ValueError(f"number {number(body)} where {self.n} is due")
                self._add(self.n, sealed(body))

    def _add(self, n: int, line: bytes) -> None:
        self.n = n + 1
        line = line[:-1] + self._ending
        self._content += line
        self._unsafe[n] = line
        self._unsafe_since = self._unsafe_since or system.now()
        if not self._gathers:
            self._write()
        self._dirty = True
        self._changed.notify_all()

    @property
    def trouble(self) -> str | None:
        """What is wrong with the disk, in words for the user; None when all is well."""
        return self._write_trouble or self._sync_trouble

    @property
    def unsaved(self) -> str:
        """Why not all of it is on the disk, in words, once `close` has said so."""
        return self.trouble or f"{self.path}: the disk does not answer"

    @property
    def waiting_s(self) -> float:
        """For how many seconds the oldest line has been waiting for a disk; 0 when all is safe."""
        since = self._unsafe_since
        return 0.0 if since is None else system.now() - since

    def is_safe(self, n: int) -> bool:
        """Tell whether record `n` is on a disk: in the file, or in the rescue file while the file's disk fails."""
        return 0 <= n < self.n and n not in self._unsafe

    def close(self, patience_s: float = 10.0) -> bool:
        """Wait for the disk, at most so long, and let the file go; True when every line is in the file and on the
        disk. The rescue file is then renamed: nobody needs to take it in."""
        with self._changed:
            if self._descriptor != -1:
                self._write()
            self._closing = True
            self._changed.notify_all()
        self._thread.join(patience_s)
        if not self._thread.is_alive() and self._descriptor != -1:
            os.close(self._descriptor)
            self._descriptor = -1
        whole = self._written == len(self._content) == self._synced
        if whole and not self._unsafe and self.damage is None:
            for rescue in self._rescued:
                with suppress(OSError):
                    rescue.rename(rescue.with_name(rescue.name + ".taken"))
            return True
        return False

    def _write(self) -> None:
        try:
            if os.fstat(self._descriptor).st_nlink == 0 and not self.path.exists():
                self._make_again()
            if self.damage is None:
                self.damage = self._changed_by_others()
                if self.damage is not None:
                    self._unsafe = self._lines()
            if self.damage is not None:
                self._write_trouble = self._set_aside(f"another program has changed it: {self.damage}", "ALL marks go")
                return
            try:
                while self._written < len(self._content):
                    self._written += os.write(self._descriptor, bytes(self._content[self._written :]))
            finally:
                self._seen = system.stamp(os.fstat(self._descriptor))
        except OSError as error:
            self._write_trouble = self._set_aside(error.strerror or str(error))
        else:
            self._write_trouble = None

    def _make_again(self) -> None:
        """Start the file anew, with all that it held, when it was deleted under us."""
        if self._written:
            self._written = self._synced = 0
            self._unsafe = self._lines()
        # The old descriptor stays open: a sync may be under way on it.
        descriptor = os.open(self.path, system.APPEND | os.O_CREAT | os.O_EXCL, 0o644)
        system.lock(descriptor)
        self._descriptor = descriptor
        self._seen = system.stamp(os.fstat(descriptor))

    def _changed_by_others(self) -> str | None:
        """Say what somebody else has done to the file since we wrote into it last; None where nothing."""
        here = system.stamp(os.fstat(self._descriptor))
        try:
            there = system.stamp(self.path.stat())
        except FileNotFoundError:
            return "it was moved away"
        if there[:2] != here[:2]:
            return "another file is in its place"
        if here == self._seen:
            return None
        # Some file systems change a time by themselves, so the content is judged.
        content = _content(self._descriptor)
        if content == self._content[: self._written]:
            self._seen = here
            return None
        if not content:
            return "it was emptied"
        if len(content) < self._written:
            return "it was cut short"
        return "something was added" if content.startswith(self._content[: self._written]) else "it was edited"

    def _lines(self) -> dict[int, bytes]:
        """Return all sound lines by their number, each with its end."""
        lines = bytes(self._content).removeprefix(codecs.BOM_UTF8).split(b"\n")
        return {number(line): line + b"\n" for line in lines if _fault(line.removesuffix(b"\r")) is None}

    def _set_aside(self, reason: str, which: str = "The marks go") -> str:
        """Write what is on no disk to the rescue file, and say where that is."""
        places = system.rescue_folders()
        if self.rescue is not None:
            places.sort(key=lambda place: self.rescue is not None and place.path != self.rescue.parent)
        name = f"{files.cut(self.path.stem)}-{os.getpid()}.rescue"
        for place in places:
            target = place.path / name
            try:
                if self._unsafe or target != self.rescue:
                    # The first line says whose marks these are.
                    lines = self._unsafe if target in self._rescued else {0: self._lines()[0]} | self._unsafe
                    place.path.mkdir(mode=0o700, parents=True, exist_ok=True)
                    if not system.is_own(place.path):
                        continue
                    add_whole(target, b"".join(lines.values()))
            except OSError:
                continue
            self.rescue = target
            self._rescued.add(target)
            self._unsafe.clear()
            self._unsafe_since = None
            until = "" if place.lasts else ", WHICH IS EMPTIED WHEN THE MACHINE RESTARTS: copy it before"
            return f"NOT SAVED in {self.path} ({reason}). {which} to {target}{until}"
        return (
            f"NOT SAVED ({reason}), and no other folder takes the marks. Make room, and don't close: they are in memory"
        )

    def _sync_until_closed(self) -> None:
        closing = False
        while not closing:
            with self._changed:
                self._changed.wait_for(lambda: self._dirty or self._closing)
                closing, self._dirty = self._closing, False
                last, descriptor, written = self.n - 1, self._descriptor, self._written
                all_written = written == len(self._content)
            try:
                if self._sync_trouble is not None:
                    self._write_again()
                system.sync(descriptor)
            except OSError as error:
                with self._changed:
                    self._sync_trouble = self._set_aside(error.strerror or str(error))
                continue
            with self._changed:
                self._sync_trouble = None
                if descriptor == self._descriptor:
                    self._synced = max(self._synced, written)
                if all_written and self.damage is None:
                    self._unsafe = {n: line for n, line in self._unsafe.items() if n > last}
                    self._unsafe_since = system.now() if self._unsafe else None

    def _write_again(self) -> None:
        """Put the same bytes in the same place. After a sync that failed, Linux takes the pages for clean and says at
        the next that all is well, though nothing reached the disk (Rebello et al. 2020, "Can applications recover from
        fsync failures?")."""
        with self._changed:
            descriptor = os.open(self.path, os.O_RDWR | getattr(os, "O_BINARY", 0))
            try:
                if system.stamp(os.fstat(descriptor)) == self._seen:
                    os.lseek(descriptor, self._synced, os.SEEK_SET)
                    os.write(descriptor, bytes(self._content[self._synced : self._written]))
                    self._seen = system.stamp(os.fstat(descriptor))
            finally:
                os.close(descriptor)


def _content(descriptor: int) -> bytes:
    size = os.fstat(descriptor).st_size
    os.lseek(descriptor, 0, os.SEEK_SET)
    return os.read(descriptor, size)


def _missing_end(content: bytes, ending: bytes) -> bytes:
    """Return what the last line lacks of its end."""
    if content.endswith(b"\n"):
        return b""
    return b"\n" if content.endswith(b"\r") else ending


def add_whole(path: Path, data: bytes) -> None:
    """Append to a file, all or nothing, and wait for the disk."""
    descriptor = os.open(path, system.ADD, 0o600)
    try:
        before = os.fstat(descriptor).st_size
        try:
            if os.write(descriptor, data) != len(data):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            os.fsync(descriptor)
        except OSError:
            os.ftruncate(descriptor, before)
            raise
        if not before:
            system.sync_folder(path.parent)
    finally:
        os.close(descriptor)
