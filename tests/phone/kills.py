"""A phone in a real Chromium, a recorder in a real terminal that is killed, a page that is loaded again."""

import random
import shutil
import signal
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from typing import Any

from playwright.sync_api import Page, sync_playwright

from etholog import session
from etholog.base import system
from etholog.phone import address
from tests.phone.page import free_port
from tests.screens.terminal import WATCH, Terminal, the_file

LANES = ("drumming", "walking", "vibration", "raises", "still", "introduced", "answers", "insertion:left")
LEFT = "new Promise(done => { const r = indexedDB.open('etholog', 1); r.onsuccess = () => { const c = "
LEFT += "r.result.transaction('taps').objectStore('taps').count(); c.onsuccess = () => done(c.result) } })"


@dataclass
class Figures:
    """What came of it: how far off each tap was (ms), how well that was known, and what went wrong."""

    off: list[float] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        if not self.off:
            return f"nothing; wrong: {self.wrong}"
        worst, usual = max(map(abs, self.off)), median(map(abs, self.off))
        known = f"known to {median(self.widths):.1f} ms (at most {max(self.widths):.0f})"
        return f"{len(self.off)} taps; off by {usual:.1f} ms, at most {worst:.1f}; {known}; wrong: {self.wrong}"


class _Read:
    """Reads a terminal all the while, or its program would stand still."""

    def __init__(self, terminal: Terminal) -> None:
        self.terminal, self._over, self.lock = terminal, False, threading.Lock()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        while not self._over:
            with self.lock:
                self.terminal.read(0.02)
            time.sleep(0.01)

    def stop(self) -> None:
        self._over = True
        self._thread.join()


def run(folder: Path, taps: int, kills: int, reloads: int, seed: int = 0) -> Figures:
    """Tap, kill the recorder and load the page again at random, and judge what the file says in the end."""
    chance = random.Random(seed)
    events = chance.sample(range(2, taps - 1), kills + reloads)
    kill_at, load_at = set(events[:kills]), set(events[kills:])
    truths: list[tuple[str, float]] = []
    options = ("--phone", "--phone-address", f"127.0.0.1:{free_port()}")
    terminal = Terminal(*WATCH, *options, cwd=folder)
    terminal.until("Enter starts the clock")
    terminal.type("\r")
    terminal.until("On a phone in this network")
    file = the_file(folder)
    seat = address.kept(file)
    assert seat is not None
    reading = _Read(terminal)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True, is_mobile=True)
        apart = 0.0
        context.expose_function("truth", lambda what, wall: truths.append((what, wall - apart)))
        context.add_init_script(
            "addEventListener('pointerdown', e => e.target.dataset?.what &&"
            " window.truth(e.target.dataset.what, performance.timeOrigin + e.timeStamp), true);"
        )
        page = context.new_page()
        page.goto(seat.url)
        page.wait_for_selector(".lane")
        apart = _apart(page)
        back_at = -1
        for at in range(taps):
            page.locator(f'button[data-what="{chance.choice(LANES)}"]').tap()
            page.wait_for_timeout(chance.choice((20, 60, 150)))
            if at in kill_at and back_at < 0:
                reading.stop()
                terminal.kill(signal.SIGKILL)
                terminal.wait()
                back_at = at + chance.randint(3, 12)
            elif (at == back_at or at == taps - 1) and back_at >= 0:
                terminal = Terminal("resume", cwd=folder)
                if "were pressed" in terminal.until("0:0"):
                    terminal.type("\r")
                reading = _Read(terminal)
                back_at = -1
            elif at in load_at and back_at < 0:
                page.reload()
                page.wait_for_selector(".lane")
                apart = _apart(page)
        _wait_for_all(page)
        browser.close()
    reading.stop()
    terminal.end()
    terminal.wait()
    return _judged(file, truths)


def _apart(page: Page) -> float:
    """Return by how many ms what the browser takes for the wall's time is ahead of it: tens, on a busy machine."""
    low, high = float("-inf"), float("inf")
    for _ in range(30):
        asked = time.time() * 1000
        shown = page.evaluate("performance.timeOrigin + performance.now()")
        low, high = max(low, shown - time.time() * 1000), min(high, shown - asked)
    return (low + high) / 2


def _wait_for_all(page: Page) -> None:
    end = time.monotonic() + 120
    while left := page.evaluate(LEFT):
        assert time.monotonic() < end, f"{left} taps stay on the phone: {page.locator('#link').text_content()}"
        page.wait_for_timeout(100)


def _judged(file: Path, truths: list[tuple[str, float]]) -> Figures:
    read = session.read(file)
    base = _base(read.header)
    figures = Figures(wrong=[str(finding) for finding in read.findings])
    kept: list[Any] = [record for record in read.records if record["do"] == "tap"]
    if [record["key"] for record in kept] != [what for what, _ in truths]:
        figures.wrong.append(f"{len(truths)} taps, {len(kept)} records, or another order")
    if len({record["id"] for record in kept}) != len(kept):
        figures.wrong.append("one came twice")
    by_number = {record["n"]: record for record in read.records}
    for record, (what, wall) in zip(kept, truths, strict=False):
        truth = wall + base
        figures.off.append(record["t"] - truth)
        figures.widths.append((record["latest"] - record["earliest"]) / 2)
        if not record["earliest"] - 2 <= truth <= record["latest"] + 2:
            figures.wrong.append(f"{what} was at {truth:.0f}, not from {record['earliest']} to {record['latest']}")
        made = [by_number[n] for n in record["made"] if by_number[n]["do"] == "mark"]
        if len(made) != 1 or made[0]["t"] != record["t"]:
            figures.wrong.append(f"{what} at {record['t']} made {made}")
    return figures


def _base(header: Any) -> float:
    """Return what turns the wall's milliseconds into those of the session; nobody sets the clock meanwhile."""
    return float((system.now() - header["clock_at"]) * 1000 - time.time() * 1000)
