"""A bad network between a phone and the recorder: delay, jitter, packets that are sent again, a cut, and one that
vanishes."""

import asyncio
import random
from collections.abc import Callable
from contextlib import suppress

RESENT_S = 0.4  # until TCP sends a lost packet again


class Network:
    """Hands on what comes at its own port to the recorder's; headers then name the recorder's."""

    def __init__(self, port: int, recorder: int, seed: int = 0) -> None:
        self.port, self._recorder = port, recorder
        self._chance = random.Random(seed)
        self.delay: Callable[[], float] = lambda: 0.0
        self.loss = 0.0
        self.is_cut = self.is_away = False
        self._lost: set[asyncio.StreamWriter] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self._writers: set[asyncio.StreamWriter] = set()
        self._server: asyncio.Server | None = None

    def bad(self, delay_s: float, jitter_s: float, loss: float = 0.0) -> None:
        """From now on everything takes so long, and up to so much longer."""
        self.delay = lambda: delay_s + self._chance.uniform(0, jitter_s)
        self.loss = loss

    async def __aenter__(self) -> "Network":
        self._server = await asyncio.start_server(self._connected, "127.0.0.1", self.port)
        return self

    async def __aexit__(self, *_: object) -> None:
        self.cut()
        if self._server is not None:
            self._server.close()
        await asyncio.sleep(0)

    def cut(self) -> None:
        """The network is gone."""
        self.is_cut = True
        for writer in self._writers:
            writer.transport.abort()
        self._writers.clear()

    def vanish(self) -> None:
        """Nothing comes any more, and nobody is told: connections stay open for ever."""
        self.is_away = True
        self._lost |= self._writers

    def mend(self) -> None:
        """It is back."""
        self.is_cut = self.is_away = False

    async def _connected(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self.is_cut:
            writer.transport.abort()
            return
        try:
            there, onward = await asyncio.open_connection("127.0.0.1", self._recorder)
        except OSError:
            writer.transport.abort()
            return
        self._writers |= {writer, onward}
        if self.is_away:
            self._lost |= {writer, onward}
        self._do(self._hand_on(reader, onward, (f":{self.port}".encode(), f":{self._recorder}".encode())))
        self._do(self._hand_on(there, writer, (b"", b"")))

    async def _hand_on(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, names: tuple[bytes, bytes]
    ) -> None:
        clock = asyncio.get_running_loop().time
        waiting: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue()

        async def deliver() -> None:
            while True:
                due, data = await waiting.get()
                await asyncio.sleep(max(0.0, due - clock()))
                if writer in self._lost:
                    continue
                if not data:
                    writer.close()
                    return
                writer.write(data)

        delivering = self._do(deliver())
        due = 0.0
        with suppress(ConnectionError):
            while data := await reader.read(65_536):
                if names[0] and data.startswith(b"GET "):
                    data = data.replace(*names)
                lost = RESENT_S if self._chance.random() < self.loss else 0.0
                due = max(due, clock() + self.delay() + lost)
                waiting.put_nowait((due, data))
        waiting.put_nowait((due, b""))
        if writer in self._lost:
            delivering.cancel()
            return
        with suppress(ConnectionError):
            await delivering

    def _do(self, work: object) -> "asyncio.Task[None]":
        task: asyncio.Task[None] = asyncio.ensure_future(work)  # type: ignore[arg-type]
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task
