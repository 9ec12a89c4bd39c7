"""A phone that is connected: what is to be said to it, and what it was asked."""

import asyncio
import json
from collections import deque
from collections.abc import Mapping
from typing import Any

from aiohttp import web

from etholog.base import system
from etholog.phone import messages
from etholog.phone.gate import Bucket

MESSAGES = (60.0, 600)  # a second, and at once
MOST_WAITING = 500


class Line:
    """One WebSocket to a page. `goes`: its clock is compared, and it may send its taps; `heard_at`: when it last said
    something."""

    def __init__(self, socket: web.WebSocketResponse, hello: messages.Hello) -> None:
        self.socket, self.phone, self.epoch = socket, hello.phone, hello.epoch
        self.bucket = Bucket(MESSAGES)
        self.asked: dict[int, float] = {}
        self.goes = False
        self.heard_at = system.now()
        self.let_in = asyncio.Event()
        self._say: deque[str] = deque()
        self._state: str | None = None
        self._due = asyncio.Event()

    def say(self, what: Mapping[str, Any]) -> None:
        """Send something, in its turn."""
        self._say.append(json.dumps(what))
        self._due.set()

    def show(self, state: str) -> None:
        """Send a state, unless a later one comes before there is room."""
        self._state = state
        self._due.set()

    async def send(self) -> None:
        """Send what there is, until nobody takes it any more."""
        while len(self._say) < MOST_WAITING:
            await self._due.wait()
            self._due.clear()
            while self._say:
                await self.socket.send_str(self._say.popleft())
            if self._state is not None:
                state, self._state = self._state, None
                await self.socket.send_str(state)
