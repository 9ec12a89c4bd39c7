"""The cache of a large folder: with it and without it, the same; whatever is wrong with it, the files are read."""

import io
import json
import os
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import etholog
from etholog.base import cache as caches
from etholog.base import journal
from etholog.season import cache
from tests.bench.made import header
from tests.make import assert_same_season

pytestmark = pytest.mark.slow

COUNT = caches.AT_LEAST + 5


def lines(number: int, marks: int, **more: Any) -> bytes:
    made = [{"n": 0, "do": "begin", **header(number), **more}]
    for n in range(1, marks + 1):
        made.append({"n": n, "do": "mark", "t": 1000 * n, "code": ("drumming", "walking", "answers")[(n + number) % 3]})
        if made[-1]["code"] != "answers":
            made[-1]["edge"] = "onset"
    made.append({"n": marks + 1, "do": "gap", "t": 1000 * (marks + 1), "why": "door" if number % 2 else "tea"})
    made.append({"n": marks + 2, "do": "back", "t": 1000 * (marks + 2)})
    if number % 3:
        made.append(
            {"n": marks + 3, "do": "close", "t": 1000 * (marks + 5), "outcome": {"ended": "made", "young": number}}
        )
    return b"".join(journal.encode(one) for one in made)


@pytest.fixture(scope="module")
def original(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("original") / "sessions"
    folder.mkdir()
    for number in range(COUNT):
        (folder / f"{number:06d}.jsonl").write_bytes(lines(number, 3 + number % 5))
    return folder


@pytest.fixture
def folder(original: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the sessions that counts as settled at once."""
    monkeypatch.setattr(caches, "_SETTLED_S", -1.0)
    return Path(shutil.copytree(original, tmp_path / "sessions"))


def kept(folder: Path) -> Path:
    return folder / caches.FOLDER / cache.FILE


def test_with_and_without_are_the_same(folder: Path, read_files: list[str]) -> None:
    without = etholog.read(folder, cached=False)
    assert not kept(folder).exists()
    cold = etholog.read(folder)
    assert kept(folder).is_file()
    read_files.clear()
    warm = etholog.read(folder)
    assert read_files == []
    assert len(without.sessions) == COUNT
    assert_same_season(without, cold)
    assert_same_season(without, warm)


def test_no_pipe_is_waited_for_in_its_place(folder: Path) -> None:
    without = etholog.read(folder, cached=False)
    kept(folder).parent.mkdir()
    os.mkfifo(kept(folder))
    assert_same_season(without, etholog.read(folder))
    assert kept(folder).is_fifo()


def torn(file: Path) -> None:
    with file.open("ab") as open_file:
        open_file.write(b'{"n":')


def later_ethogram(folder: Path) -> None:
    """A session by an ethogram in which one behaviour has another name and actor, before all others."""
    plain = header(1)["ethogram"]
    text = json.dumps(plain).replace('"drumming"', '"a_drum"')
    (folder / "000000-b.jsonl").write_bytes(lines(999, 0, id="other", ethogram=json.loads(text)))


CHANGES: dict[str, tuple[Callable[[Path], object], set[str]]] = {
    "one more": (lambda f: (f / "x.jsonl").write_bytes(lines(777, 4, id="x")), {"x.jsonl"}),
    "one gone": (lambda f: (f / "000007.jsonl").unlink(), set()),
    "one longer": (lambda f: (f / "000009.jsonl").write_bytes(lines(9, 12)), {"000009.jsonl"}),
    "one torn": (lambda f: torn(f / "000011.jsonl"), {"000011.jsonl"}),
    "one renamed": (lambda f: (f / "000012.jsonl").rename(f / "a.jsonl"), {"a.jsonl"}),
    "one again": (lambda f: shutil.copy(f / "000013.jsonl", f / "b.jsonl"), {"b.jsonl"}),
    "a second record": (
        lambda f: (f / "c.jsonl").write_bytes(lines(14, 5, id="c", record_of="000014")),
        {"c.jsonl"},
    ),
    "no session": (lambda f: (f / "d.txt").write_text("milk, bread\n"), {"d.txt"}),
    "another ethogram": (later_ethogram, {"000000-b.jsonl"}),
}


@pytest.mark.parametrize("change", list(CHANGES))
def test_only_what_changed_is_read_again(folder: Path, read_files: list[str], change: str) -> None:
    etholog.read(folder)
    do, names = CHANGES[change]
    do(folder)
    without = etholog.read(folder, cached=False)
    for _ in range(2):  # when it is found out, and from the cache that was written then
        read_files.clear()
        assert_same_season(without, etholog.read(folder))
        assert set(read_files) <= names
        assert len(without.sessions) >= COUNT - 1


def test_other_content_under_the_old_size_and_time_is_seen(folder: Path, read_files: list[str]) -> None:
    etholog.read(folder)
    file = folder / "000004.jsonl"
    before = file.stat()
    data = file.read_bytes()
    bent = data.replace(b'"do":"mark","t":', b'"do":"mark","t" ')
    assert bent != data
    file.write_bytes(bent)
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    after = file.stat()
    assert (after.st_size, after.st_mtime_ns) == (before.st_size, before.st_mtime_ns)
    read_files.clear()
    found = etholog.read(folder)
    assert read_files == ["000004.jsonl"]
    assert any("checksum" in fault for fault in found.faults)


@pytest.mark.parametrize("t", [127, 128, 32_767, 32_768, 2**31 - 1, 2**31, 10**10])
def test_times_of_any_length_come_back(folder: Path, t: int) -> None:
    for file in folder.iterdir():  # all, or the longest would decide for each
        number = int(file.stem)
        made = [{"n": 0, "do": "begin", **header(number)}, {"n": 1, "do": "mark", "t": t, "code": "answers"}]
        file.write_bytes(b"".join(map(journal.encode, made)))
    without = etholog.read(folder, cached=False)
    assert set(without.bouts["onset_s"]) == {t / 1000}
    assert_same_season(without, etholog.read(folder))
    assert_same_season(without, etholog.read(folder))


def test_faults_name_the_path_as_it_was_asked_for(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    torn(folder / "000011.jsonl")
    [fault] = etholog.read(folder).faults
    assert fault.startswith(f"{folder / '000011.jsonl'}: ")
    monkeypatch.chdir(folder)
    [fault] = etholog.read(".").faults
    assert fault.startswith("000011.jsonl: ")


def rewritten(folder: Path, change: Callable[[dict[str, Any]], object]) -> None:
    """Put another sound file in the place of the cache."""
    with np.load(kept(folder)) as columns:
        members = {name: columns[name].copy() for name in columns.files}
    change(members)
    np.savez(kept(folder), **members)


def told(change: Callable[[dict[str, Any]], object]) -> Callable[[dict[str, Any]], object]:
    def within(members: dict[str, Any]) -> None:
        words = json.loads(bytes(members["told"]))
        change(words)
        members["told"] = np.frombuffer(json.dumps(words).encode(), dtype=np.uint8)

    return within


def flipped(data: bytes, at: int) -> bytes:
    return data[:at] + bytes([data[at] ^ 0x40]) + data[at + 1 :]


NONSENSE: dict[str, Callable[[dict[str, Any]], object]] = {
    "another program's": lambda m: m.update(schema=m["schema"] ^ 1),
    "a column too short": lambda m: m.update(bout_onset=m["bout_onset"][:-1]),
    "a code that is none": lambda m: m["bout_code"].fill(99),
    "a code below none": lambda m: m["bout_qualifier"].fill(-2),
    "a column gone": lambda m: m.pop("bout_n"),
    "stamps too few": lambda m: m.update(stamps=m["stamps"][:-1]),
    "males too few": told(lambda words: words["said"]["male"].pop()),
    "a column of words gone": told(lambda words: words["said"].pop("species")),
    "bouts fewer than none": lambda m: m.update(session_bouts=m["session_bouts"] * -1),
    "an ethogram that is none": told(lambda words: words["ethograms"][0].pop("behaviour")),
    "words that are no list": told(lambda words: words.update(codes=7)),
}


@pytest.mark.parametrize("wrong", list(NONSENSE))
def test_nonsense_in_a_sound_file_is_not_believed(folder: Path, wrong: str) -> None:
    without = etholog.read(folder)
    rewritten(folder, NONSENSE[wrong])
    assert_same_season(without, etholog.read(folder))
    assert_same_season(without, etholog.read(folder))  # from the new one


@pytest.mark.parametrize("share", [0.0, 0.01, 0.3, 0.6, 0.9, 0.999])
def test_half_written_or_with_a_bit_flipped_it_is_not_believed(folder: Path, share: float) -> None:
    without = etholog.read(folder)
    data = kept(folder).read_bytes()
    at = int(share * len(data))
    kept(folder).write_bytes(data[:at])
    assert_same_season(without, etholog.read(folder))
    kept(folder).write_bytes(flipped(data, at))
    assert_same_season(without, etholog.read(folder))


def test_every_member_has_a_checksum(folder: Path) -> None:
    etholog.read(folder)
    data = kept(folder).read_bytes()
    with zipfile.ZipFile(io.BytesIO(data)) as members:
        for info in members.infolist():
            start = info.header_offset + 30 + len(info.filename) + 8
            spoilt = flipped(data, min(start + info.compress_size // 2, len(data) - 1))
            with pytest.raises(Exception, match=r"CRC|Bad|EOF|header|magic"), np.load(io.BytesIO(spoilt)) as columns:
                for name in columns.files:
                    columns[name]


def test_where_no_cache_can_be_written_there_is_none_and_no_error(folder: Path) -> None:
    (folder / caches.FOLDER).write_text("in the way")
    assert_same_season(etholog.read(folder, cached=False), etholog.read(folder))
    assert (folder / caches.FOLDER).read_text() == "in the way"


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_read_only_folder_has_no_cache_and_no_error(folder: Path) -> None:
    folder.chmod(0o555)
    try:
        assert_same_season(etholog.read(folder, cached=False), etholog.read(folder))
    finally:
        folder.chmod(0o755)


def test_what_was_only_just_written_is_not_kept(original: Path, tmp_path: Path, read_files: list[str]) -> None:
    folder = Path(shutil.copytree(original, tmp_path / "sessions"))  # its files have changed this very moment
    etholog.read(folder)
    read_files.clear()
    etholog.read(folder)
    assert len(read_files) == COUNT


def test_a_small_folder_has_none(folder: Path) -> None:
    for file in sorted(folder.iterdir())[: COUNT - caches.AT_LEAST + 1]:
        file.unlink()
    etholog.read(folder)
    assert not (folder / caches.FOLDER).exists()
