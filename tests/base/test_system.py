"""What depends on the operating system, on Linux for real; for macOS and Windows with stand-ins for the calls that are
missing here, so that it is known what would be called, and nothing more than that."""

import importlib.util
import os
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from etholog.base import system


def as_on(platform: str, monkeypatch: pytest.MonkeyPatch, **modules: object) -> ModuleType:
    """Load `system` anew as another system would."""
    for name, stand_in in modules.items():
        monkeypatch.setitem(sys.modules, name, stand_in)
    monkeypatch.setattr(sys, "platform", platform)
    spec = importlib.util.spec_from_file_location(f"system_on_{platform}", system.__file__)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


class Console:
    """Stands in for msvcrt: locks that only this object knows of, and keys typed beforehand."""

    LK_NBLCK = 2

    def __init__(self, keys: str = "") -> None:
        self.locked: dict[int, int] = {}
        self.keys = list(keys)

    def locking(self, descriptor: int, mode: int, count: int) -> None:
        assert (mode, count) == (self.LK_NBLCK, 1)
        inode = os.fstat(descriptor).st_ino
        if inode in self.locked:
            raise PermissionError(13, "Permission denied")
        self.locked[inode] = os.lseek(descriptor, 0, os.SEEK_CUR)

    def kbhit(self) -> bool:
        return bool(self.keys)

    def getwch(self) -> str:
        return self.keys.pop(0)


def test_linux_locks_against_another_process(tmp_path: Path) -> None:
    path = tmp_path / "a"
    descriptor = os.open(path, system.APPEND | os.O_CREAT)
    assert system.lock(descriptor)
    script = f"import os; from etholog.base import system; print(system.lock(os.open({str(path)!r}, system.APPEND)))"
    other = [sys.executable, "-c", script]
    assert subprocess.run(other, capture_output=True, text=True, check=True).stdout.strip() == "False"
    os.close(descriptor)
    assert subprocess.run(other, capture_output=True, text=True, check=True).stdout.strip() == "True"


def test_linux_stamps_of_keys_become_seconds_of_the_session_s_clock() -> None:
    before = system.now()
    at = system.at_stamp(time.monotonic())
    assert before <= at + 1e-3
    assert at <= system.now() + 1e-3
    assert system.at_stamp(time.monotonic() - 5) == pytest.approx(at - 5, abs=0.2)


def test_a_stamp_is_not_shifted_where_the_process_is_set_aside_between_two_clocks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    read, stops = system.now, [0.05, 0.05]

    def set_aside() -> float:
        if stops:
            time.sleep(stops.pop())
        return read()

    stamp, at = time.monotonic(), read()
    monkeypatch.setattr(system, "now", set_aside)
    assert system.at_stamp(stamp) == pytest.approx(at, abs=0.02)
    assert not stops


def test_windows_locks_far_behind_the_data_and_appends_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    console = Console()
    windows = as_on("win32", monkeypatch, msvcrt=console)
    first, second = (os.open(tmp_path / "a", windows.APPEND | os.O_CREAT) for _ in range(2))
    assert windows.lock(first)
    assert not windows.lock(second)
    assert list(console.locked.values()) == [2**40]
    os.write(first, b"one")
    assert (tmp_path / "a").read_bytes() == b"one"


def test_windows_syncs_files_alone_and_has_a_clock_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    windows = as_on("win32", monkeypatch, msvcrt=Console())
    asked: list[Any] = []
    monkeypatch.setattr(os, "fsync", asked.append)
    windows.sync(7)
    windows.sync_folder(tmp_path)
    assert asked == [7]
    assert windows.CLOCK == "perf_counter"
    assert windows.now() == pytest.approx(time.perf_counter(), abs=0.2)
    assert windows.at_stamp(time.perf_counter() - 5) == pytest.approx(windows.now() - 5, abs=0.2)


def test_windows_reads_keys_from_the_console(monkeypatch: pytest.MonkeyPatch) -> None:
    windows = as_on("win32", monkeypatch, msvcrt=Console("dé"))
    with windows.Keys() as keys:
        assert [keys.read(0.05) for _ in range(3)] == ["d", "é", None]


def test_macos_asks_the_drive_to_empty_its_cache(monkeypatch: pytest.MonkeyPatch) -> None:
    import fcntl

    asked: list[Any] = []
    stand_in = SimpleNamespace(
        **{name: getattr(fcntl, name) for name in ("LOCK_EX", "LOCK_NB", "flock")},
        F_FULLFSYNC=51,
        fcntl=lambda descriptor, command: asked.append((descriptor, command)),
    )
    macos = as_on("darwin", monkeypatch, fcntl=stand_in)
    macos.sync(7)
    assert asked == [(7, 51)]
    assert macos.CLOCK == "CLOCK_MONOTONIC"
    assert macos.now() == pytest.approx(time.clock_gettime(time.CLOCK_MONOTONIC), abs=0.2)
