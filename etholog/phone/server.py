"""Listens for one phone while a session runs, in the event loop of the screen.

A tap goes to the recorder by the door of a key; its id goes back to the phone when its record is on the disk. Nothing
that goes wrong here stops the keys.
"""

import asyncio
import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from aiohttp import WSMsgType, web

from etholog import session
from etholog.base import system
from etholog.base.clock import length_face
from etholog.base.refusal import Refusal
from etholog.base.text import visible
from etholog.phone import messages, view
from etholog.phone.address import Seat, forget
from etholog.phone.clocks import Comparison
from etholog.phone.gate import Gate
from etholog.phone.line import Line
from etholog.phone.placing import QUESTIONS_S, Clocks, placed_later
from etholog.recording.corrector import Answer
from etholog.recording.lanes import Lanes
from etholog.recording.recorder import Recorder
from etholog.recording.taps import LateTaps

LATE_MS = 1000  # what comes later than that, comes late
ASKS_FOR_DISK_S = 0.03
SHOWS_S = 2.0  # so often at least
GONE_S = 2.0
SILENT_S = 7.0  # a page answers every 2 s; one that is locked, or whose network vanished, closes nothing


class Phone:
    """A server for one phone. `line` is what the strip says of it, `asks` whether a second phone wants its place."""

    def __init__(
        self,
        recorder: Recorder,
        seat: Seat,
        about: Mapping[str, Any],
        answered: Callable[[Answer], None],
        before_tap: Callable[[], None] = lambda: None,
    ) -> None:
        self.recorder, self.seat = recorder, seat
        self._before_tap = before_tap
        self.line, self.prompt = "phone: starts", ""
        self._about, self._answered = about, answered
        self._lanes = Lanes(recorder.ethogram, recorder.layout)
        self._session = recorder.journal.path.stem
        self._seated: str | None = None
        self._one: Line | None = None
        self._asking: Line | None = None
        self._gone_since: float | None = None
        self._clocks = Clocks()
        self._last_t = 0
        self._unsafe: dict[str, int] = {}  # taps whose records are on no disk yet
        self._said, self._shown = "", ""
        self._shown_at = float("-inf")
        self._tasks: set[asyncio.Task[Any]] = set()
        self._gate = Gate(seat, self._serve)

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
        if why := await self._gate.open():
            self.line = f"phone: {why}. The keys go on."
            return
        self._do(self._confirm())
        self.tick()

    @property
    def listens(self) -> bool:
        """Whether a phone can come."""
        return self._gate.is_open

    async def stop(self) -> None:
        """End: nobody can come any more."""
        if self.recorder.closed:
            forget(self.recorder.journal.path)
        for task in list(self._tasks):
            task.cancel()
        await self._gate.close()

    def let_in(self) -> bool:
        """Give the second phone, if one asks, the first one's place."""
        if self._asking is None:
            return False
        self._asking.let_in.set()
        return True

    def tick(self) -> None:
        """Show the phone what is, say how it stands with it, and let no connection linger."""
        if not self.listens:
            return
        self._gate.tidy()
        now = system.now()
        self.line = self._standing(now)
        if self._one is not None:
            self._show(self._one, now)

    # ------------------------------------------------------------ who is the keyboard

    async def _serve(self, socket: web.WebSocketResponse, hello: messages.Hello) -> None:
        line = Line(socket, hello)
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

    async def _wait(self, line: Line) -> bool:
        """Have a second phone wait until somebody at the laptop lets it in; False where it left, or another came."""
        if self._asking is not None:
            return False
        self._asking = line
        entered = asyncio.ensure_future(line.let_in.wait())
        leaves = asyncio.ensure_future(line.socket.receive())  # it has nothing to say yet
        came: set[asyncio.Future[Any]] = set()
        while not came:  # a page that hears nothing takes the network for gone
            line.say({"do": "wait"})
            came, _ = await asyncio.wait({entered, leaves}, timeout=SHOWS_S, return_when=asyncio.FIRST_COMPLETED)
        let_in = line.let_in.is_set() and not leaves.done()
        leaves.cancel()
        entered.cancel()
        with suppress(asyncio.CancelledError):
            await leaves
        self._asking = None
        return let_in

    async def _listen(self, line: Line) -> None:
        async for message in line.socket:
            if message.type is not WSMsgType.TEXT or not line.bucket.take():
                return
            line.heard_at = system.now()
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

    def _begin(self, line: Line, epoch: str, wall: float) -> None:
        """Compare the clocks anew."""
        line.epoch, line.goes = epoch, False
        line.asked.clear()
        self._clocks.begin(epoch, wall, self._now())
        self._do(self._ask(line, epoch))

    async def _ask(self, line: Line, epoch: str) -> None:
        number = 0
        while line.epoch == epoch and self._one is line and not line.socket.closed:
            line.asked = {n: at for n, at in line.asked.items() if n > number - 100}
            line.asked[number] = self._now()
            line.say({"do": "show", "n": number})
            number += 1
            await asyncio.sleep(QUESTIONS_S if line.goes else self._clocks.pause(epoch))

    def _compare(self, line: Line, told: messages.Shows) -> None:
        asked = line.asked.pop(told.n, None)
        if asked is None or told.epoch != line.epoch:
            return
        known = self._clocks.add(told.epoch, Comparison(asked, told.at, self._now()))
        line.say({"do": "clock", "epoch": told.epoch, "clock": known})
        if not line.goes and self._clocks.are_compared(told.epoch):
            line.goes = True
            line.say({"do": "go"})

    # ------------------------------------------------------------ taps

    async def _tapped(self, line: Line, told: messages.Tapped) -> None:
        n = self.recorder.record_of(told.id)
        if n is None and told.session == self._session and not self.recorder.closed:
            self._before_tap()
            tap = self._clocks.placed(told, self._last_t, self._now())
            answer = self.recorder.tap(tap, late=self._now() - tap.t > LATE_MS)
            n, self._last_t, self._said = answer.n, max(self._last_t, tap.t), answer.text
            self._answered(answer)
        if n is not None:
            self._unsafe[told.id] = n
            self.tick()
        else:
            kept = await asyncio.to_thread(self._keep, told)
            line.say({"do": "safe" if kept else "homeless", "ids": [told.id]})

    def _keep(self, told: messages.Tapped) -> bool:
        """Keep a tap beside its session, which has ended; False where that is not here, or the disk fails."""
        path = self.recorder.journal.path
        try:
            if told.session == self._session:
                LateTaps(path).keep(self._clocks.placed(told, self._last_t, self._now()))
                return True
            path = next((file for file in path.parent.glob("*.jsonl") if file.stem == told.session), Path())
            ended = session.read(path)
            if not any(record["do"] == "tap" and record["id"] == told.id for record in ended.records):
                guess = told.wall - ended.began.timestamp() * 1000
                LateTaps(path).keep(placed_later(told, guess, ended.fold.end))
        except (OSError, Refusal):
            return False
        return True

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

    def _show(self, line: Line, now: float) -> None:
        self._lanes.follow(self.recorder.live)
        state = view.now(self.recorder, self._lanes, self.recorder.t(now), self._said)
        state |= {"over": self.recorder.closed, "prompt": visible(self.prompt), "heard": list(self._unsafe)}
        same = json.dumps({**state, "t": 0})
        if same != self._shown or now - self._shown_at > SHOWS_S:
            self._shown, self._shown_at = same, now
            line.show(json.dumps(state))

    def _standing(self, now: float) -> str:
        if self._asking is not None:
            return "phone: ANOTHER PHONE asks to be the keyboard; Ctrl-P lets it in, in place of the first"
        if self._one is not None:
            if (silent := now - self._one.heard_at) > SILENT_S:
                return f"phone: SILENT for {length_face(round(1000 * silent))} (locked, or no network); the keys go on"
            known = self._clocks.known(self._one.epoch)
            if known is None or not self._one.goes:
                return "phone: connected; its clock is being compared"
            return f"phone: connected, its clock known to {max(1, round((known.came - known.asked) / 2))} ms"
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
