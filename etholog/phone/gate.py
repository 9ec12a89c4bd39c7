"""The one door to the phone's page: three files and one WebSocket (RFC 6455), for who asks for this very address.

Whatever comes in is bounded: connections, how long they may say nothing, requests. Who says hello with the token is
handed on; nobody else gets further.
"""

import asyncio
import errno
import json
import logging
from collections.abc import Awaitable, Callable
from contextlib import suppress
from hmac import compare_digest
from importlib import resources

from aiohttp import WSMsgType, web
from aiohttp.web_protocol import RequestHandler

from etholog.base import system
from etholog.base.refusal import Refusal
from etholog.phone import messages
from etholog.phone.address import Seat, encryption

FILES = {
    "/": ("index.html", "text/html"),
    "/strip.js": ("strip.js", "text/javascript"),
    "/strip.css": ("strip.css", "text/css"),
}
MOST_CONNECTIONS, IDLE_S, HELLO_S, ACCEPTED_S = 24, 10.0, 5.0, 0.1
BACKLOG = 8  # connections taken up before the screen has its turn again
REQUESTS = (20.0, 60)  # a second, and at once
MOST_ADDRESSES = 64
STOPS_S = 0.1
Serve = Callable[[web.WebSocketResponse, messages.Hello], Awaitable[None]]


class Bucket:
    """A limit on messages, by the second and at once; `take` says whether one more is within it."""

    def __init__(self, rate: tuple[float, int]) -> None:
        self._a_second, self._most = rate
        self._left, self._at = float(self._most), system.now()

    def take(self) -> bool:
        """Take one."""
        now = system.now()
        self._left, self._at = min(self._most, self._left + (now - self._at) * self._a_second), now
        if self._left < 1:
            return False
        self._left -= 1
        return True


class _Refused(asyncio.Protocol):
    """A connection that is one too many."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        if isinstance(transport, asyncio.Transport):
            transport.abort()


class Gate:
    """Listens at a seat's address, and calls `serve` with each line whose first words are its token."""

    def __init__(self, seat: Seat, serve: Serve) -> None:
        self._seat, self._serve = seat, serve
        self._open: dict[RequestHandler, float] = {}  # each connection, since when
        self._known: set[RequestHandler] = set()  # those that had the token
        self._buckets: dict[str, Bucket] = {}
        self._server: asyncio.Server | None = None
        self._runner: web.AppRunner | None = None

    @property
    def is_open(self) -> bool:
        """Whether a phone can come."""
        return self._server is not None

    @property
    def connections(self) -> int:
        """How many there are."""
        self._forget_closed()
        return len(self._open)

    async def open(self) -> str:
        """Listen; return why that can't be, or ''."""
        for name in ("aiohttp.server", "aiohttp.web", "aiohttp.websocket", "asyncio"):
            logging.getLogger(name).addHandler(logging.NullHandler())  # no word of theirs gets onto the screen
        app = web.Application(middlewares=[self._guard])
        for path in FILES:
            app.router.add_get(path, self._file)
        app.router.add_get("/socket", self._socket)
        self._runner = web.AppRunner(app, access_log=None, handle_signals=False, shutdown_timeout=STOPS_S / 2)
        address = self._seat.address
        try:
            encrypted = encryption(address.certificate) if address.certificate else None
            await self._runner.setup()
            self._server = await asyncio.get_running_loop().create_server(
                self._accept,
                address.host,
                address.port,
                ssl=encrypted,
                ssl_handshake_timeout=HELLO_S if encrypted else None,
                backlog=BACKLOG,
            )
        except Refusal as refusal:
            await self.close()
            return str(refusal)
        except OSError as error:
            await self.close()
            why = "is taken" if error.errno == errno.EADDRINUSE else f"can't be had ({error.strerror})"
            return f"{address.netloc} {why}; --phone-address chooses another"
        return ""

    async def close(self) -> None:
        """Nobody can come any more, and who is there is put out: the screen ends, and waits for no phone."""
        if self._server is not None:
            self._server.close()
            self._server = None
        for protocol in self._open:
            if isinstance(protocol.transport, asyncio.Transport):
                protocol.transport.abort()
        if self._runner is not None:
            with suppress(Exception):  # whatever its state, it is over
                await asyncio.wait_for(self._runner.cleanup(), STOPS_S)
            self._runner = None

    def tidy(self) -> None:
        """End connections that linger without a word."""
        self._forget_closed()
        for protocol, since in self._open.items():
            if system.now() - since > IDLE_S and protocol not in self._known:
                protocol.force_close()

    def _accept(self) -> asyncio.Protocol:
        self._forget_closed()
        if self._runner is None or self._runner.server is None or len(self._open) >= MOST_CONNECTIONS:
            return _Refused()
        protocol = self._runner.server()
        self._open[protocol] = system.now()
        return protocol

    def _forget_closed(self) -> None:
        # One that was just accepted has no transport yet, and while it agrees on a key.
        since = system.now() - (HELLO_S if self._seat.certificate else ACCEPTED_S)
        self._open = {one: at for one, at in self._open.items() if one.transport is not None or at > since}

    @web.middleware
    async def _guard(
        self, request: web.Request, handler: Callable[[web.Request], Awaitable[web.StreamResponse]]
    ) -> web.StreamResponse:
        """Let through who asks for this very address (a name that was rebound to it is another), and not too often."""
        bucket = self._buckets.setdefault(request.remote or "", Bucket(REQUESTS))
        if len(self._buckets) > MOST_ADDRESSES:
            self._buckets.clear()
        if not bucket.take():
            return _plain(429, "too many requests")
        if request.headers.getall("Host", []) != [self._seat.address.netloc]:
            return _plain(421, "not the address that the recorder shows")
        try:
            response = await handler(request)
        except web.HTTPException as error:
            return _plain(error.status, error.reason)
        return response

    async def _file(self, request: web.Request) -> web.StreamResponse:
        name, kind = FILES[request.path]
        body = (resources.files("etholog.phone") / "page" / name).read_bytes()
        return _secured(web.Response(body=body, content_type=kind, charset="utf-8"), self._seat)

    async def _socket(self, request: web.Request) -> web.StreamResponse:
        if request.headers.getall("Origin", []) != [self._seat.address.origin]:
            return _plain(403, "not from the recorder's own page")
        socket = web.WebSocketResponse(max_msg_size=messages.LONGEST, heartbeat=15.0, compress=False, timeout=1.0)
        await socket.prepare(request)
        with suppress(ConnectionError, asyncio.TimeoutError):
            hello = await self._greeted(socket)
            if hello is not None:
                self._known.add(request.protocol)
                try:
                    await self._serve(socket, hello)
                finally:
                    self._known.discard(request.protocol)
        if not socket.closed:
            with suppress(Exception):
                await socket.close()
        return socket

    async def _greeted(self, socket: web.WebSocketResponse) -> messages.Hello | None:
        """Return what a page says first; None where that is not the token."""
        first = await socket.receive(timeout=HELLO_S)
        told = messages.read(first.data) if first.type is WSMsgType.TEXT else None
        if not isinstance(told, messages.Hello):
            return None
        if not compare_digest(told.token.encode(), self._seat.token.encode()):
            await socket.send_str(json.dumps({"do": "no"}))
            return None
        return told


def _plain(status: int, why: str) -> web.Response:
    response = web.Response(status=status, text=f"{why}\n")
    response.force_close()
    return response


def _secured(response: web.Response, seat: Seat) -> web.Response:
    """Let the page load and reach nothing but this server, and nobody frame or keep it."""
    socket = f"ws{seat.address.origin.removeprefix('http')}"
    if seat.certificate:  # browsers heed it there alone
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    response.headers.update(
        {
            "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src data:; "
            f"connect-src 'self' {socket}; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
            "Cache-Control": "no-store",
            "Cross-Origin-Resource-Policy": "same-origin",
            "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
            "Referrer-Policy": "no-referrer",
            "X-Content-Type-Options": "nosniff",
        }
    )
    return response
