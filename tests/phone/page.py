"""A recorder that listens for a phone, and what a page says to it, without a browser."""

import asyncio
import itertools
import json
import socket
import time
import uuid
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import aiohttp

from etholog.base import system
from etholog.phone.address import Address, Seat, new_seat
from etholog.phone.server import Phone
from etholog.recording.opening import begin
from etholog.recording.recorder import Recorder
from etholog.screens.themes import THEMES
from tests.make import tapped, terrestrial_1

ABOUT = {"pair": "M-1 x F-1", "theme": vars(THEMES["night"])}


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


def live_recorder(folder: Path, male: str = "M-1") -> Recorder:
    """Return a recorder whose clock runs."""
    kept, began, clock_at = terrestrial_1(), system.wall_now(), system.now()
    return Recorder(begin(folder, kept, began, clock_at, male=male, female="F-1"), kept, "left", began, clock_at)


@asynccontextmanager
async def served(on: Recorder, seat: Seat | None = None) -> AsyncIterator[Phone]:
    phone = Phone(on, seat or new_seat(Address("127.0.0.1", free_port())), ABOUT, lambda answer: None)
    await phone.start()

    async def ticks() -> None:
        while True:
            phone.tick()
            await asyncio.sleep(0.1)

    ticking = asyncio.ensure_future(ticks())
    try:
        yield phone
    finally:
        ticking.cancel()
        await phone.stop()


class Page:
    """Says what the page says: it compares clocks by itself, and keeps what it heard."""

    def __init__(self, line: aiohttp.ClientWebSocketResponse, clock: Callable[[], float], phone: str) -> None:
        self.line, self.clock, self.phone = line, clock, phone
        self.epoch = str(uuid.uuid4())
        self.heard: list[dict[str, Any]] = []
        self.safe: set[str] = set()
        self._came = asyncio.Event()
        self._task = asyncio.ensure_future(self._listen())

    async def hello(self, token: str) -> None:
        await self.say(do="hello", token=token, phone=self.phone, epoch=self.epoch, wall=time.time() * 1000)

    async def say(self, **told: Any) -> None:
        await self.line.send_str(json.dumps(told))

    async def _listen(self) -> None:
        async for message in self.line:
            told = json.loads(message.data)
            self.heard.append(told)
            if told["do"] == "show":
                await self.say(do="shows", n=told["n"], epoch=self.epoch, at=self.clock())
            elif told["do"] == "safe":
                self.safe.update(told["ids"])
            self._came.set()
        self.heard.append({"do": "closed"})
        self._came.set()

    async def until(self, do: str, seconds: float = 20.0) -> dict[str, Any]:
        """Return the next thing of that kind from the first one on."""
        return await self._when(lambda: next((told for told in self.heard if told["do"] == do), None), seconds)

    async def until_safe(self, *ids: str, seconds: float = 20.0) -> None:
        await self._when(lambda: set(ids) <= self.safe or None, seconds)

    async def _when(self, true: Callable[[], Any], seconds: float) -> Any:
        async with asyncio.timeout(seconds):
            while (found := true()) is None:
                self._came.clear()
                await self._came.wait()
            return found

    async def tap(self, session: str, key: str = "", act: str = "", **more: Any) -> str:
        name = str(more.pop("id", uuid.uuid4()))
        told = {"at": self.clock(), "wall": time.time() * 1000, "clock": None, "of": None, "text": "", **more}
        what = tapped(key) if key else ""
        await self.say(do="tap", id=name, session=session, epoch=self.epoch, what=what, act=act, **told)
        return name


_phones = itertools.count()


@asynccontextmanager
async def paged(
    seat: Seat, phone: str = "", token: str | None = None, offset: float = -7e6, port: int | None = None
) -> AsyncIterator[Page]:
    """Open the page on a phone whose clock shows something else, and say hello; through another `port` if need be."""
    address, url = seat.address, f"http://127.0.0.1:{port or seat.port}/socket"
    headers = {"Origin": address.origin, "Host": address.netloc}
    async with aiohttp.ClientSession() as client, client.ws_connect(url, headers=headers) as line:
        page = Page(line, lambda: time.monotonic() * 1000 + offset, phone or str(uuid.uuid4()))
        await page.hello(seat.token if token is None else token)
        yield page
        page._task.cancel()
