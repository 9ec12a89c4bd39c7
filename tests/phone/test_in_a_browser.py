"""The page in a real Chromium with a touch screen: lane for lane, by touch, in night and day, over a bad network."""

import asyncio
import re
import shutil
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from random import Random
from typing import Any

import pytest
from axe_playwright_python.async_playwright import Axe
from playwright.async_api import Browser, Page, async_playwright, expect

from etholog import session
from etholog.base import system
from etholog.base.clock import clock_face, length_face
from etholog.phone import view
from etholog.phone.address import new_seat
from etholog.phone.messages import NOTE_LONGEST
from etholog.phone.server import Phone
from etholog.recording.lanes import Lanes
from etholog.recording.recorder import Recorder
from etholog.recording.taps import WORDS
from etholog.screens.themes import THEMES
from tests.conftest import need
from tests.make import luminance, reread
from tests.phone import page as pages
from tests.phone.kills import LEFT
from tests.phone.network import Network
from tests.phone.page import free_port, live_recorder, served

pytestmark = pytest.mark.slow
SIZES = {"small": (360, 640), "usual": (390, 844), "tablet": (820, 1180)}
LOW = {"old": (320, 568), "on its side": (844, 390), "old on its side": (568, 320), "half a screen": (390, 400)}
WHO = "6f8a52a4-2b55-4a51-8f53-0c9d3f0a1e77"


@asynccontextmanager
async def chromium() -> AsyncIterator[Browser]:
    need("chromium")
    async with async_playwright() as playwright:
        browser = await playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        yield browser
        await browser.close()


class Truths(list[tuple[str, float]]):
    """Which lane was touched, and when by the recorder's clock (ms of the session)."""

    def __init__(self, on: Recorder) -> None:
        self._on, self._base = on, 0.0

    async def compare(self, page: Page) -> None:
        """Compare the page's clock with the recorder's, by round trips that no network delays. What a browser takes
        for the wall's time may be off by tens of ms on a busy machine."""
        low, high = float("-inf"), float("inf")
        for _ in range(30):
            asked = self._on.exact_ms(system.now())
            wall = await page.evaluate("performance.timeOrigin + performance.now()")
            low, high = max(low, asked - wall), min(high, self._on.exact_ms(system.now()) - wall)
        self._base = (low + high) / 2

    def note(self, what: str, wall: float) -> None:
        self.append((what, wall + self._base))


@asynccontextmanager
async def opened(
    browser: Browser, phone: Phone, size: str = "usual", port: int = 0, truths: Truths | None = None, **more: Any
) -> AsyncIterator[tuple[Page, list[str]]]:
    """Open the page by its code on a phone, and note all that it says on the console and asks of others."""
    width, height = (SIZES | LOW)[size]
    context = await browser.new_context(
        viewport={"width": width, "height": height}, has_touch=True, is_mobile=True, device_scale_factor=2, **more
    )
    await context.add_init_script(
        f"localStorage.setItem('etholog-phone', '{WHO}'); navigator.vibrate = one => (window.buzzed ??= []).push(one);"
        "addEventListener('pointerdown', e => e.target.dataset?.what &&"
        " window.truth?.(e.target.dataset.what, performance.timeOrigin + e.timeStamp), true);"
    )
    if truths is not None:
        await context.expose_function("truth", truths.note)
    page, noted = await context.new_page(), []  # type: ignore[var-annotated]
    page.on("console", lambda message: noted.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: noted.append(f"error: {error}"))
    page.on("request", lambda asked: None if "127.0.0.1" in asked.url else noted.append(f"request: {asked.url}"))
    url = phone.seat.url.replace(f":{phone.seat.port}", f":{port or phone.seat.port}")
    await page.goto(url)
    await expect(page.locator("#thumb")).to_be_visible(timeout=20_000)
    await ready(page)
    if truths is not None:
        await truths.compare(page)
    yield page, noted
    await context.close()


@asynccontextmanager
async def over_a_network(on: Recorder, truths: Truths | None = None) -> AsyncIterator[tuple[Page, Phone, Network]]:
    """Open the page on a small phone, over a network that can be cut or vanish."""
    async with (
        chromium() as browser,
        served(on) as phone,
        Network(free_port(), phone.seat.port) as network,
        opened(browser, phone, "small", port=network.port, truths=truths) as (page, _),
    ):
        yield page, phone, network


async def another_phone(browser: Browser, phone: Phone) -> Page:
    context = await browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = await context.new_page()
    await page.goto(phone.seat.url)
    return page


async def ready(page: Page) -> None:
    await expect(page.locator("#link")).not_to_have_text(re.compile("LAPTOP|Compares|Looks|Another"), timeout=30_000)


def lane(page: Page, what: str) -> Any:
    return page.locator(f'button[data-what="{what}"]')


def taps(on: Recorder) -> list[Any]:
    return [record for record in session.read(on.journal.path).records if record["do"] == "tap"]


def followed(on: Recorder) -> Lanes:
    lanes = Lanes(on.ethogram, on.layout)
    lanes.follow(on.live)
    return lanes


async def until_recorded(on: Recorder, count: int, seconds: float = 30) -> list[Any]:
    async with asyncio.timeout(seconds):
        while len(found := taps(on)) < count:
            await asyncio.sleep(0.05)
    return found


@pytest.mark.parametrize("theme", ["night", "day"])
async def test_each_lane_is_a_bar_for_a_thumb_and_the_page_is_usable_by_all(
    tmp_path: Path, theme: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(pages.ABOUT, "theme", vars(THEMES[theme]))
    on = live_recorder(tmp_path)
    for key in "45drdbvx":
        on.take(key, system.now(), held=False)
        await asyncio.sleep(0.05)
    async with chromium() as browser, served(on) as phone:
        for size, (width, height) in SIZES.items():
            async with opened(browser, phone, size) as (page, noted):
                boxes = [await one.bounding_box() for one in await page.locator("#lanes .lane").all()]
                assert len(boxes) == 20
                assert all(box and box["height"] >= 44 for box in boxes), [box and box["height"] for box in boxes]
                for button in await page.locator("button:visible").all():
                    box = await button.bounding_box()
                    assert box and box["height"] >= 43.5 and box["width"] >= 43.5, await button.text_content()
                assert await page.evaluate("document.documentElement.scrollWidth") <= width
                sheets = await page.locator(".sheet").count()
                assert (sheets == 1) == (size == "tablet")
                bottom = await page.locator("#said").bounding_box()
                assert bottom and bottom["y"] + bottom["height"] <= height
                found = (await Axe().run(page)).response["violations"]
                # At night less contrast is meant, as in the terminal; that it is enough is asked below.
                wrong = [one["id"] for one in found if not (theme == "night" and one["id"] == "color-contrast")]
                assert wrong == [], found
                assert noted == []
                await page.screenshot(path=tmp_path / f"{theme}-{size}.png")
                assert await page.evaluate("document.querySelectorAll('audio, video').length") == 0
    for ink in ("text", "faint", "alarm", "male", "female", "pair", "keeper"):
        assert (luminance(getattr(THEMES[theme], ink)) + 0.05) / 0.05 >= (3.0 if theme == "night" else 4.5)


async def test_taps_swipes_and_corrections(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with (
        chromium() as browser,
        served(on) as phone,
        opened(browser, phone, "small") as (page, noted),
    ):
        for act, word in WORDS.items():
            await expect(page.locator(f"#{act}")).to_contain_text(word)
        assert await page.locator("#text").get_attribute("maxlength") == str(NOTE_LONGEST)
        order = [await one.get_attribute("data-code") for one in await page.locator(".lane").all()]
        await lane(page, "introduced").tap()
        await lane(page, "walking").tap()
        await until_recorded(on, 2)
        await expect(page.locator('.lane[data-code="walking"]')).to_have_class(re.compile("runs"))
        # A swipe over the lanes turns the sheet and marks nothing.
        touch = await page.context.new_cdp_session(page)
        box = await lane(page, "raises").bounding_box()
        assert box is not None
        y = box["y"] + 20
        for kind, x in (
            ("touchStart", 250),
            ("touchMove", 200),
            ("touchMove", 120),
            ("touchMove", 20),
            ("touchEnd", 0),
        ):
            points = [] if kind == "touchEnd" else [{"x": x, "y": y}]
            await touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
            await asyncio.sleep(0.03)
        await expect(page.locator("#turn")).to_have_text("2 of 2")
        assert len(taps(on)) == 2
        # The running stage has changed: the order stays until the keeper asks for it.
        await lane(page, "drumming").tap()
        await until_recorded(on, 3)
        await expect(page.locator("#stage")).to_have_text("COURTSHIP: show its lanes")
        assert [await one.get_attribute("data-code") for one in await page.locator(".lane").all()] == order
        await page.locator("#stage").tap()
        first = await page.locator(".sheet").first.locator(".lane").first.get_attribute("data-code")
        assert on.ethogram.by_code[str(first)].stage == "courtship"
        # What a thumb corrects.
        await page.locator("#turn").tap()
        await lane(page, "insertion:left").tap()
        await until_recorded(on, 4)
        for act in ("other", "doubt", "earlier", "earlier", "undo"):
            await page.locator(f"#{act}").tap()
        await until_recorded(on, 9)
        mark = on.live.last
        assert mark is not None
        assert (mark["code"], mark["qualifier"], mark["sure"]) == ("insertion", "right", False)
        assert mark["t"] == next(r["t"] for r in on.live.records if r.get("code") == "insertion") - 1000
        # What has no other one is named by the next tap.
        await lane(page, "touch").tap()
        await page.locator("#other").tap()
        await expect(page.locator("#said")).to_have_text("Tap the lane that it should have been")
        await lane(page, "clasp").tap()
        await until_recorded(on, 11)
        assert on.live.last is not None and on.live.last["code"] == "clasp"
        # A note; nobody watches, and again; RESCUE only when it is held.
        await page.locator("#note").tap()
        await page.locator("#text").fill("he is <b>lame</b>")
        await page.get_by_role("button", name="Keep").tap()
        await page.locator("#away").tap()
        await until_recorded(on, 13)
        await expect(page.locator("#away")).to_have_text("watch again")
        await page.locator("#away").tap()
        await page.locator("#rescue").tap()
        await asyncio.sleep(0.8)
        assert on.live.rescues == 0
        box = await page.locator("#rescue").bounding_box()
        assert box is not None
        point = [{"x": box["x"] + 20, "y": box["y"] + 20}]
        await touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": point})
        await until_recorded(on, 15)
        await touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        await expect(page.locator("#todo li").first).to_have_text(on.rescue_lines[0])
        await page.get_by_role("button", name="Fold").tap()
        # The other hand.
        await page.locator("#hand").tap()
        box = await page.locator("#thumb").bounding_box()
        assert box is not None and box["x"] == 0
        assert noted == []
    read = session.read(on.journal.path)
    assert read.findings == []
    assert [said.text for said in read.fold.said if said.do == "note"] == ["he is <b>lame</b>"]
    assert on.live.rescues == 1


async def test_a_second_phone_says_who_is_the_keyboard_until_it_is_let_in(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with chromium() as browser, served(on) as phone, opened(browser, phone):
        second = await another_phone(browser, phone)
        link = second.locator("#link")
        await expect(link).to_have_text(re.compile("Another phone is the keyboard. Ctrl-P"), timeout=10_000)
        await second.wait_for_timeout(3000)  # after 1.5 s without a laptop the page says that there is none
        assert "Another phone is the keyboard" in await link.inner_text()
        assert phone.let_in()
        await ready(second)
        await lane(second, "walking").tap()
        await until_recorded(on, 1)


async def test_what_is_taken_back_without_a_network_is_gone_at_once(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with over_a_network(on) as (page, _, network):
        network.cut()
        await expect(page.locator("#link")).to_have_text(re.compile("NO LAPTOP"), timeout=10_000)
        away, runs, sums = page.locator("#away"), page.locator(".lane.runs"), page.locator(".lane .sum")
        for what in ("raises", "answers"):
            await lane(page, what).tap()
        await page.locator("#undo").tap()
        await page.wait_for_timeout(2000)  # from 1.5 s on a tap is shown as not yet safe
        assert [text for text in await sums.all_text_contents() if text] == ["1 not yet safe"]
        await expect(runs).to_have_count(1)
        await page.locator("#undo").tap()
        await expect(runs).to_have_count(0)
        await away.tap()
        await expect(away).to_have_text("watch again")
        await expect(page.locator("#said")).to_contain_text("Nobody watches since")
        await lane(page, "still").tap()
        await expect(away).to_have_text("nobody watches")
        await away.tap()
        network.mend()
        await until_recorded(on, 7)
        await expect(page.locator("#said")).to_contain_text("Nobody watches since")
    assert [record["key"] for record in taps(on)] == ["raises", "answers", "undo", "undo", "away", "still", "away"]
    assert on.live.folding.gap is not None
    assert [bout.code for bout in reread(on).fold.bouts] == ["still"]


async def test_without_a_network_the_page_writes_times_and_keeps_chains_as_the_recorder_does(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    random = Random(7)
    async with over_a_network(on) as (page, _, network):
        times = [0, 499, 500, 501, 1500, 2500, 59_499, 59_500, 60_500, 3_599_500, 3_600_500, 86_400_000]
        assert await page.evaluate("times => times.map(length)", times) == [length_face(ms) for ms in times]
        assert await page.evaluate("times => times.map(face)", times) == [clock_face(ms) for ms in times]
        every = await page.evaluate("welcome.lanes.flatMap(lane => lane.taps.map(([what]) => what))")
        for rounds in range(1, 4):
            network.cut()
            await expect(page.locator("#link")).to_have_text(re.compile("NO LAPTOP"), timeout=10_000)
            for _ in range(120):
                await page.evaluate("what => laneTapped(what, performance.now())", random.choice(every))
            shown = await page.evaluate(
                "Object.fromEntries([...predicted()].map(([code, { count, running }]) =>"
                " [code, [count, running.map(bout => bout[3]).sort()]]))"
            )
            network.mend()
            await until_recorded(on, 120 * rounds)
            await ready(page)
            lanes = view.now(on, followed(on), on.t(system.now()), "")["lanes"]
            assert shown == {
                code: [count, sorted(side for *_, side in running)] for code, (count, _, running, _) in lanes.items()
            }


async def test_delay_jitter_and_loss_shift_nothing_and_a_cut_loses_nothing(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    truths, lanes = Truths(on), ("drumming", "walking", "vibration", "raises", "still")
    async with chromium() as browser, served(on) as phone, Network(free_port(), phone.seat.port, seed=3) as network:
        network.bad(0.3, 0.3, loss=0.02)
        async with opened(browser, phone, "usual", port=network.port, truths=truths) as (page, noted):
            for at in range(20):
                await lane(page, lanes[at % 5]).tap()
                await asyncio.sleep(0.05 * (at % 4))
            await until_recorded(on, 20)
            await page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")  # it wakes: another clock
            await lane(page, lanes[0]).tap()
            await until_recorded(on, 21)
            network.cut()
            await expect(page.locator("#link")).to_have_text(re.compile("NO LAPTOP"), timeout=10_000)
            for at in range(10):
                await lane(page, lanes[at % 5]).tap()
                await asyncio.sleep(0.2)
            await expect(page.locator(".sum.unsafe").first).to_contain_text("not yet safe")
            # What is shown meanwhile is what it will come to: the page keeps the chains by itself.
            shown = {await one.get_attribute("data-code") for one in await page.locator(".lane.runs").all()}
            network.mend()
            await until_recorded(on, 31)
            await ready(page)
            assert shown == {bout.code for bout in on.live.folding.running.values()}
            await expect(page.locator(".sum.unsafe")).to_have_count(0)
            assert [one for one in noted if "WebSocket" not in one] == []
    records = taps(on)
    assert [record["key"] for record in records] == [what for what, _ in truths]
    off = [record["t"] - truth for record, (_, truth) in zip(records, truths, strict=True)]
    widths = [(record["latest"] - record["earliest"]) / 2 for record in records]
    print(f"off by at most {max(map(abs, off)):.1f} ms; told as known to {min(widths):.0f} to {max(widths):.0f} ms")
    assert max(map(abs, off)) < 20
    for record, (_, truth) in zip(records, truths, strict=True):
        assert record["earliest"] - 1.5 <= truth <= record["latest"] + 1.5


@pytest.mark.parametrize("size", LOW)
async def test_no_button_lies_over_another_on_a_low_screen(tmp_path: Path, size: str) -> None:
    on = live_recorder(tmp_path)
    width, height = LOW[size]
    async with chromium() as browser, served(on) as phone, opened(browser, phone, size) as (page, _):
        buttons = page.locator("header button:visible, #thumb button, footer button")
        boxes = [await one.bounding_box() for one in await buttons.all()]
        assert len(boxes) == 10
        for at, box in enumerate(boxes):
            assert box is not None
            assert box["x"] >= 0 and box["x"] + box["width"] <= width
            assert box["y"] >= 0 and box["y"] + box["height"] <= height
            for other in boxes[at + 1 :]:
                assert other is not None
                apart_x = box["x"] + box["width"] <= other["x"] or other["x"] + other["width"] <= box["x"]
                apart_y = box["y"] + box["height"] <= other["y"] or other["y"] + other["height"] <= box["y"]
                assert apart_x or apart_y, (box, other)


async def test_a_network_that_vanishes_is_told_and_taps_come_when_it_is_back(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    truths = Truths(on)
    async with over_a_network(on, truths) as (page, phone, network):
        network.vanish()
        await lane(page, "walking").tap()
        await expect(page.locator("#link")).to_contain_text("NO LAPTOP. Go on: 1 tap kept here", timeout=20_000)
        minutes, seconds = (await page.locator("#since").inner_text()).strip().split(":")
        assert 60 * int(minutes) + int(seconds) >= 8  # since it was last heard of, as the laptop counts it
        await lane(page, "raises").tap()
        async with asyncio.timeout(20):
            while "SILENT" not in phone.line:
                await asyncio.sleep(0.1)
        network.mend()
        records = await until_recorded(on, 2, seconds=40)
        await ready(page)
        await expect(page.locator(".sum.unsafe")).to_have_count(0)
    assert [record["key"] for record in records] == ["walking", "raises"]
    assert all(abs(record["t"] - truth) < 20 for record, (_, truth) in zip(records, truths, strict=True))


async def test_a_second_phone_that_waits_knows_that_the_laptop_is_there(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with chromium() as browser, served(on) as phone, opened(browser, phone):
        second = await another_phone(browser, phone)
        await expect(second.locator("#link")).to_have_text(re.compile("Another phone"), timeout=10_000)
        await second.evaluate(
            "window.lines = 0; window.WebSocket = class extends WebSocket"
            " { constructor(...told) { super(...told); window.lines++; } }; 0"
        )
        await second.wait_for_timeout(11_000)
        assert await second.evaluate("window.lines") == 0


async def test_a_phone_without_room_says_that_it_keeps_nothing(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with over_a_network(on) as (page, _, network):
        link = page.locator("#link")
        await page.evaluate(
            "IDBObjectStore.prototype.put = function (...told) {"
            " const asked = this.add(...told); this.transaction.abort(); return asked; }; 0"
        )
        await lane(page, "walking").tap()
        await expect(link).to_contain_text("keeps nothing (is the phone full?)")
        network.cut()
        await expect(link).to_contain_text("NO LAPTOP", timeout=10_000)
        await lane(page, "raises").tap()
        await expect(link).to_contain_text("on this page alone (is the phone full?)")
        network.mend()
        assert [record["key"] for record in await until_recorded(on, 2)] == ["walking", "raises"]


async def test_a_database_that_was_taken_away_is_opened_again(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with over_a_network(on) as (page, _, network):
        network.cut()
        await expect(page.locator("#link")).to_contain_text("NO LAPTOP", timeout=10_000)
        await lane(page, "walking").tap()
        cdp = await page.context.new_cdp_session(page)
        origin = f"http://127.0.0.1:{network.port}"
        await cdp.send("Storage.clearDataForOrigin", {"origin": origin, "storageTypes": "indexeddb"})
        await lane(page, "raises").tap()
        await page.wait_for_timeout(500)
        assert await page.evaluate(LEFT) == 2
        network.mend()
        await page.reload()
        await ready(page)
        assert [record["key"] for record in await until_recorded(on, 2)] == ["walking", "raises"]


async def test_the_code_of_another_evening_opens_it_in_the_same_tab(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    on = live_recorder(tmp_path / "a")
    async with chromium() as browser, served(on) as phone, opened(browser, phone) as (page, _):
        seat = phone.seat
        await phone.stop()
        later = live_recorder(tmp_path / "b")
        async with served(later, new_seat(seat.address)) as second:
            await page.goto(second.seat.url)
            await ready(page)
            await lane(page, "walking").tap()
            await until_recorded(later, 1)


async def test_a_note_that_the_back_button_closed_is_there_again(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with chromium() as browser, served(on) as phone, opened(browser, phone, "small") as (page, _):
        await page.locator("#note").tap()
        await page.locator("#text").fill("she holds her abdomen high")
        await page.keyboard.press("Escape")  # what the back button is to a dialog
        await page.locator("#note").tap()
        await page.set_viewport_size({"width": 640, "height": 360})  # and the phone is turned meanwhile
        await page.get_by_role("button", name="Keep").tap()
        await until_recorded(on, 1)
        lanes, room = page.locator(".sheet").first.locator(".lane"), await page.locator("#lanes").bounding_box()
        for one in await lanes.all():
            box = await one.bounding_box()
            assert box and room and box["y"] + box["height"] <= room["y"] + room["height"] + 0.5
        await page.locator("#note").tap()
        assert await page.locator("#text").input_value() == ""
    assert [said.text for said in reread(on).fold.said if said.do == "note"] == ["she holds her abdomen high"]


async def test_the_page_asks_before_it_is_left_while_the_laptop_is_away(tmp_path: Path) -> None:
    on = live_recorder(tmp_path)
    async with over_a_network(on) as (page, _, network):
        asked: list[str] = []

        async def stay(dialog: Any) -> None:
            asked.append(dialog.type)
            await dialog.dismiss()

        page.on("dialog", stay)
        await lane(page, "walking").tap()
        await page.evaluate("location.reload()")
        await page.wait_for_timeout(500)
        await ready(page)
        assert asked == []
        network.cut()
        await expect(page.locator("#link")).to_contain_text("NO LAPTOP", timeout=10_000)
        await lane(page, "walking").tap()
        await page.evaluate("location.reload()")
        await page.wait_for_timeout(500)
        assert asked == ["beforeunload"]
        await lane(page, "raises").tap()
        network.mend()
        assert [record["key"] for record in await until_recorded(on, 3)] == ["walking", "walking", "raises"]
