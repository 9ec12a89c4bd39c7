"""Makes the README's pictures, all from the real thing: `python examples/make_pictures.py`. Needs chromium."""

import asyncio
import re
import subprocess
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import etholog
from etholog import commands, ethogram
from etholog.commands.demo import script
from etholog.recording.keyboard import Keyboard
from etholog.recording.opening import NewSession, begin
from etholog.recording.recorder import Recorder
from etholog.screens.app import WatchApp
from etholog.screens.themes import THEMES, Look
from etholog.screens.watching import Watching

HERE = Path(__file__).parent
BEGAN = datetime(2026, 5, 3, 21, 15, tzinfo=UTC)
UNTIL_S = 330


def strip(folder: Path, theme: str) -> WatchApp:
    """Key the demo's pairing, on a clock of our own, and show the strip of it."""
    kept = ethogram.read(HERE / "terrestrial-1.toml")
    journal = begin(folder, kept, BEGAN, 0.0, male="M-Flint", female="F-Umbra", source="invented")
    recorder = Recorder(journal, kept, "left", BEGAN, 0.0, wall=lambda: BEGAN)
    for at, key in script():
        if at < UNTIL_S:
            recorder.press(key, at)
    look = Look(THEMES[theme])
    watching = Watching(recorder, look, pair="M-Flint x F-Umbra", clock=lambda: UNTIL_S, live=False)
    watching.compares_clocks = False
    return WatchApp(look, watching=watching)


def form() -> WatchApp:
    """The form before the clock, beside the invented season."""
    said = {"male": "M-Amber", "ethogram": "terrestrial"}
    return WatchApp(Look(THEMES["day"]), new=NewSession(HERE / "season" / "sessions", "left", Keyboard(), said))


async def draw(app: WatchApp, size: tuple[int, int], title: str, *keys: str) -> str:
    """Return a screen as SVG, after some keys."""
    async with app.run_test(size=size) as pilot:
        await pilot.press(*keys)
        await pilot.pause()
        return app.export_screenshot(title=title)


def keep(svg: str, target: Path) -> None:
    """Turn SVG into a PNG. The picture must not fetch a font from anywhere."""
    svg = re.sub(r"@font-face \{.*?\}", "", svg, flags=re.S).replace("Fira Code", "DejaVu Sans Mono")
    width, height = (round(float(size)) for size in re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
    with tempfile.TemporaryDirectory() as scratch:
        page = Path(scratch) / "screen.html"
        page.write_text(f"<body style='margin:0'>{svg}</body>", encoding="utf-8")
        photograph(page, width, height, target)


def photograph(page: Path, width: int, height: int, target: Path) -> None:
    """Keep what Chromium shows of a page."""
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--hide-scrollbars"]
    size = [f"--window-size={width},{height}", f"--screenshot={target}"]
    subprocess.run(["chromium", *options, *size, page.as_uri()], check=True, capture_output=True)
    print(target)


def figures(pictures: Path) -> None:
    season = etholog.read(HERE / "season")
    etholog.figures.strip(season, "20260322-2043-M-Onyx-F-Sepia").savefig(pictures / "strip.png", dpi=130)
    times = etholog.latency(season, "courtship")
    etholog.figures.survival(times, by="male").savefig(pictures / "curves.png", dpi=130)


def report(pictures: Path) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        page = Path(scratch) / "report.html"
        commands.main(["report", "--season", "--folder", str(HERE / "season"), "--out", str(page)])
        photograph(page, 1000, 1250, pictures / "report.png")


def main() -> None:
    pictures = HERE / "pictures"
    pictures.mkdir(exist_ok=True)
    for name, theme in (("watch", "day"), ("night", "night")):
        with tempfile.TemporaryDirectory() as folder:
            app = strip(Path(folder), theme)
            keep(asyncio.run(draw(app, (100, 28), "etholog watch, an invented pairing")), pictures / f"{name}.png")
    svg = asyncio.run(draw(form(), (100, 24), "etholog watch, an invented season", *"f-f"))
    keep(svg, pictures / "form.png")
    figures(pictures)
    report(pictures)


if __name__ == "__main__":
    main()
