"""Listens for one phone while a session runs, in the event loop of the screen.

It serves a page of three files and one WebSocket (RFC 6455). A tap goes to the recorder by the door of a key; its id
goes back to the phone when its record is on the disk. Whatever comes in is bounded: connections, bytes, messages.
Nothing that goes wrong here stops the keys.
"""

import asyncio
import errno
import json
import logging
from collections import deque
from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress
from hmac import compare_digest
from importlib import resources
from pathlib import Path
from typing import Any

from aiohttp import WSMsgType, web
from aiohttp.web_protocol import RequestHandler

from etholog import session
from etholog.base import system
from etholog.base.clock import length_face
from etholog.base.refusal import Refusal
from etholog.base.text import visible
from etholog.phone import messages, view
from etholog.phone.address import Seat, encryption, forget
from etholog.phone.clocks import Comparison, Placed, between, place, summed_up
from etholog.recording.corrector import Answer
from etholog.recording.lanes import Lanes
from etholog.recording.recorder import Recorder
from etholog.recording.taps import LateTaps, Tap

FILES = {"/": ("index.html", "text/html"), "/strip.js": ("strip.js", "text/javascript"),
         "/strip.css": ("strip.css", "text/css")}  # fmt: skip
MOST_CONNECTIONS, IDLE_S, HELLO_S, ACCEPTED_S = 24, 10.0, 5.0, 0.1
BACKLOG = 8  # connections taken up before the screen has its turn again
REQUESTS, MESSAGES = (20.0, 60), (60.0, 600)  # a second, and at once
# Until the clocks are compared: at once as often, which is enough where they are known to so many ms by then; over a
# slow network rarer, so that no answer waits behind another, and more. Then now and then.
QUESTION_S, ANSWERS, KNOWN_MS = 0.05, 12, 10.0
SLOW_QUESTION_S, SLOW_ANSWERS = 0.2, 48
QUESTIONS_S = 2.0
EPOCHS, COMPARISONS = 4, 200
LATE_MS = 1000  # what comes later than that, comes late
ASKS_FOR_DISK_S = 0.03
GONE_S = 2.0
STOPS_S = 0.1
WAITING_MESSAGES = 500


class Bucket:
    """So many a second, and so many at once; `take` says whether one more is within that."""

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


class _Line:
    """A phone that is connected: what is to be sent, and how its clock compares."""

    def __init__(self, socket: web.WebSocketResponse, hello: messages.Hello) -> None:
        self.socket, self.phone, self.epoch = socket, hello.phone, hello.epoch
        self.bucket = Bucket(MESSAGES)
        self.asked: dict[int, float] = {}
        self.goes = False
        self.let_in = asyncio.Event()
        self._say: deque[str] = deque()
        self._state: str | None = None
        self._due = asyncio.Event()

    def say(self, what: Mapping[str, Any]) -> None:
        self._say.append(json.dumps(what))
        self._due.set()

    def show(self, state: str) -> None:
        """Send a state, unless a later one comes before there is room."""
        self._state = state
        self._due.set()

    async def send(self) -> None:
        while len(self._say) < WAITING_MESSAGES:
            await self._due.wait()
            self._due.clear()
            while self._say:
                await self.socket.send_str(self._say.popleft())
            if self._state is not None:
                state, self._state = self._state, None
                await self.socket.send_str(state)


class Phone:
    """A server for one phone. `line` is what the strip says of it, `asks` whether a second phone wants its place."""

    def __init__(
        self, recorder: Recorder, seat: Seat, about: Mapping[str, Any], answered: Callable[[Answer], None]
    ) -> None:
        self.recorder, self.seat = recorder, seat
        self.line, self.prompt = "phone: starts", ""
        self._about, self._answered = about, answered
        self._lanes = Lanes(recorder.ethogram, recorder.layout)
        self._session = recorder.journal.path.stem
        self._seated: str | None = None
        self._one: _Line | None = None
        self._asking: _Line | None = None
        self._gone_since: float | None = None
        self._clocks: dict[str, deque[Comparison]] = {}
        self._walls: dict[str, float] = {}  # the session's clock less the phone's wall clock, of each epoch
        self._last_t = 0
        self._unsafe: dict[str, int] = {}  # taps whose records are on no disk yet
        self._said, self._shown = "", ""
        self._shown_at = float("-inf")
        self._tasks: set[asyncio.Task[Any]] = set()
        self._open: dict[RequestHandler, float] = {}  # each connection, since when
        self._known: set[RequestHandler] = set()  # those that had the token
        self._buckets: dict[str, Bucket] = {}
        self._server: asyncio.Server | None = None
        self._runner: web.AppRunner | None = None

    @property
    def asks(self) -> bool:
        """Whether a second phone wants to be the keyboard."""
        return self._asking is not None

    @property
    def connected(self) -> bool:
        """Whether a phone is the keyboard now."""
        return self._one is not None

    async def start(self) -> None:
        """Listen, if that can be; `line` says what came of it."""
        for name in ("aiohttp.server", "aiohttp.web", "aiohttp.websocket", "asyncio"):
            logging.getLogger(name).addHandler(logging.NullHandler())  # no word of theirs gets onto the screen
        app = web.Application(middlewares=[self._guard])
        for path in FILES:
            app.router.add_get(path, self._file)
        app.router.add_get("/socket", self._socket)
        self._runner = web.AppRunner(app, access_log=None, handle_signals=False, shutdown_timeout=STOPS_S / 2)
        address = self.seat.address
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
        except OSError as error:
            await self._runner.cleanup()
            self._runner = None
            why = "is taken" if error.errno == errno.EADDRINUSE else f"can't be had ({error.strerror})"
            self.line = f"phone: {address.netloc} {why}; --phone-address chooses another. The keys go on."
        except Refusal as refusal:
            await self._runner.cleanup()
            self._runner = None
            self.line = f"phone: {refusal}. The keys go on."
        else:
            self._do(self._confirm())
            self.tick()

    @property
    def listens(self) -> bool:
        """Whether a phone can come."""
        return self._server is not None

    async def stop(self) -> None:
        """End: nobody can come any more."""
        if self._server is not None:
            self._server.close()
            self._server = None
        if self.recorder.closed:
            forget(self.recorder.journal.path)
        for task in list(self._tasks):
            task.cancel()
        for protocol in self._open:
            if isinstance(protocol.transport, asyncio.Transport):
                protocol.transport.abort()  # the screen ends, and waits for no phone
        if self._runner is not None:
            with suppress(Exception):
                await asyncio.wait_for(self._runner.cleanup(), STOPS_S)
            self._runner = None

    def let_in(self) -> bool:
        """Give the second phone, if one asks, the first one's place."""
        if self._asking is None:
            return False
        self._asking.let_in.set()
        return True

    def tick(self) -> None:
        """Show the phone what is, say how it stands with it, and let no connection linger."""
        if self._server is None:
            return
        now = system.now()
        self._forget_closed()
        for protocol, since in self._open.items():
            if now - since > IDLE_S and protocol not in self._known:
                protocol.force_close()
        self.line = self._standing(now)
        if self._one is not None:
            self._show(self._one, now)

    # ------------------------------------------------------------ who may come in

    def _accept(self) -> asyncio.Protocol:
        self._forget_closed()
        if self._runner is None or self._runner.server is None or len(self._open) >= MOST_CONNECTIONS:
            return _Refused()
        protocol = self._runner.server()
        self._open[protocol] = system.now()
        return protocol

    def _forget_closed(self) -> None:
        # One that was just accepted has no transport yet, and while it agrees on a key.
        since = system.now() - (HELLO_S if self.seat.certificate else ACCEPTED_S)
        self._open = {one: at for one, at in self._open.items() if one.transport is not None or at > since}

    @web.middleware
    async def _guard(
        self, request: web.Request, handler: Callable[[web.Request], Awaitable[web.StreamResponse]]
    ) -> web.StreamResponse:
        """Let through who asks for this very address (a name that was rebound to it is another), and not too often."""
        bucket = self._buckets.setdefault(request.remote or "", Bucket(REQUESTS))
        if len(self._buckets) > 64:
            self._buckets.clear()
        if not bucket.take():
            return _plain(429, "too many requests")
        if request.headers.getall("Host", []) != [self.seat.address.netloc]:
            return _plain(421, "not the address that the recorder shows")
        try:
            response = await handler(request)
        except web.HTTPException as error:
            return _plain(error.status, error.reason)
        return response

    async def _file(self, request: web.Request) -> web.StreamResponse:
        name, kind = FILES[request.path]
        body = (resources.files("etholog.phone") / "page" / name).read_bytes()
        return _secured(web.Response(body=body, content_type=kind, charset="utf-8"), self.seat)

    async def _socket(self, request: web.Request) -> web.StreamResponse:
        if request.headers.getall("Origin", []) != [self.seat.address.origin]:
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
        if not compare_digest(told.token.encode(), self.seat.token.encode()):
            await socket.send_str(json.dumps({"do": "no"}))
            return None
        return told

    async def _serve(self, socket: web.WebSocketResponse, hello: messages.Hello) -> None:
        line = _Line(socket, hello)
        sending = self._do(line.send())
        try:
            if self._seated not in (None, line.phone) and not await self._wait(line):
                return
            if self._one is not None:
                self._one.say({"do": "elsewhere"} if self._one.phone != line.phone else {"do": "again"})
                self._do(_closed(self._one.socket))
            self._one, self._seated, self._gone_since = line, line.phone, None
            self._begin(line, hello.epoch, hello.wall)
            self._shown = ""
            line.say(view.welcome(self.recorder, self._lanes, self._about))
            self.tick()
            await self._listen(line)
        finally:
            sending.cancel()
            if self._one is line:
                self._one, self._gone_since = None, system.now()
            if self._asking is line:
                self._asking = None

    async def _wait(self, line: _Line) -> bool:
        """Have a second phone wait until somebody at the laptop lets it in; False where it left, or another came."""
        if self._asking is not None:
            return False
        self._asking = line
        line.say({"do": "wait"})
        entered = asyncio.ensure_future(line.let_in.wait())
        leaves = asyncio.ensure_future(line.socket.receive())  # it has nothing to say yet
        await asyncio.wait({entered, leaves}, return_when=asyncio.FIRST_COMPLETED)
        let_in = line.let_in.is_set() and not leaves.done()
        leaves.cancel()
        entered.cancel()
        with suppress(asyncio.CancelledError):
            await leaves
        self._asking = None
        return let_in

    async def _listen(self, line: _Line) -> None:
        async for message in line.socket:
            if message.type is not WSMsgType.TEXT or not line.bucket.take():
                return
            told = messages.read(message.data)
            if told is None or isinstance(told, messages.Hello):
                return
            match told:
                case messages.Shows():
                    self._compare(line, told)
                case messages.Woke():
                    self._begin(line, told.epoch, told.wall)
                case messages.Tapped():
                    await self._tapped(line, told)

    # ------------------------------------------------------------ the clocks

    def _now(self) -> float:
        return self.recorder.exact_ms(system.now())

    def _begin(self, line: _Line, epoch: str, wall: float) -> None:
        """Compare the clocks anew."""
        line.epoch, line.goes = epoch, False
        line.asked.clear()
        self._walls = dict(list(self._walls.items())[1 - EPOCHS :]) | {epoch: self._now() - wall}
        self._do(self._ask(line, epoch))

    async def _ask(self, line: _Line, epoch: str) -> None:
        number = 0
        while line.epoch == epoch and self._one is line and not line.socket.closed:
            line.asked = {n: at for n, at in line.asked.items() if n > number - 100}
            line.asked[number] = self._now()
            line.say({"do": "show", "n": number})
            number += 1
            await asyncio.sleep(QUESTIONS_S if line.goes else QUESTION_S if number < ANSWERS else SLOW_QUESTION_S)

    def _compare(self, line: _Line, told: messages.Shows) -> None:
        asked = line.asked.pop(told.n, None)
        if asked is None or told.epoch != line.epoch:
            return
        if told.epoch not in self._clocks:
            self._clocks = dict(list(self._clocks.items())[1 - EPOCHS :])
        compared = self._clocks.setdefault(told.epoch, deque(maxlen=COMPARISONS))
        compared.append(Comparison(asked, told.at, self._now()))
        known = summed_up(told.at, compared)
        line.say({"do": "clock", "epoch": told.epoch, "clock": known})
        well = known is not None and known.came - known.asked <= 2 * KNOWN_MS
        if not line.goes and len(compared) >= (ANSWERS if well else SLOW_ANSWERS):
            line.goes = True
            line.say({"do": "go"})

    # ------------------------------------------------------------ taps

    async def _tapped(self, line: _Line, told: messages.Tapped) -> None:
        if told.session == self._session and not self.recorder.closed:
            if (n := self.recorder.record_of(told.id)) is None:
                tap = self._placed(told)
                answer = self.recorder.tap(tap, late=self._now() - tap.t > LATE_MS)
                self._last_t = max(self._last_t, tap.t)
                self._said = answer.text
                self._answered(answer)
                n = answer.n
            if n is not None:
                self._unsafe[told.id] = n
            self.tick()
            return
        line.say({"do": "safe" if await asyncio.to_thread(self._keep, told) else "homeless", "ids": [told.id]})

    def _keep(self, told: messages.Tapped) -> bool:
        """Keep a tap beside its session, which has ended; False where that is not here, or the disk fails."""
        folder, path = self.recorder.journal.path.parent, self.recorder.journal.path
        try:
            if told.session == self._session:
                LateTaps(path).keep(self._placed(told))
                return True
            path = next((file for file in folder.glob("*.jsonl") if file.stem == told.session), Path())
            ended = session.read(path)
            if any(record["do"] == "tap" and record["id"] == told.id for record in ended.records):
                return True
            guess = told.wall - ended.began.timestamp() * 1000
            placed = _by_its_own_clock(told) or between(guess, 0, ended.fold.end)
            LateTaps(path).keep(_tap(told, placed, ended.fold.end, sure=told.clock is not None))
        except (OSError, Refusal):
            return False
        return True

    def _placed(self, told: messages.Tapped) -> Tap:
        own = _own_comparison(told)
        compared = [*self._clocks.get(told.epoch, ()), *([own] if own else [])]
        placed, now = place(told.at, compared), self._now()
        if placed is not None:
            return _tap(told, placed, now)
        wall = self._walls.get(told.epoch, next(reversed(self._walls.values()), 0.0))
        return _tap(told, between(told.wall + wall, self._last_t, now), now, sure=False)

    async def _confirm(self) -> None:
        """Tell the phone which taps are on the disk."""
        while True:
            await asyncio.sleep(ASKS_FOR_DISK_S)
            safe = [tap for tap, n in self._unsafe.items() if self.recorder.journal.is_safe(n)]
            if safe and self._one is not None:
                self._one.say({"do": "safe", "ids": safe})
            for tap in safe:
                del self._unsafe[tap]

    # ------------------------------------------------------------ what is shown

    def said(self, text: str) -> None:
        """Take in what the strip answered to a key of the laptop."""
        self._said = text

    def _show(self, line: _Line, now: float) -> None:
        self._lanes.follow(self.recorder.live)
        state = view.now(self.recorder, self._lanes, self.recorder.t(now), self._said)
        state |= {"over": self.recorder.closed, "prompt": visible(self.prompt), "heard": list(self._unsafe)}
        same = json.dumps({**state, "t": 0})
        if same != self._shown or now - self._shown_at > QUESTIONS_S:
            self._shown, self._shown_at = same, now
            line.show(json.dumps(state))

    def _standing(self, now: float) -> str:
        if self._asking is not None:
            return "phone: ANOTHER PHONE asks to be the keyboard; Ctrl-P lets it in, in place of the first"
        if self._one is not None:
            compared = self._clocks.get(self._one.epoch)
            best = summed_up(compared[-1].phone, compared) if compared else None
            if best is None or not self._one.goes:
                return "phone: connected; its clock is being compared"
            return f"phone: connected, its clock known to {max(1, round((best.came - best.asked) / 2))} ms"
        if self._gone_since is None:
            return f"phone: Ctrl-P shows the code of {self.seat.address.origin}"
        gone = now - self._gone_since
        if gone < GONE_S:
            return self.line
        return f"phone: GONE for {length_face(round(1000 * gone))}; the keys go on, and it keeps its taps"

    def _do(self, work: Any) -> asyncio.Task[Any]:
        task: asyncio.Task[Any] = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._ended)
        return task

    def _ended(self, task: asyncio.Task[Any]) -> None:
        self._tasks.discard(task)
        if not task.cancelled():
            task.exception()  # it is looked at: asyncio would write it onto the screen; the line says who is gone


async def _closed(socket: web.WebSocketResponse) -> None:
    await asyncio.sleep(0.1)  # what was said last is on its way
    with suppress(Exception):
        await socket.close()


def _own_comparison(told: messages.Tapped) -> Comparison | None:
    one = Comparison(*told.clock) if told.clock is not None else None
    return one if one is not None and one.asked <= one.came else None


def _by_its_own_clock(told: messages.Tapped) -> Placed | None:
    own = _own_comparison(told)
    return None if own is None else place(told.at, [own])


def _tap(told: messages.Tapped, placed: Placed, now: float, sure: bool = True) -> Tap:
    """Return a tap in whole milliseconds, none of them before the session or after now."""
    last = max(0, round(now))
    earliest, t, latest = (min(max(0, round(ms)), last) for ms in (placed.earliest, placed.t, placed.latest))
    return Tap(told.id, t, min(earliest, t), max(latest, t), told.what, told.act, told.of, told.text, sure)


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
