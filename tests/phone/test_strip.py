"""`watch --phone` in a real terminal: its code can be read, its line tells the truth, and the keys go on."""

import signal
import sys
import uuid
from pathlib import Path

import numpy as np
import pytest
import zxingcpp

from etholog import session
from etholog.base import system
from etholog.phone import address
from etholog.recording.taps import LateTaps, Tap
from etholog.session.log import entries
from tests.phone.page import free_port, live_recorder, paged
from tests.screens.terminal import WATCH, Terminal, codes, the_file

pytestmark = [pytest.mark.slow, pytest.mark.skipif(sys.platform == "win32", reason="there are no ptys there")]
HALVES = {" ": (0, 0), "▀": (255, 0), "▄": (0, 255), "█": (255, 255)}


def code_on(screen: str) -> str:
    """Return what a camera reads on the screen."""
    rows = [[HALVES.get(character, (0, 0)) for character in line] for line in screen.splitlines() if "██" in line]
    image = np.array([[half[at] for half in row] for row in rows for at in (0, 1)], dtype=np.uint8)
    (found,) = zxingcpp.read_barcodes(np.kron(image, np.ones((6, 6), dtype=np.uint8)))
    return str(found.text)


async def test_an_evening_with_the_phone_killed_and_resumed(tmp_path: Path) -> None:
    port = free_port()
    phone = "6f8a52a4-2b55-4a51-8f53-0c9d3f0a1e77"
    with Terminal(*WATCH, "--phone", "--phone-address", f"127.0.0.1:{port}", cwd=tmp_path) as terminal:
        terminal.until("Enter starts the clock")
        terminal.type("\r")
        shown = terminal.until("On a phone in this network")
        file = the_file(tmp_path)
        seat = address.kept(file)
        assert seat is not None
        assert code_on(shown) == seat.url
        assert (file.parent / f".{file.name}.phone").stat().st_mode & 0o077 == 0
        async with paged(seat, phone) as page:
            await page.until("go")
            name = await page.tap(file.stem, "d")
            await page.until_safe(name)
            terminal.until("palpal drumming began")
            assert "On a phone" not in terminal.screen()
            terminal.until("its clock known to")
            terminal.type("f")
            terminal.until("body vibration")
            async with paged(seat) as second:
                await second.until("wait")
                terminal.until("ANOTHER PHONE asks")
                terminal.type("\x10")  # Ctrl-P
                terminal.until("the other phone is the keyboard now")
                await second.until("welcome")
                await page.until("elsewhere")
        terminal.until("phone: GONE")
        terminal.type("\x10")
        assert code_on(terminal.until("On a phone")) == seat.url
        terminal.type("v")
        terminal.until_gone("On a phone")
        terminal.kill(signal.SIGKILL)
        terminal.wait()
    with Terminal("resume", cwd=tmp_path) as terminal:  # as it was begun, without a word of the phone
        terminal.until("On a phone in this network")
        assert address.kept(file) == seat
        async with paged(seat, phone) as page:
            await page.until("go")
            again = await page.tap(file.stem, "d", id=name)
            new = await page.tap(file.stem, "b")
            await page.until_safe(again, new)
            terminal.end()
            assert (await page.until("closed"))["do"] == "closed"
        assert terminal.wait() == 0
    assert codes(tmp_path) == ["drumming", "vibration", "clasp", "touch"]
    assert session.read(file).fold.closed
    assert address.kept(file) is None


def test_taps_that_came_after_the_end_are_offered_by_amend(tmp_path: Path) -> None:
    on = live_recorder(tmp_path / "sessions")
    on.press("d", system.now())
    on.close(system.now() + 60)
    file = on.journal.path
    assert on.journal.close()
    tap = Tap(str(uuid.uuid4()), 30_000, 29_990, 30_010, "drumming")
    unsure = Tap(str(uuid.uuid4()), 40_000, 30_000, 60_000, "insertion:right", sure=False)
    for one in (unsure, tap, tap, Tap(str(uuid.uuid4()), 35_000, 35_000, 35_000, act="earlier", of=tap.id)):
        LateTaps(file).keep(one)
    with Terminal("amend", str(file), "--hand", "right", cwd=tmp_path, columns=100) as terminal:
        shown = terminal.until("Enter takes them in")
        assert "3 taps of the phone came after the session had ended" in shown
        assert "0:00:30  palpal drumming" in shown
        assert "0:00:40  insertion, right  (unsure: between 0:00:30 and 0:01:00)" in shown
        terminal.type("\r")
        terminal.until("Esc leaves")
        terminal.type("\x1b")
        assert terminal.wait() == 0
    read = session.read(file)
    assert [entry.text for entry in entries(read)][1:] == [
        "palpal drumming ended", "insertion right began (unsure)",
        "note: from the phone, whose clock could not be compared: between 0:00:30 and 0:01:00",
    ]  # fmt: skip
    assert read.fold.bouts[0].offset == 29_000
    assert not LateTaps(file).path.exists()
    with Terminal("amend", str(file), cwd=tmp_path) as terminal:
        assert "taps" not in terminal.until("Esc leaves")


def test_without_the_extra_one_line_says_so_and_the_keys_go_on(tmp_path: Path) -> None:
    hides = "import importlib.machinery as m\nfind = m.PathFinder.find_spec\n"
    hides += "m.PathFinder.find_spec = lambda name, *more: None if name == 'aiohttp' else find(name, *more)\n"
    (tmp_path / "sitecustomize.py").write_text(hides, encoding="utf-8")
    with Terminal(*WATCH, "--phone", cwd=tmp_path, PYTHONPATH=str(tmp_path)) as terminal:
        terminal.start()
        terminal.until("pip install 'etholog[phone]'")
        terminal.type("d")
        terminal.until("palpal drumming")
        terminal.type("\x10")
        terminal.until("no phone listens here")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--phone", "--phone-address", "0.0.0.0"), "write one address"),
        (("--phone", "--phone-address", "kitchen"), "write one address"),
        (("--phone", "--phone-certificate", "no.pem"), "holds no certificate"),
        (("--phone-address", "127.0.0.1"), "--phone"),
        (("--phone", "--plain"), "leave --plain out"),
        (("--phone", "--film", "a.mp4"), "not with --film"),
    ],
)
def test_what_cannot_be_is_said_before_the_clock(tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    with Terminal(*WATCH, *words, cwd=tmp_path, columns=240) as terminal:
        assert terminal.wait() == 2
        assert told in terminal.screen()
    assert not list(tmp_path.glob("sessions/*.jsonl"))
