"""What somebody else in the network may try: none of it records anything, and none of it stops the keys."""

import asyncio
import json
import ssl
import subprocess
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from etholog import session
from etholog.base import system
from etholog.base.refusal import Refusal
from etholog.phone import address, gate, line
from etholog.phone.address import Address, new_seat
from etholog.recording.recorder import Recorder
from tests.conftest import need
from tests.phone.page import free_port, live_recorder, paged, served

KEYS = "dfdvzb]"


@asynccontextmanager
async def keyed(on: Recorder) -> AsyncIterator[list[int]]:
    """Press keys on the laptop all the while."""
    written: list[int] = []

    async def press() -> None:
        while True:
            answer = on.take(KEYS[len(written) % len(KEYS)], system.now(), held=False)
            assert answer.n is not None
            written.append(answer.n)
            await asyncio.sleep(0.02)

    pressing = asyncio.ensure_future(press())
    try:
        yield written
    finally:
        pressing.cancel()


def nothing_but_keys(on: Recorder) -> bool:
    read = session.read(on.journal.path)
    return not read.findings and not [record for record in read.records if record["do"] == "tap"]


async def closed(line: aiohttp.ClientWebSocketResponse) -> list[Any]:
    """Return what was said until the line was closed."""
    said = []
    async with asyncio.timeout(20):
        async for message in line:
            said.append(json.loads(message.data))
    return said


async def test_a_wrong_token_is_turned_away(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with served(on) as phone:
        for wrong in ("", phone.seat.token[:-1], phone.seat.token + "x", "é" * 22):
            async with paged(phone.seat, token=wrong) as page:
                assert (await page.until("no"))["do"] == "no"
                await page.until("closed")
        assert not phone.connected
        async with (
            aiohttp.ClientSession() as client,
            client.ws_connect(
                phone.seat.address.origin + "/socket", headers={"Origin": phone.seat.address.origin}
            ) as line,
        ):  # without a hello
            await line.send_str(json.dumps({"do": "woke", "epoch": "x", "wall": 1}))
            assert await closed(line) == []
    assert nothing_but_keys(on)


@pytest.mark.parametrize("origin", [None, "null", "http://evil.example", "https://127.0.0.1", "http://127.0.0.1"])
async def test_a_foreign_page_is_turned_away(tmp_path: Path, origin: str | None) -> None:
    async with served(live_recorder(tmp_path)) as phone, aiohttp.ClientSession() as client:
        headers = {} if origin is None else {"Origin": origin}
        with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
            await client.ws_connect(phone.seat.address.origin + "/socket", headers=headers)
        assert refused.value.status == 403


@pytest.mark.parametrize("host", ["evil.example", "localhost:{port}", "127.0.0.1", "127.0.0.1:{port}.evil.example"])
async def test_a_name_that_was_rebound_to_the_address_is_turned_away(tmp_path: Path, host: str) -> None:
    async with served(live_recorder(tmp_path)) as phone, aiohttp.ClientSession() as client:
        headers = {"Host": host.format(port=phone.seat.port), "Origin": phone.seat.address.origin}
        for path in ("/", "/strip.js", "/socket"):
            async with client.get(phone.seat.address.origin + path, headers=headers) as answer:
                assert answer.status == 421


GOOD = {
    "do": "tap", "id": "0b9b8c1e-3c57-4f0a-9d5e-111111111111", "session": "s", "wall": 1.0, "at": 1.0,
    "epoch": "0b9b8c1e-3c57-4f0a-9d5e-111111111112", "what": "drumming",
}  # fmt: skip


@pytest.mark.parametrize(
    "message",
    [
        "", "{", "[]", "null", '"tap"', "{}", '{"do":"close"}', '{"do":"now"}', "[" * 5000, '{"do":' * 1000,
        json.dumps(GOOD | {"id": "../../x"}), json.dumps(GOOD | {"id": 5}), json.dumps(GOOD | {"more": 1}),
        json.dumps(GOOD | {"at": "1"}), json.dumps(GOOD | {"at": 1e300}), json.dumps(GOOD | {"clock": [1, 2]}),
        json.dumps(GOOD | {"what": "", "act": ""}), json.dumps(GOOD | {"act": "close"}), json.dumps(GOOD | {"of": -1}),
        json.dumps(GOOD | {"session": "x" * 201}), json.dumps(GOOD | {"text": "x" * 2001}),
        json.dumps(GOOD).replace("1.0", "NaN"), json.dumps(GOOD).replace("1.0", "Infinity"),
        json.dumps(GOOD | {"text": "x" * 20_000}), b"\x00\xff", "\ud800",
    ],
    ids=range(26),
)  # fmt: skip
async def test_what_no_page_says_ends_the_line_and_nothing_else(tmp_path: Path, message: str | bytes) -> None:
    on = live_recorder(tmp_path)
    async with served(on) as phone, keyed(on) as written:
        async with paged(phone.seat) as page:
            await page.until("welcome")
            if isinstance(message, bytes):
                await page.line.send_bytes(message)
            else:
                await page.line.send_frame(message.encode("utf-8", "surrogatepass"), aiohttp.WSMsgType.TEXT)
            await page.until("closed")
        before = len(written)
        while len(written) < before + 3:
            await asyncio.sleep(0.01)
        async with paged(phone.seat, page.phone) as page:  # the phone itself may come back
            await page.until("welcome")
    assert nothing_but_keys(on)


async def test_names_of_files_lead_nowhere(tmp_path: Path) -> None:
    on = live_recorder(tmp_path / "sessions")
    secret = live_recorder(tmp_path, "M-2").journal.path
    async with served(on) as phone, paged(phone.seat) as page:
        await page.until("go")
        for name in (f"../{secret.stem}", str(secret.with_suffix("")), "..", "*", "\x00", "."):
            lost = await page.tap(name, "d")
            async with asyncio.timeout(10):
                while not any(told["do"] == "homeless" and lost in told["ids"] for told in page.heard):
                    await asyncio.sleep(0.01)
    assert [path.name for path in tmp_path.rglob("*.taps")] == []


async def test_hostile_words_of_a_note_are_shown_as_words(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with served(on) as phone, paged(phone.seat) as page:
        await page.until("go")
        name = await page.tap(on.journal.path.stem, act="note", text="\x1b]0;x\x07<script>\u202e")
        await page.until_safe(name)
        told = await page.until("now")
        assert not any(ord(character) < 32 for character in json.dumps(told["said"]))
    (note,) = [said.text for said in session.read(on.journal.path).fold.said if said.do == "note"]
    assert note == "\x1b]0;x\x07<script>\u202e"


async def test_a_second_phone_records_nothing_before_it_is_let_in(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with served(on) as phone, paged(phone.seat) as first:
        await first.until("go")
        async with paged(phone.seat) as second, paged(phone.seat) as third:
            await second.until("wait")
            await third.until("closed")  # one at a time may ask
            assert phone.asks
            await second.tap(on.journal.path.stem, "d")  # who does not wait is put out
            await second.until("closed")
        name = await first.tap(on.journal.path.stem, "f")
        await first.until_safe(name)
        assert phone.connected
    assert [r["id"] for r in session.read(on.journal.path).records if r["do"] == "tap"] == [name]


async def test_a_flood_ends_the_line_and_the_keys_go_on(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with served(on) as phone, keyed(on) as written:
        async with paged(phone.seat) as page:
            await page.until("go")
            sent = 0
            with pytest.raises((ConnectionError, aiohttp.ClientError)):
                for _ in range(100_000):
                    await page.tap(on.journal.path.stem, act="earlier")
                    sent += 1
            await page.until("closed")
        before = len(written)
        while len(written) < before + 5:
            await asyncio.sleep(0.01)
    taps = [record for record in session.read(on.journal.path).records if record["do"] == "tap"]
    print(f"{sent} sent, {len(taps)} taken, {len(written)} keys")
    assert len(taps) <= line.MESSAGES[1] + 30 * line.MESSAGES[0]


async def test_connections_that_say_nothing_are_few_and_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gate, "IDLE_S", 1.0)
    on = live_recorder(tmp_path)
    async with served(on) as phone, keyed(on) as written:
        lines = []
        for at in range(120):
            reader, writer = await asyncio.open_connection("127.0.0.1", phone.seat.port)
            lines.append((reader, writer))
            if at % 2:
                writer.write(b"GET / HTTP/1.1\r\nHost: ")  # and never a whole line
        await asyncio.sleep(0.3)
        assert phone._gate.connections <= gate.MOST_CONNECTIONS
        for reader, _ in lines:
            async with asyncio.timeout(20):
                assert await _ended(reader)
        async with paged(phone.seat) as page:
            await page.until("welcome")
        assert len(written) > 10
        for _, writer in lines:
            writer.close()
    assert nothing_but_keys(on)


async def _ended(reader: asyncio.StreamReader) -> bool:
    try:
        while await reader.read(1024):
            pass
    except ConnectionError:
        pass
    return True


async def test_too_many_questions_are_not_answered(tmp_path: Path) -> None:
    async with served(live_recorder(tmp_path)) as phone, aiohttp.ClientSession() as client:
        found: list[int] = []
        for _ in range(gate.REQUESTS[1] + 40):
            try:
                async with client.get(phone.seat.address.origin + "/") as answer:
                    found.append(answer.status)
            except aiohttp.ClientConnectionError:  # too many connections at once are not even heard
                found.append(0)
        assert found.count(200) >= 20
        assert found.count(200) < len(found)
        assert set(found) <= {200, 429, 0}


async def test_a_certificate_encrypts_page_and_taps(tmp_path: Path) -> None:
    need("openssl")
    made, key, both = (tmp_path / name for name in ("made.pem", "key.pem", "both.pem"))
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=laptop", "-addext",
         "subjectAltName=IP:127.0.0.1", "-keyout", str(key), "-out", str(made)], check=True, capture_output=True,
    )  # fmt: skip
    both.write_bytes(made.read_bytes() + key.read_bytes())
    with pytest.raises(Refusal, match="holds no certificate"):
        address.encryption(made)
    on = live_recorder(tmp_path)
    seat = new_seat(Address("127.0.0.1", free_port(), both))
    assert seat.url.startswith("https://")
    trusts = ssl.create_default_context(cafile=str(made))
    async with served(on, seat), aiohttp.ClientSession(connector=aiohttp.TCPConnector(ssl=trusts)) as client:
        async with client.get(seat.address.origin) as answer:
            assert f"connect-src 'self' wss://{seat.address.netloc};" in answer.headers["Content-Security-Policy"]
        headers = {"Origin": seat.address.origin}
        async with client.ws_connect(seat.address.origin + "/socket", headers=headers) as line:
            page_says = {"do": "hello", "token": seat.token, "phone": GOOD["id"], "epoch": GOOD["epoch"], "wall": 1.0}
            await line.send_str(json.dumps(page_says))
            assert json.loads((await line.receive()).data)["do"] == "welcome"
        with pytest.raises(aiohttp.ClientError):
            await client.get(f"http://127.0.0.1:{seat.port}/")


def test_tokens_are_long_and_never_the_same() -> None:
    tokens = {new_seat(Address("127.0.0.1")).token for _ in range(100)}
    assert len(tokens) == 100
    assert all(len(token) >= 22 for token in tokens)  # 128 bits in base 64
