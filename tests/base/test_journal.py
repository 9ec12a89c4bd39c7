"""The journal against real files: torn, bent, full, deleted, taken by another process."""

import codecs
import errno
import json
import os
import random
import signal
import subprocess
import sys
import textwrap
import zlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etholog.base import journal, system
from etholog.base.journal import Journal
from etholog.base.refusal import Refusal
from etholog.base.system import RescueFolder
from etholog.session.drafts import note

HEADER = {"format": "etholog-session/1", "id": "a"}


def written(path: Path, count: int = 5) -> bytes:
    with_lines = Journal.create(path, HEADER)
    for i in range(count):
        with_lines.append(note(i, f"note {i}"))
    assert with_lines.close()
    return path.read_bytes()


def test_lines_are_json_and_their_crc_is_the_published_one(tmp_path: Path) -> None:
    # CRC-32 as in ISO 3309 / ITU-T V.42; its published check value is that of "123456789".
    assert zlib.crc32(b"123456789") == 0xCBF43926
    written(tmp_path / "a.jsonl")
    for n, line in enumerate((tmp_path / "a.jsonl").read_bytes().splitlines()):
        record = json.loads(line)
        assert record["n"] == n
        body = line[: line.rindex(b',"crc"')]
        assert record["crc"] == f"{zlib.crc32(body):08x}"


texts = st.text(max_size=50)


@pytest.mark.slow
@given(texts, texts)
def test_any_text_comes_back(kind: str, text: str) -> None:
    line = journal.encode({"n": 0, "do": "note", "text": text, "why": kind})
    assert line.count(b"\n") == 1
    record = json.loads(line)
    assert record["text"] == text
    assert record["why"] == kind


def test_a_lone_surrogate_costs_one_character_and_not_the_mark() -> None:
    record = json.loads(journal.encode({"n": 0, "do": "note", "text": "a\ud800b"}))
    assert record["text"] == "a?b"


def test_cut_at_every_byte_it_loses_at_most_the_last_line(tmp_path: Path) -> None:
    data = written(tmp_path / "a.jsonl", 3)
    first = data.index(b"\n")
    path = tmp_path / "cut.jsonl"
    for size in range(first, len(data)):
        path.write_bytes(data[:size])
        reading = journal.read(path)
        whole = data[: size + 1].count(b"\n")  # a line without its newline is whole too
        assert len(reading.bodies) == whole
        assert bool(reading.torn) == bool(reading.findings)


def test_a_torn_tail_is_set_aside_and_the_journal_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    data = written(path, 3)
    path.write_bytes(data[:-9])
    opened, reading = Journal.open(path)
    assert len(reading.bodies) == 3
    assert "line 4: torn off" in str(reading.findings[0])
    opened.append(note(9, "after"))
    assert opened.close()
    torn = data[data.rindex(b"\n", 0, -9) + 1 : -9]
    assert (tmp_path / "a.jsonl.torn").read_bytes() == torn + b"\n"
    after = journal.read(path)
    assert not after.findings
    assert [record["n"] for record in json.loads(journal.as_array(after.bodies))] == [0, 1, 2, 3]


def test_only_the_newline_lost_is_nothing_lost(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(written(path, 3)[:-1])
    opened, reading = Journal.open(path)
    opened.append(note(9, "after"))
    assert opened.close()
    assert not reading.findings
    assert len(journal.read(path).bodies) == 5


@pytest.mark.slow
def test_every_single_bit_flip_is_seen(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    data = written(path, 4)
    whole = journal.read(path).bodies
    bent = tmp_path / "bent.jsonl"
    chance = random.Random(7)
    for _ in range(1500):
        at = chance.randrange(data.index(b"\n") + 1, len(data))
        changed = bytearray(data)
        changed[at] ^= 1 << chance.randrange(8)
        bent.write_bytes(changed)
        reading = journal.read(bent)
        assert reading.findings or reading.bodies == whole  # the very last newline alone is no loss


def test_lost_doubled_and_swapped_lines_are_told_by_number(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    lines = written(path, 4).splitlines(keepends=True)
    path.write_bytes(b"".join(lines[:2] + lines[3:]))
    assert f"{path}: line 3: number 3 where 2 was due" in str(journal.read(path).findings[0])
    path.write_bytes(b"".join([*lines[:3], lines[2], *lines[3:]]))
    assert "line 4: number 2 comes again" in str(journal.read(path).findings[0])
    path.write_bytes(b"".join([lines[0], lines[2], lines[1], *lines[3:]]))
    faults = list(map(str, journal.read(path).findings))
    assert "line 2: number 2 where 1 was due" in faults[0]
    assert "line 3: number 1 comes again or too late" in faults[1]


@pytest.mark.parametrize("content", [b"", b"\n", b"hello\n", bytes(range(256)), b'{"n":0}\n', b"\xff\xfe" * 100])
def test_a_foreign_file_is_refused_in_one_line(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(content)
    with pytest.raises(Refusal) as refused:
        journal.read(path)
    assert str(refused.value).startswith(f"{path}: line 1: ")
    assert "\n" not in str(refused.value)


def test_missing_folders_and_taken_names_are_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match="can't be made"):
        Journal.create(tmp_path / "none" / "a.jsonl", HEADER)
    written(tmp_path / "a.jsonl")
    with pytest.raises(Refusal, match="is there already"):
        Journal.create(tmp_path / "a.jsonl", HEADER)
    with pytest.raises(Refusal, match="can't be opened"):
        Journal.open(tmp_path / "b.jsonl")


def test_a_second_process_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    mine = Journal.create(path, HEADER)
    script = f"from pathlib import Path; from etholog.base.journal import Journal; Journal.open(Path({str(path)!r}))"
    other = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert "another etholog is writing into it" in other.stderr
    assert mine.close()
    assert not subprocess.run([sys.executable, "-c", script], capture_output=True, check=False).returncode


LIMITED = """
    import resource, signal, sys, time
    from pathlib import Path
    from etholog.base.journal import Journal
    from etholog.session.drafts import note
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    path = Path(sys.argv[1])
    kept = Journal.create(path, {"format": "etholog-session/1"})
    size = path.stat().st_size
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 150, resource.RLIM_INFINITY))
    for i in range(4):
        n = kept.append(note(i, f"note {i}"))
        while not kept.is_safe(n):
            time.sleep(0.001)
        while kept.waiting_s:  # or the rescue file, under the same limit, had to hold more lines
            time.sleep(0.001)
    print(kept.trouble)
    print(kept.rescue, kept.is_safe(99))
    # The rescue file grows under the same limit; then there is room again.
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    kept.append(note(9, "room again"))
    print(kept.trouble)
    print(kept.close())
"""


@pytest.mark.skipif(sys.platform == "win32", reason="RLIMIT_FSIZE is of POSIX")
def test_a_full_disk_loses_nothing(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(LIMITED), str(path)],
        capture_output=True,
        text=True,
        check=True,
        env=os.environ | {"XDG_STATE_HOME": str(tmp_path / "state")},
    )
    trouble, rescue_is, after, closed = done.stdout.splitlines()
    assert trouble.startswith("NOT SAVED")
    rescue, unknown_is_safe = rescue_is.rsplit(" ", 1)
    assert unknown_is_safe == "False"
    assert Path(rescue).is_relative_to(tmp_path / "state")
    assert not Path(rescue).exists()  # all is in the file, so nobody has to take this in
    assert Path(rescue + ".taken").exists()
    assert after == "None"
    assert closed == "True"
    reading = journal.read(path)
    assert not reading.findings
    assert [record["text"] for record in json.loads(journal.as_array(reading.bodies[1:]))] == [
        *(f"note {i}" for i in range(4)),
        "room again",
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="an open file can't be deleted there")
def test_a_deleted_file_comes_back_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    folder = tmp_path / "sessions"
    folder.mkdir()
    path = folder / "a.jsonl"
    kept = Journal.create(path, HEADER)
    kept.append(note(1, "before"))
    path.unlink()
    folder.rmdir()
    kept.append(note(2, "while it was away"))
    assert kept.trouble is not None
    assert "NOT SAVED" in kept.trouble
    assert kept.rescue is not None
    assert [json.loads(line)["n"] for line in kept.rescue.read_bytes().splitlines()] == [0, 1, 2]
    folder.mkdir()
    kept.append(note(3, "back"))
    assert kept.trouble is None
    assert kept.close()
    assert len(journal.read(path).bodies) == 4


APPENDING = """
    import sys
    from pathlib import Path
    from etholog.base.journal import Journal
    from etholog.session.drafts import note
    kept = Journal.create(Path(sys.argv[1]), {"format": "etholog-session/1"})
    while True:
        print(kept.append(note(1, "x" * 40)), flush=True)
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is of POSIX")
@pytest.mark.parametrize("round_", range(5))
def test_kill_9_loses_no_line_that_was_told(tmp_path: Path, round_: int) -> None:
    path = tmp_path / "a.jsonl"
    with subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(APPENDING), str(path)], stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        told = [process.stdout.readline() for _ in range(50 + 333 * round_)]
        process.send_signal(signal.SIGKILL)
        rest = process.stdout.read().splitlines(keepends=True)
    last = [int(line) for line in told + rest if line.endswith(b"\n")][-1]
    reading = journal.read(path)
    assert reading.next_n > last
    assert not reading.findings or reading.torn


def test_crlf_is_read_told_and_written_on(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    data = written(path, 3)
    path.write_bytes(data.replace(b"\n", b"\r\n"))
    reading = journal.read(path)
    assert [str(found) for found in reading.findings] == [
        f"{path}: its lines end with CR LF, as git on Windows makes them; {journal.CRLF_REMEDY}"
    ]
    assert journal.as_array(reading.bodies) == journal.as_array([line[:-18] for line in data.splitlines()])
    assert journal.first(path) == reading.bodies[0]
    opened, _ = Journal.open(path)
    opened.append(note(9, "after"))
    assert opened.close()
    assert path.read_bytes().count(b"\r\n") == path.read_bytes().count(b"\n") == 5
    assert len(journal.read(path).bodies) == 5


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_a_byte_order_mark_is_told_of_and_written_on(tmp_path: Path, end: bytes) -> None:
    path = tmp_path / "a.jsonl"
    data = written(path, 3)
    path.write_bytes(codecs.BOM_UTF8 + data.replace(b"\n", end))  # Unicode Standard, chapter 23.8: EF BB BF
    reading = journal.read(path)
    assert reading.findings[0].what == "an editor has put a byte order mark before its first line"
    assert journal.as_array(reading.bodies) == journal.as_array([line[:-18] for line in data.splitlines()])
    assert journal.first(path) == reading.bodies[0] == journal.lines_of(path)[0]
    opened, _ = Journal.open(path)
    opened.append(note(9, "after"))
    assert opened.close()
    assert path.read_bytes().startswith(codecs.BOM_UTF8 + data[:40])
    assert len(journal.read(path).bodies) == 5


def test_of_a_journal_with_a_byte_order_mark_all_is_rescued(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    path = tmp_path / "a.jsonl"
    path.write_bytes(codecs.BOM_UTF8 + written(path, 3))
    opened, reading = Journal.open(path)
    path.write_bytes(b"")
    opened.append(note(9, "after"))
    assert opened.rescue is not None
    assert list(journal.lines_of(opened.rescue).values())[:4] == reading.bodies
    opened.close()


@pytest.mark.parametrize("coding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_a_journal_saved_as_utf_16_is_refused_with_the_way_back(tmp_path: Path, coding: str) -> None:
    path = tmp_path / "a.jsonl"
    data = written(path, 3)
    path.write_bytes(data.decode().encode(coding))
    for reads in (journal.read, journal.first):
        with pytest.raises(Refusal, match="saved it as UTF-16, which is not read; save it there as UTF-8"):
            reads(path)


@pytest.mark.parametrize("end", [b"", b"\n", b"\r\n"])
def test_a_journal_with_line_ends_of_old_macs_is_refused_with_the_way_back(tmp_path: Path, end: bytes) -> None:
    path = tmp_path / "a.jsonl"
    data = written(path, 3)
    path.write_bytes(data.replace(b"\n", b"\r") + end)
    for reads in (journal.read, journal.first, Journal.open):
        with pytest.raises(Refusal, match=r"CR alone, as on old Macs, which is not read; save it with LF line ends"):
            reads(path)
    assert path.read_bytes() == data.replace(b"\n", b"\r") + end
    path.write_bytes(path.read_bytes().replace(b"\r", b"\n").rstrip(b"\n") + b"\n")  # as that editor does
    assert path.read_bytes() == data


@pytest.mark.parametrize("lost", [1, 2])
def test_a_cut_within_cr_lf_costs_nothing(tmp_path: Path, lost: int) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(written(path, 3).replace(b"\n", b"\r\n")[:-lost])
    opened, reading = Journal.open(path)
    assert len(reading.bodies) == 4
    opened.append(note(9, "after"))
    assert opened.close()
    assert path.read_bytes().count(b"\r\n") == path.read_bytes().count(b"\n") == 5
    assert len(journal.read(path).bodies) == 5


def test_a_torn_line_in_a_file_with_cr_lf_is_set_aside(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    path.write_bytes(written(path, 3).replace(b"\n", b"\r\n")[:-30])
    opened, reading = Journal.open(path)
    assert len(reading.bodies) == 3
    opened.append(note(9, "after"))
    assert opened.close()
    assert path.read_bytes().count(b"\r\n") == path.read_bytes().count(b"\n") == 4
    assert len(journal.read(path).bodies) == 4
    assert path.with_name(path.name + ".torn").exists()


def _edit(path: Path) -> None:
    with path.open("r+b") as file:
        file.seek(-30, os.SEEK_END)
        file.write(b"X")


def _replace(path: Path) -> None:
    path.with_suffix(".new").write_bytes(path.read_bytes())
    path.with_suffix(".new").replace(path)


def _add(path: Path) -> None:
    with path.open("ab") as file:
        file.write(b"a word")


HARM = {
    "something was added": _add,
    "it was cut short": lambda path: os.truncate(path, path.stat().st_size - 20),
    "it was emptied": lambda path: os.truncate(path, 0),
    "it was edited": _edit,
    "another file is in its place": _replace,
    "it was moved away": lambda path: path.rename(path.with_suffix(".away")),
}


@pytest.mark.skipif(sys.platform == "win32", reason="an open file can't be moved there")
@pytest.mark.parametrize("what", HARM)
def test_what_others_do_to_the_file_is_noticed_at_the_next_line(
    tmp_path: Path, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    path = tmp_path / "a.jsonl"
    kept = Journal.create(path, HEADER)
    kept.append(note(1, "before"))
    HARM[what](path)
    harmed = path.read_bytes() if path.exists() else None
    kept.append(note(2, "after"))
    assert kept.damage == what
    assert what in (kept.trouble or "")
    kept.append(note(3, "later"))
    assert kept.rescue is not None
    assert list(journal.lines_of(kept.rescue)) == [0, 1, 2, 3]
    assert not journal.read(kept.rescue).findings
    assert not kept.close()
    assert kept.rescue.exists()
    assert (path.read_bytes() if path.exists() else None) == harmed  # nothing is glued to it


@pytest.mark.skipif(sys.platform == "win32", reason="an open file can't be moved there")
@pytest.mark.parametrize("what", HARM)
@pytest.mark.parametrize("order", ["disk, harm", "harm, disk", "no folder at all, harm"])
def test_a_full_disk_and_what_others_do_together_lose_nothing(
    tmp_path: Path, what: str, order: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    path = tmp_path / "a.jsonl"
    kept = Journal.create(path, HEADER)
    kept.append(note(1, "before"))
    inode, write, everywhere = path.stat().st_ino, os.write, [order.startswith("no")]

    def failing(descriptor: int, data: bytes) -> int:
        if everywhere[0] or os.fstat(descriptor).st_ino == inode:
            raise OSError(errno.ENOSPC, "No space left on device")
        return write(descriptor, data)

    if order.startswith("harm"):
        HARM[what](path)
    monkeypatch.setattr(os, "write", failing)
    kept.append(note(2, "on a full disk"))
    everywhere[0] = False
    if not order.startswith("harm"):
        HARM[what](path)
    kept.append(note(3, "after"))
    assert kept.damage == what
    assert kept.rescue is not None
    assert sorted(journal.lines_of(kept.rescue)) == [0, 1, 2, 3]
    assert not kept.close()
    assert sorted(journal.lines_of(kept.rescue)) == [0, 1, 2, 3]


def test_a_file_that_others_only_touched_is_still_ours(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    kept = Journal.create(path, HEADER)
    os.utime(path, (1, 1))
    path.chmod(0o600)
    kept.append(note(1, "after"))
    assert kept.trouble is None
    assert kept.close()


def test_a_rescue_file_says_whose_marks_it_holds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    path = tmp_path / "a.jsonl"
    kept = Journal.create(path, HEADER)
    for i in range(5):
        kept.append(note(i, "on the disk"))
    os.truncate(path, path.stat().st_size - 3)
    kept.append(note(6, "nowhere else"))
    assert kept.rescue is not None
    assert journal.first(kept.rescue) == journal.first(path)


def test_a_folder_that_outlives_a_restart_is_tried_first_and_one_that_does_not_is_told_as_such(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lasts = [place.lasts for place in system.rescue_folders()]
    assert lasts == sorted(lasts, reverse=True)
    (tmp_path / "file").write_text("where a folder should be", encoding="utf-8")
    places = [RescueFolder(tmp_path / "file" / "etholog", True), RescueFolder(tmp_path / "temporary", False)]
    monkeypatch.setattr(system, "rescue_folders", lambda: places)
    path = tmp_path / "a.jsonl"
    kept = Journal.create(path, HEADER)
    kept.append(note(1, "on the disk"))
    os.truncate(path, path.stat().st_size - 3)
    kept.append(note(2, "nowhere else"))
    assert kept.rescue is not None
    assert kept.rescue.parent == places[1].path
    assert "WHICH IS EMPTIED WHEN THE MACHINE RESTARTS: copy it before" in (kept.trouble or "")
    (tmp_path / "file").unlink()
    kept.append(note(3, "again"))
    assert not kept.close()


@pytest.mark.parametrize(
    ("body", "twice"),
    [
        (b'{"n":1,"do":"note","t":5,"text":"a \\":b"', None),
        (b'{"n":1,"do":"mark","t":5,"t":6,"code":"clasp"', "t"),
        (b'{"n":1,"do":"close","t":5,"outcome":{"ended":"parted","ended":"killed"}', "ended"),
    ],
)
def test_a_member_that_stands_twice_is_found(body: bytes, twice: str | None) -> None:
    assert journal.repeated(body) == twice
