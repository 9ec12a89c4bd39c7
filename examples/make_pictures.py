"""Makes the README's pictures, all from the real thing: `python examples/make_pictures.py`. Needs chromium, and ffmpeg
for the moving one, which `python examples/make_pictures.py moving` makes alone."""

import asyncio
import re
import shutil
import subprocess
import sys
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
FRAMES, EVERY_S, FIRST_S = 22, 15, 15


def strip(folder: Path, theme: str, until_s: float = UNTIL_S) -> WatchApp:
    """Key the demo's pairing, on a clock of our own, and show the strip of it."""
    kept = ethogram.read(HERE / "terrestrial-1.toml")
    journal = begin(folder, kept, BEGAN, 0.0, male="M-Flint", female="F-Umbra", source="invented")
    recorder = Recorder(journal, kept, "left", BEGAN, 0.0, wall=lambda: BEGAN)
    for at, key in script():
        if at < until_s:
            recorder.press(key, at)
    look = Look(THEMES[theme])
    watching = Watching(recorder, look, pair="M-Flint x F-Umbra", clock=lambda: until_s, live=False)
    watching.compares_clocks = False
    return WatchApp(look, watching=watching)


def form(folder: Path) -> WatchApp:
    """The form before the clock, beside a copy of the invented season, as it keeps what is half typed."""
    shutil.copytree(HERE / "season", folder, dirs_exist_ok=True)
    said = {"male": "M-Amber", "ethogram": "terrestrial"}
    return WatchApp(Look(THEMES["day"]), new=NewSession(folder / "sessions", "left", Keyboard(), said))


async def draw(app: WatchApp, size: tuple[int, int], title: str, *keys: str) -> str:
    """Return a screen as SVG, after some keys."""
    async with app.run_test(size=size) as pilot:
        await pilot.press(*keys)
        await pilot.pause()
        return app.export_screenshot(title=title)


def drawn(svg: str) -> tuple[str, int, int]:
    """Return a screen that fetches no font from anywhere, and its width and height."""
    svg = re.sub(r"@font-face \{.*?\}", "", svg, flags=re.S).replace("Fira Code", "DejaVu Sans Mono")
    width, height = (round(float(size)) for size in re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)[0])
    return svg, width, height


def moving(target: Path) -> None:
    """Make a film of the strip as it is keyed: screens one below the other on one page, and each a frame."""
    frames = []
    for at in range(FRAMES):
        with tempfile.TemporaryDirectory() as folder:
            app = strip(Path(folder), "day", FIRST_S + at * EVERY_S)
            frames.append(drawn(asyncio.run(draw(app, (100, 31), "etholog watch, an invented pairing"))))
    _, width, height = frames[0]
    with tempfile.TemporaryDirectory() as scratch:
        page, tall = Path(scratch) / "screens.html", Path(scratch) / "screens.png"
        # Each in a frame of its own: the names of styles within are the same in all.
        boxes = [f"<iframe srcdoc='<body style=margin:0>{quoted(svg)}</body>'></iframe>" for svg, _, _ in frames]
        style = f"<style>body{{margin:0}}iframe{{display:block;border:0;width:{width}px;height:{height}px}}</style>"
        page.write_text(f"<meta charset=utf-8>{style}{''.join(boxes)}", encoding="utf-8")
        photograph(page, width, height * FRAMES, tall)
        look = (
            f"untile=1x{FRAMES},setpts=N/3/TB,fps=3,scale=860:-1:flags=lanczos,split[a][b];"
            "[a]palettegen=max_colors=48[p];[b][p]paletteuse=dither=none"
        )
        words = ["ffmpeg", "-y", "-v", "error", "-i", str(tall), "-filter_complex", look, "-loop", "0", str(target)]
        subprocess.run(words, check=True)
    print(target)


def quoted(svg: str) -> str:
    return svg.replace("&", "&amp;").replace("'", "&#39;")


def keep(svg: str, target: Path) -> None:
    """Turn SVG into a PNG. The picture must not fetch a font from anywhere."""
    svg, width, height = drawn(svg)
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
    moving(pictures / "watch.gif")
    if sys.argv[1:] == ["moving"]:
        return
    for name, theme in (("watch", "day"), ("night", "night")):
        with tempfile.TemporaryDirectory() as folder:
            app = strip(Path(folder), theme)
            keep(asyncio.run(draw(app, (100, 28), "etholog watch, an invented pairing")), pictures / f"{name}.png")
    with tempfile.TemporaryDirectory() as folder:
        app = form(Path(folder))
        keep(asyncio.run(draw(app, (100, 24), "etholog watch, an invented season", *"f-f")), pictures / "form.png")
    figures(pictures)
    report(pictures)


if __name__ == "__main__":
    main()
