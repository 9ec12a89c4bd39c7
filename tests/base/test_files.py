"""Which files of a folder are read, and names that every system can hold."""

import os
import socket
import sys
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess, run

import pytest

from etholog.base import cache, files
from etholog.base.atomic import replacing
from etholog.base.journal import Journal
from etholog.base.refusal import Refusal
from etholog.commands.film import common
from etholog.recording import opening
from etholog.recording.arrivals import Arrivals
from etholog.recording.begun import Begun
from tests.make import BEGAN, ETHOGRAM, season_of

Run = Callable[..., CompletedProcess[str]]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="such things are of POSIX")


def odd_things(folder: Path) -> None:
    (folder / "loop.jsonl").symlink_to("loop.jsonl")
    os.mkfifo(folder / "pipe.jsonl")
    with socket.socket(socket.AF_UNIX) as one:
        one.bind(str(folder / "socket.jsonl"))
    (folder / "device.jsonl").symlink_to("/dev/zero")
    with (folder / "large.jsonl").open("wb") as file:
        file.truncate(files.LARGEST + 1)


@pytest.mark.slow
@pytest.mark.parametrize(
    "words",
    [
        ("check",),
        ("latency", "--since", "walking", "--to", "clasp"),
        ("due",),
        ("ready", "M-1", "F-1"),
        ("label", "F-1"),
    ],
)
def test_odd_things_are_named_and_skipped(tmp_path: Path, etholog: Run, words: tuple[str, ...]) -> None:
    season_of(tmp_path)
    odd_things(tmp_path / "sessions")
    (tmp_path / "animals").mkdir()
    for name in ("animals/pipe.jsonl", "poison-centre.txt", "synonyms.csv", "etholog.toml", "sessions/.a.jsonl.begun"):
        os.mkfifo(tmp_path / name)
    done = etholog(*words, cwd=tmp_path)  # the fixture ends what hangs
    assert done.returncode in (0, 1), done.stderr
    said = done.stdout + done.stderr
    for name, what in (("loop", "circle"), ("pipe", "pipe"), ("socket", "socket"), ("large", "256 MiB")):
        assert any(f"{name}.jsonl" in line and what in line for line in said.splitlines()), (name, said)
    assert "device.jsonl: is a device" in said


@pytest.mark.parametrize("kind", ["loop", "pipe", "socket", "device", "large"])
def test_each_is_refused_when_it_is_named(tmp_path: Path, kind: str) -> None:
    odd_things(tmp_path)
    with pytest.raises(Refusal, match=rf"{kind}\.jsonl"):
        files.read(tmp_path / f"{kind}.jsonl")


def test_two_long_names_begin_a_session(tmp_path: Path) -> None:
    book = opening.begin(tmp_path, ETHOGRAM, BEGAN, 0.0, male="蜘" * 40, female="蛛" * 40)
    assert book.close()
    assert len(book.path.name.encode()) <= files.NAME_BYTES + len(".jsonl")
    assert "蜘蜘" in book.path.name
    assert "蛛蛛" in book.path.name
    other = opening.begin(tmp_path / "other", ETHOGRAM, BEGAN, 0.0, male="M-basalt", female="F-1")
    same = opening.begin(tmp_path / "other", ETHOGRAM, BEGAN, 0.0, male="M-Basalt", female="F-1")
    assert other.path.name.casefold() != same.path.name.casefold()
    assert other.close()
    assert same.close()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("odd", "words"),
    [
        ("page.html", ("report", "--season", "-o", "page.html")),
        ("page.html", ("due", "--sitter", "page.html")),
        ("dates.ics", ("due", "--ics", "dates.ics")),
        ("label.svg", ("label", "F-1", "-o", "label.svg")),
        ("tables/datapackage.json", ("export", "tables")),
    ],
)
def test_nothing_is_written_over_a_pipe(tmp_path: Path, etholog: Run, odd: str, words: tuple[str, ...]) -> None:
    season_of(tmp_path)
    (tmp_path / odd).parent.mkdir(exist_ok=True)
    os.mkfifo(tmp_path / odd)
    done = etholog(*words, cwd=tmp_path)  # the fixture ends what hangs
    assert done.returncode == 2, done.stdout
    assert done.stderr.startswith(odd.partition("/")[0])
    assert (tmp_path / odd).is_fifo()


def test_where_nothing_can_be_written_the_file_is_named_that_was_asked_for(tmp_path: Path) -> None:
    mount = ["mount", "-t", "tmpfs", "-o", "ro", "tmpfs", str(tmp_path)]
    if os.geteuid() or run(mount, capture_output=True, check=False).returncode:
        pytest.skip("only root may mount a disk, and not everywhere")
    try:
        with pytest.raises(Refusal) as refused, replacing(tmp_path / "label.pdf"):
            pass
    finally:
        run(["umount", str(tmp_path)], check=True)
    assert str(refused.value).startswith(f"{tmp_path / 'label.pdf'}: can't be written (Read-only file system)")


def test_a_device_stays_a_device(tmp_path: Path) -> None:
    (tmp_path / "link.svg").symlink_to("/dev/null")
    with pytest.raises(Refusal, match="is a device"), replacing(tmp_path / "link.svg") as file:
        file.write(b"a picture")
    assert (tmp_path / "link.svg").is_symlink()
    with pytest.raises(Refusal, match="is a device"):
        common.write([tmp_path / "link.svg"], {".svg": lambda: "a picture"})


def test_no_pipe_is_waited_for_where_we_write(tmp_path: Path) -> None:
    book = opening.begin(tmp_path, ETHOGRAM, BEGAN, 0.0, male="M", female="F")
    assert book.close()
    path = book.path
    whole = path.read_bytes()
    path.write_bytes(whole + b'{"n":1,"do":"ma')
    os.mkfifo(tmp_path / f"{path.name}.torn")
    with pytest.raises(Refusal, match=r"torn: can't be written"):
        Journal.open(path)
    assert path.read_bytes() == whole + b'{"n":1,"do":"ma'
    os.mkfifo(tmp_path / f".{path.name}.keys")
    Arrivals(path).note("w", "w", 5)
    begun = Begun.of_folder(tmp_path)
    os.mkfifo(tmp_path / f"{begun.path.name}.new")
    begun.keep("form", {"male": "M-1"})
    assert begun.typed("form") == {"male": "M-1"}
    (tmp_path / cache.FOLDER).mkdir()
    os.mkfifo(tmp_path / cache.FOLDER / "digests.json")
    assert cache.kept_values(tmp_path, "digests.json", b"") is None


def test_a_cache_writes_through_no_link(tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.write_text("mine")
    (tmp_path / cache.FOLDER).mkdir()
    (tmp_path / cache.FOLDER / ".gitignore").symlink_to(mine)
    cache.keep_values(tmp_path, "digests.json", b"", [1])
    assert cache.kept_values(tmp_path, "digests.json", b"") == [1]
    assert mine.read_text() == "mine"
