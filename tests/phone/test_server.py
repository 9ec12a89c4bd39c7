"""A phone that taps: what it is told, what comes into the journal, and that each tap comes once."""

import asyncio
import json
import time
from pathlib import Path

import aiohttp

from etholog import session
from etholog.base import system
from etholog.phone.address import Address
from etholog.phone.server import Phone
from etholog.recording.opening import resume
from etholog.recording.taps import LateTaps
from etholog.session.record import Tapped
from tests.phone.page import ABOUT, live_recorder, paged, served


def taps(path: Path) -> list[Tapped]:
    return [record for record in session.read(path).records if record["do"] == "tap"]


async def test_a_tap_is_a_mark_at_its_time_and_is_safe_when_it_is_on_the_disk(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with served(on) as phone, paged(phone.seat) as page:
        welcome = await page.until("welcome")
        assert [lane["code"] for lane in welcome["lanes"]] == [
            b.code for b in on.ethogram.behaviour if any(press.behaviour is b for press in on.layout.values())
        ]
        await page.until("go")
        assert "clock known to" in phone.line or "compared" in phone.line
        truth, name = on.exact_ms(system.now()), await page.tap(on.journal.path.stem, "d")
        await page.until_safe(name)
        (kept,) = taps(on.journal.path)
        assert kept["id"] == name
        assert kept["earliest"] <= truth + 1
        assert truth - 1 <= kept["latest"]
        assert abs(kept["t"] - truth) < 20
        assert on.journal.is_safe(kept["n"])
        told = [told for told in page.heard if told["do"] == "now"][-1]
        assert told["lanes"]["drumming"][0] == 1
        assert told["undo"][0][1].startswith("palpal drumming began")


async def test_a_tap_sent_again_after_a_kill_is_not_made_twice(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    path = on.journal.path
    async with served(on) as phone, paged(phone.seat) as page:
        await page.until("go")
        name = await page.tap(path.stem, "d")
        await page.until_safe(name)
        seat, at, before = phone.seat, page.clock(), system.now()
        clock = next(told for told in reversed(page.heard) if told["do"] == "clock")["clock"]
        epoch, who = page.epoch, page.phone
    # What a kill leaves: the file as it is, and its lock gone.
    on.journal.close()
    again, _ = resume(path, "left", system.now(), system.wall_now())
    async with served(again, seat) as phone, paged(seat, who) as page:  # the page was loaded again, too
        await page.until("go")
        await page.tap(path.stem, "d", id=name)
        page.epoch, new = epoch, page.epoch
        late = await page.tap(path.stem, "f", at=at, clock=clock)  # made before, and never sent
        page.epoch = new
        await page.until_safe(name, late)
    read = session.read(path)
    assert [record["code"] for record in read.records if record["do"] == "mark"] == ["drumming", "vibration"]
    assert abs(taps(path)[-1]["t"] - again.exact_ms(before)) < 50
    assert [record["do"] for record in read.records].count("doubt") == 0


async def test_a_tap_of_a_clock_that_was_never_compared_is_unsure_and_bounded(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with served(on) as phone, paged(phone.seat) as page:
        await page.until("go")
        page.epoch = "6f8a52a4-2b55-4a51-8f53-0c9d3f0a1e77"  # of a load of the page that never met the recorder
        name = await page.tap(on.journal.path.stem, "d", at=5.0, wall=time.time() * 1000 - 700)
        await page.until_safe(name)
    (kept,) = taps(on.journal.path)
    assert kept["earliest"] == 0
    (bout,) = session.read(on.journal.path).fold.bouts
    assert not bout.sure
    assert kept["earliest"] <= bout.onset <= kept["latest"]


async def test_a_tap_after_the_end_is_kept_beside_the_session(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with served(on) as phone, paged(phone.seat) as page:
        await page.until("go")
        at = page.clock()
        on.close(system.now())
        name = await page.tap(on.journal.path.stem, "d", at=at)
        await page.until_safe(name)
        old = live_recorder(tmp_path / "other").journal.path.stem + "-elsewhere"
        lost = await page.tap(old, "d")
        assert (await page.until("homeless"))["ids"] == [lost]
    assert [tap.id for tap in LateTaps(on.journal.path).read()] == [name]
    assert not taps(on.journal.path)


async def test_a_tap_of_an_earlier_session_goes_to_that_one(tmp_path: Path) -> None:
    before = live_recorder(tmp_path, "M-2")
    before.close(system.now() + 60)
    path = before.journal.path
    assert before.journal.close()
    on = live_recorder(tmp_path)
    async with served(on) as phone, paged(phone.seat) as page:
        await page.until("go")
        name = await page.tap(path.stem, "d", at=10.0, clock=(1200.0, 5.0, 1204.0))
        await page.until_safe(name)
    (tap,) = LateTaps(path).read()
    assert (tap.id, tap.t, tap.sure) == (name, 1207, True)
    assert not taps(on.journal.path)


async def test_a_port_that_is_taken_is_one_line_and_the_keys_go_on(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with served(on) as phone:
        second = Phone(on, phone.seat, ABOUT, lambda answer: None)
        await second.start()
        assert not second.listens
        assert "is taken" in second.line
        await second.stop()
    assert on.take("d", system.now()).n == 1
    nowhere = Phone(on, phone.seat.__class__("x" * 22, "198.51.100.7", 8477), ABOUT, lambda answer: None)
    await nowhere.start()  # RFC 5737: nobody has this address
    assert "can't be had" in nowhere.line


async def test_the_page_is_of_three_files_and_loads_nothing_else(tmp_path: Path) -> None:
    async with served(live_recorder(tmp_path)) as phone, aiohttp.ClientSession() as client:
        for path in ("/", "/strip.js", "/strip.css"):
            async with client.get(phone.seat.address.origin + path) as answer:
                body = await answer.text()
                assert answer.status == 200
                assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
                assert answer.headers["X-Content-Type-Options"] == "nosniff"
                assert "http://" not in body.replace("http://www.w3.org", "")
                assert "https://" not in body
        async with client.get(phone.seat.address.origin + "/../server.py") as answer:
            assert answer.status == 404


async def test_the_state_is_small(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    for at in range(2000):
        on.press("dfvzx]"[at % 6], system.now() + at)
    async with served(on) as phone, paged(phone.seat) as page:
        assert len(json.dumps(await page.until("now"))) < 20_000
    await asyncio.sleep(0)


def test_the_address_is_one_of_this_machine() -> None:
    assert Address("127.0.0.1", 80).origin == "http://127.0.0.1"
    assert Address("fd00::7", 8477).netloc == "[fd00::7]:8477"
