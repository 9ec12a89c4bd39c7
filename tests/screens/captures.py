"""The main screens, drawn from an invented evening on a clock of our own, so that they are the same on every machine.

`python -m tests.screens.captures` writes them to `tests/screens/captured/`, to be looked at and then committed.
"""

import asyncio
import shutil
import tempfile
from collections.abc import Awaitable, Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from rich.segment import Segment
from textual.app import App
from textual.pilot import Pilot

from etholog import animals
from etholog.animals import care
from etholog.animals.card import KINDS
from etholog.commands.demo import script
from etholog.recording.keyboard import Keyboard
from etholog.recording.opening import NewSession, begin, reopen
from etholog.recording.recorder import Recorder
from etholog.screens.amending import AmendApp
from etholog.screens.app import WatchApp
from etholog.screens.browse import CardBrowser
from etholog.screens.card_form import CardForm
from etholog.screens.feeding import Feeding
from etholog.screens.home import Home
from etholog.screens.picking import Picking
from etholog.screens.planning import Pair, Planning, Wishes
from etholog.screens.strip import BOXES, PLAIN, Glyphs
from etholog.screens.themes import THEMES, Look
from etholog.screens.watching import Watching
from tests.make import TERRESTRIAL_1, terrestrial_1, write_card

FOLDER = Path(__file__).parent / "captured"
SIZES = ((80, 24), (160, 48), (60, 20), (60, 15))
TODAY = date(2026, 5, 10)
BEGAN = datetime(2026, 5, 3, 21, 15, tzinfo=UTC)
UNTIL_S = 330

Draw = Callable[[Path, Look, tuple[int, int]], Awaitable[list[list[Segment]]]]


def seen(pilot: Pilot[object]) -> list[list[Segment]]:
    """What stands on the screen, line by line, each piece with its style."""
    return [list(strip) for strip in pilot.app.screen._compositor.render_strips()]


def text(lines: list[list[Segment]]) -> str:
    return "\n".join("".join(piece.text for piece in line).rstrip() for line in lines) + "\n"


def evening(folder: Path, until_s: float = UNTIL_S) -> Recorder:
    """The demo's invented pairing, keyed up to a moment."""
    kept = terrestrial_1()
    journal = begin(folder / "sessions", kept, BEGAN, 0.0, male="M-Flint", female="F-Umbra", source="invented")
    recorder = Recorder(journal, kept, "left", BEGAN, 0.0, wall=lambda: BEGAN)
    for at, key in script():
        if at < until_s:
            recorder.press(key, at)
    return recorder


def strip(recorder: Recorder, look: Look) -> tuple[WatchApp, Watching]:
    watching = Watching(
        recorder, look, pair="M-Flint x F-Umbra", clock=lambda: UNTIL_S, stamp=lambda _: UNTIL_S, live=False
    )
    watching.compares_clocks = False
    return WatchApp(look, watching=watching), watching


def watching(*keys: str) -> Draw:
    async def draw(folder: Path, look: Look, size: tuple[int, int]) -> list[list[Segment]]:
        app, on_screen = strip(evening(folder), look)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()  # laid out
            await pilot.press(*keys)
            await pilot.pause()
            if on_screen.is_current:
                on_screen.tick()
            await pilot.pause()
            return seen(pilot)

    return draw


def before(*said: str) -> Draw:
    """The form, or the cautions where both animals are named; one earlier session of his is known."""

    async def draw(folder: Path, look: Look, size: tuple[int, int]) -> list[list[Segment]]:
        earlier = evening(folder)
        earlier.close(UNTIL_S, {"ended": "he got out"})
        earlier.journal.close()
        names = dict(zip(("male", "female"), said, strict=False))
        (folder / "ethograms").mkdir()
        shutil.copy(TERRESTRIAL_1, folder / "ethograms" / "terrestrial.toml")
        new = NewSession(folder / "sessions", "left", Keyboard(), {"ethogram": "terrestrial"} | names)
        async with WatchApp(look, new=new).run_test(size=size) as pilot:
            await pilot.pause()
            if len(said) < 2:
                await pilot.press("f")
                await pilot.pause()
            return seen(pilot)

    return draw


async def amending(folder: Path, look: Look, size: tuple[int, int]) -> list[list[Segment]]:
    recorder = evening(folder, 10_000)
    recorder.close(900)
    recorder.journal.close()
    amender, pair, _ = reopen(recorder.journal.path, "left")
    app = AmendApp(amender, look, pair)
    async with app.run_test(size=size) as pilot:
        await pilot.press(*["down"] * 14, "3")
        await pilot.pause()
        return seen(pilot)


def alone(make: Callable[[Path, Look], App[Any]], *keys: str) -> Draw:
    """A screen of the desk's, over three animals and one session that was broken off."""

    async def draw(folder: Path, look: Look, size: tuple[int, int]) -> list[list[Segment]]:
        workspace = folder / "spiders"
        evening(workspace).journal.close()
        for name, sex in (("M-Flint", "male"), ("F-Umbra", "female"), ("F-Alder", "female")):
            write_card(
                workspace, name, ("sex", "2026-01-04", sex), ("species", "2026-01-04", "Brachypelma smithi"),
                ("moult", "2026-02"), ("meal", "2026-04-20", "small"),
            )  # fmt: skip
        async with make(workspace, look).run_test(size=size) as pilot:
            await pilot.pause()
            await pilot.press(*keys)
            await pilot.pause()
            return seen(pilot)

    return draw


def desk(workspace: Path, look: Look) -> App[Any]:
    known = animals.read(workspace)
    tasks = care.due(known, [terrestrial_1()], TODAY)
    return Home(look, known, tasks, TODAY, broken_off=["M-Flint x F-Umbra of 2026-05-03 21:15"])


def empty_desk(workspace: Path, look: Look) -> App[Any]:
    (workspace.parent / "empty").mkdir()
    return Home(look, animals.read(workspace.parent / "empty"), [], TODAY)


def feeding(workspace: Path, look: Look) -> App[Any]:
    rows = [(name, "last meal 2026-04-20 small") for name in animals.read(workspace).known()]
    meals = KINDS["meal"].choices
    return Feeding(look, TODAY.isoformat(), rows, meals, lambda name, meal: (name, 1, ""), lambda name, n: None)


def choosing(workspace: Path, look: Look) -> App[Any]:
    rows = [(name, "Brachypelma smithi, moult 2026-02") for name in animals.read(workspace).known()]
    return Picking(look, "M-Flint, and which female?", rows)


def planning(_: Path, look: Look) -> App[Any]:
    def work(wishes: Wishes) -> list[Pair]:
        rows = [("M-Flint", "F-Umbra", "M-Slate"), ("M-Slate", "F-Fern", "")]
        return [
            Pair(
                male, female, "week of 2026-05-04, inbreeding 0.125",
                ("for: M-Flint: sperm web 2026-04-20", "against: kin", "not known: is she adult?"), other,
                (male, female) in wishes.fix,
            )
            for male, female, other in rows
            if (male, female) not in wishes.forbid
        ]  # fmt: skip

    return Planning(look, "Proposed pairs of Brachypelma smithi, no form told, by weeks", work)


SCREENS: dict[str, Draw] = {
    "form": before("M-Flint"),
    "ready": before("M-Flint", "F-Umbra"),
    "watching": watching(),
    "keys": watching("question_mark"),
    "gap": watching("minus"),
    "rescue": watching("space"),
    "ending": watching("escape", "enter"),
    "amending": amending,
    "desk": alone(desk),
    "empty": alone(empty_desk),
    "cards": alone(lambda workspace, look: CardBrowser(look, animals.read(workspace), "F-Umbra")),
    "card": alone(lambda _, look: CardForm(look, lambda _: [], lambda _: None, lambda _: ""), *"F-Fern"),
    "feeding": alone(feeding, "s", "s"),
    "choosing": alone(choosing, "u"),
    "planning": alone(planning, "f"),
}


async def drawn(name: str, size: tuple[int, int], theme: str = "day", glyphs: Glyphs = BOXES) -> list[list[Segment]]:
    with tempfile.TemporaryDirectory() as folder:
        return await SCREENS[name](Path(folder), Look(THEMES[theme], glyphs), size)


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    for name in SCREENS:
        for size in SIZES:
            lines = asyncio.run(drawn(name, size))
            (FOLDER / f"{name}-{size[0]}x{size[1]}.txt").write_text(text(lines), encoding="utf-8")
        (FOLDER / f"{name}-ascii.txt").write_text(text(asyncio.run(drawn(name, SIZES[0], glyphs=PLAIN))))


if __name__ == "__main__":
    main()
